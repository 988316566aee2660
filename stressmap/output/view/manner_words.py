"""Hours of dear power, valves that run in pulses, and heads of water that stand, in words."""

from __future__ import annotations

import datetime as dt
from typing import Protocol

from stressmap.water.unbroken_heads import rests_of_heads
from stressmap.water.water_plan import Advice

NOTHING = 5e-4
"""Under this share of the relief leaving out the dear hours is said to cost nothing."""


class Says(Protocol):
    """Texts by key."""

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text and fill it in."""


class SaysShares(Says, Protocol):
    """Words of a plan: texts by key, parts of an amount, and days."""

    def share(self, share: float) -> str:
        """Write a part of an amount [1] as per cent."""

    def weekday(self, day: dt.date) -> str:
        """Write a date with its day of the week."""


def dear_lines(advice: Advice, words: SaysShares) -> list[str]:
    """Say whether water runs in the hours of dear power, and what it costs to leave them out.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : SaysShares
        Language.

    Returns
    -------
    list of str
        None where there are no such hours.
    """
    if advice.dear_cost is None:
        return []
    begin, end = (f"{clock:%H:%M}" for clock in advice.terms.water.dear_hours)
    key = "dear_used"
    if advice.avoids_dear:
        key = "dear_free" if advice.dear_cost < NOTHING else "dear_left_out"
    return [words(f"plan.{key}", begin=begin, end=end, cost=words.share(advice.dear_cost))]


def pulse_lines(advice: Advice, words: SaysShares) -> list[str]:
    """Name the valves that run in pulses, with their minutes.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : SaysShares
        Language.

    Returns
    -------
    list of str
        None where there are no such valves.
    """
    told = [
        words("plan.pulse", valve=need.valve, on=need.pulse[0], off=need.pulse[1])
        for need, steps in zip(advice.case.requirements, advice.solution.steps, strict=True)
        if need.pulse and steps
    ]
    return [words("plan.pulsed", valves=", ".join(told))] if told else []


def pulse_words(on: float, off: float, words: Says) -> str:
    """Say how a valve is pulsed, short enough for a cell of a timetable.

    Parameters
    ----------
    on, off : float
        Minutes open and closed by turns: ``pulse_on_min`` and ``pulse_off_min`` of the timetable.
    words : Says
        Language, of the water plan.

    Returns
    -------
    str

    Examples
    --------
    >>> from stressmap.output.view.plan_words import WaterWords
    >>> pulse_words(22.0, 8.0, WaterWords("en"))
    'timer: 22 min on, 8 min off'
    """
    return words("table.pulse", on=round(on), off=round(off))


def head_lines(advice: Advice, words: SaysShares) -> list[str]:
    """Say where a head of water stands between two checks of a block, so that ditch water is ordered by it.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : SaysShares
        Language.

    Returns
    -------
    list of str
        A line for each block.
    """
    clock, case = advice.case.calendar.clock, advice.case
    told: dict[str, list[str]] = {}
    for rest in rests_of_heads(case.problem, advice.timetable):
        begin, end = clock(rest.first), clock(rest.last)
        said = (f"{words.weekday(moment.date())} {moment:%H:%M}" for moment in (begin, end))
        told.setdefault(case.requirements[rest.valve].block, []).append(" \N{EN DASH} ".join(said))
    return [words("plan.head_rests", block=block, times="; ".join(rests)) for block, rests in told.items()]
