"""What a water plan does with the hours of dear power, and which valves run in pulses, in words."""

from __future__ import annotations

from typing import Protocol

from stressmap.water.water_plan import Advice

NOTHING = 5e-4
"""Under this share of the relief leaving out the dear hours is said to cost nothing."""


class SaysShares(Protocol):
    """Words of a plan: texts by key, and parts of an amount."""

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text and fill it in."""

    def share(self, share: float) -> str:
        """Write a part of an amount [1] as per cent."""


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
