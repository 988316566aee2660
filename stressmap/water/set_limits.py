"""What rules and hours together allow each valve's sets: lengths, number, and time with the rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.core.settings import Water
from stressmap.water.calendar import Calendar, Span
from stressmap.water.set_rules import SetRules


@dataclass(frozen=True)
class SetLimits:
    """Limits on the sets of n valves.

    Parameters
    ----------
    hours : tuple of Calendar, length n
        When each may run.
    set_lengths : tuple, length n
        Lengths that a set may have, ranges of steps with both ends.
    max_sets : array of int, shape (n,)
        Sets that a valve may get.
    steps_with_rests : array of int, shape (n,)
        Steps that a valve's sets and the rest after each can fill.
    max_steps : array of int, shape (n,)
        Steps that a valve may get in all.
    """

    hours: tuple[Calendar, ...]
    set_lengths: tuple[tuple[Span, ...], ...]
    max_sets: Ints
    steps_with_rests: Ints
    max_steps: Ints


def set_limits(rules: Sequence[SetRules], hours: tuple[Calendar, ...], water: Water) -> SetLimits:
    """Work out the limits of all valves.

    Parameters
    ----------
    rules : sequence of SetRules, length n
        Of the valves.
    hours : tuple of Calendar, length n
        When each may run.
    water : Water
        ``[water]``.

    Returns
    -------
    SetLimits
    """
    both = list(zip(rules, hours, strict=True))
    lengths = tuple(_set_lengths_of(rule, own) for rule, own in both)
    max_sets = [_max_sets(rule, own, cut, water) for (rule, own), cut in zip(both, lengths, strict=True)]
    return SetLimits(
        hours,
        lengths,
        np.array(max_sets, dtype=np.int64),
        np.array([_steps_with_rests(rule, own) for rule, own in both], dtype=np.int64),
        np.array([min(own.steps, rule.period_steps) for rule, own in both], dtype=np.int64),
    )


def _steps_with_rests(rule: SetRules, hours: Calendar) -> int:
    """Return the steps that sets and the rest after each can fill: hours and a rest a stretch, or all."""
    stretches = hours.steps + rule.rest_steps * len(hours.windows)
    return min(stretches, hours.span_steps + rule.rest_steps) if hours.windows else 0


def _max_sets(rule: SetRules, hours: Calendar, set_lengths: tuple[Span, ...], water: Water) -> int:
    """Return how many sets there can be: by rule, by the time between openings, and by ``turns``."""
    if not set_lengths:
        return 0
    between = max(rule.apart_steps, rule.rest_steps + set_lengths[0][0])
    by_time = (hours.span_steps - set_lengths[0][0]) // between + 1
    return min(rule.most_sets, by_time, max(water.most_turns, len(hours.windows)))


def _set_lengths_of(rule: SetRules, hours: Calendar) -> tuple[Span, ...]:
    """Cut the lengths that the hours allow to what the rules allow; a least that no hours hold gives way."""
    longest = max((b for _, b in hours.set_lengths), default=0) // rule.whole_steps * rule.whole_steps
    low = max(rule.own_steps, min(rule.least_steps, longest), 1)
    cut = [(max(a, low), min(b, rule.most_steps)) for a, b in hours.set_lengths]
    kept = [(a, b) for a, b in cut if a <= b]
    if rule.whole_steps == 1:
        return tuple(kept)
    return tuple((n, n) for a, b in kept for n in range(a, b + 1) if n % rule.whole_steps == 0)
