"""Pulses: a valve that brings more an hour than its soil takes in is opened and closed by turns, by a timer.

It is open for so many minutes of each cycle that the mean over the cycle is what the soil takes in; a whole
number of cycles makes a time step. Floods are not pulsed: they must cover the ground.
"""

from __future__ import annotations

import math
from dataclasses import replace

from stressmap.core.settings import Water
from stressmap.water.requirement import Requirement
from stressmap.water.set_rules import intake_mm_h, is_over_intake, least_set_mm

LEAST_MINUTES = 5
"""A valve that would be open for fewer minutes of a cycle mostly fills its pipes and is refused: common
practice, no source."""
NEAR = 1e-9


def with_pulses(need: Requirement, water: Water) -> Requirement:
    """Give a valve the pulses that keep it at what its soil takes in.

    Parameters
    ----------
    need : Requirement
        The valve's.
    water : Water
        ``[water]``.

    Returns
    -------
    Requirement
        With ``pulse`` and the mean rate over a cycle; the same where it is not over the intake, would be
        open for too few minutes, or has a pump with a least flow or a limit of starts.
    """
    bears = water.pump_starts is None and not water.pump_least.get(need.pump or "", 0.0)
    if not bears or not is_over_intake(need, water):
        return need
    share = intake_mm_h(need, water) * need.wetted_share / need.rate_mm_h
    pulse = pulse_minutes(share, round(60 * water.step_hours), water.pulse_minutes)
    if pulse is None:
        return need
    mean = pulse[0] / sum(pulse)
    return replace(need, pulse=pulse, rate_mm_h=need.rate_mm_h * mean, hours_needed=need.hours_needed / mean)


def pulse_minutes(share: float, step: int, most: float) -> tuple[int, int] | None:
    """Give the minutes of a cycle in which a valve is open and closed.

    Parameters
    ----------
    share : float
        Of the time that it may be open, 0 to 1.
    step : int
        Length of a time step, a whole number of cycles [min].
    most : float
        Longest time open [min].

    Returns
    -------
    tuple of (int, int) or None
        Of the longest cycle there can be; None where the valve would be open for under
        :data:`LEAST_MINUTES`.

    Examples
    --------
    >>> pulse_minutes(0.75, 30, 30.0), pulse_minutes(0.75, 60, 30.0), pulse_minutes(0.1, 30, 30.0)
    ((22, 8), (22, 8), None)
    """
    for cycles in range(1, step // LEAST_MINUTES + 1):
        length = step // cycles
        opened = math.floor(share * length + NEAR)
        if step % cycles == 0 and LEAST_MINUTES <= opened <= most:
            return opened, length - opened
    return None


def is_token(need: Requirement, water: Water, longest_hours: float) -> bool:
    """Tell whether the longest set of a pulsed valve is under the least useful depth.

    Parameters
    ----------
    need : Requirement
        The valve's, with its mean rate.
    water : Water
        ``[water]``.
    longest_hours : float
        That the hours and rules allow [h].

    Returns
    -------
    bool
        False for a valve without pulses.
    """
    return need.pulse is not None and need.rate_mm_h * longest_hours < least_set_mm(need, water) * (1 - NEAR)
