"""What binds a plan: what keeps valves short, what is left over, and of each source."""

from __future__ import annotations

import math

from stressmap.output.view.water_words import WaterWords
from stressmap.water.binding_constraints import BINDING_CONSTRAINTS, BindingConstraint, left_over_m3
from stressmap.water.water_plan import Advice

SPARE = 0.01
"""Share of the amount that may stay unused without a word."""


def what_binds(advice: Advice, words: WaterWords) -> list[str]:
    """Say what keeps valves short of their need, and how water that is left over could be used.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    list of str
    """
    return [short_of(advice, words), *_left_over(advice, words), *_sources(advice, words)]


def short_of(advice: Advice, words: WaterWords) -> str:
    """Say in one sentence what keeps how many valves short of their need.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    str
    """
    counted = [
        words("limit.count", what=_limit_name(limit, advice, words), count=advice.limits.count(limit))
        for limit in _binding(advice)
    ]
    return words("limit.line", limits="; ".join(counted)) if counted else words("limit.none")


def _binding(advice: Advice) -> list[BindingConstraint]:
    return [limit for limit in BINDING_CONSTRAINTS if limit in advice.limits]


def _limit_name(limit: BindingConstraint, advice: Advice, words: WaterWords) -> str:
    if limit == "turns":
        return words("limit.turns", turns=advice.terms.water.most_turns)
    if limit != "pump":
        return words(f"limit.{limit}")
    case = advice.case
    used = sorted({int(case.problem.pump[i]) for i, why in enumerate(advice.limits) if why == "pump"})
    named = ", ".join(case.pumps[p] for p in used)
    return words("limit.pumps", pumps=named) if named else words("limit.pump")


def _left_over(advice: Advice, words: WaterWords) -> list[str]:
    left = left_over_m3(advice.case, advice.timetable)
    if not math.isfinite(left) or left <= SPARE * advice.case.problem.volume_m3:
        return []
    lifted = [limit for limit in _binding(advice) if limit not in {"water", "worth"}]
    said = words.quantity(left, "volume")
    if not lifted:
        return [words("limit.spare", left=said)]
    facts = {"turns": advice.terms.water.most_turns}
    remedies = "; ".join(words(f"limit.lift_{limit}", **facts) for limit in lifted)
    stopped = "; ".join(_limit_name(limit, advice, words) for limit in lifted)
    return [words("limit.left", left=said, limits=stopped, remedies=remedies)]


def _sources(advice: Advice, words: WaterWords) -> list[str]:
    """Say how much of each source is used, and what is kept back."""
    water, problem = advice.terms.water, advice.case.problem
    lines = []
    if water.sources and len(water.sources) == len(problem.source_m3):
        parts = zip(
            water.sources, problem.source_m3, problem.source_left_m3(advice.solution.steps), strict=True
        )
        said = [
            words(
                "limit.source", name=name, used=words.known(float(there - left), "volume"),
                there=words.quantity(float(there), "volume"),
            )
            for name, there, left in parts
        ]  # fmt: skip
        lines.append(words("limit.sources", sources="; ".join(said)))
    if water.reserve:
        lines.append(words("limit.reserve", volume=words.quantity(water.reserve, "volume")))
    return lines
