"""What a plan is measured against: the other ways to share the same water, and the proven bound."""

from __future__ import annotations

import math

from stressmap.output.view.quantities import scale_of
from stressmap.output.view.water_words import Section, WaterWords
from stressmap.water.water_plan import Advice

SURE_SHARE = 0.5
TINY_GAP = 1e-5


def comparison(advice: Advice, words: WaterWords) -> Section:
    """Hold a plan against equal share, driest first and nothing.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    Section
    """
    return Section(
        "compare", words("compare.title"), tuple(_comparison(advice, words)), *_ways(advice, words)
    )


def proof(advice: Advice, words: WaterWords) -> Section:
    """Say what is proven, and that it is of the arithmetic: for a specialist's report, not for the crew.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.

    Returns
    -------
    Section
    """
    gap = advice.solution.gap
    said = words.share(math.ceil(gap * 1000.0) / 1000.0)
    line = words("proof.exact") if gap < TINY_GAP else words("proof.proven", gap=said)
    return Section("proof", words("proof.title"), (line,))


def _ways(advice: Advice, words: WaterWords) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return headings and rows of the comparison."""
    hectare = scale_of(1.0, "area", words.units)
    heads = (
        words("compare.way"),
        words("compare.relief"),
        words("compare.bar_area", unit=words.unit(hectare.unit)),
        words("compare.served"),
        words("compare.water"),
    )
    rows = tuple(
        (
            words(f"compare.{way.name.replace(' ', '_')}"),
            words.share(way.share),
            words.plain.number(way.bar_days_ha / hectare.factor, 0),
            str(way.served),
            words.quantity(way.water_m3, "volume"),
        )
        for way in advice.alternatives
    )
    return heads, rows


def _comparison(advice: Advice, words: WaterWords) -> list[str]:
    plan, equal, driest, _ = advice.alternatives
    rival = max((equal, driest), key=lambda way: way.merit)
    other = words(f"compare.{rival.name.replace(' ', '_')}")
    if advice.is_better:
        ours, theirs = words.share(plan.share), words.share(rival.share)
        lines = [words("compare.better", ours=ours, theirs=theirs, other=other)]
        if plan.past_limit_possible > 0:
            possible = plan.past_limit_possible
            ours, theirs = (words.share(way.past_limit / possible) for way in (plan, rival))
            lines.insert(0, words("compare.first_past", ours=ours, theirs=theirs, other=other))
    else:
        lines = [words("compare.no_better", other=other)]
    return [*_relief(advice, words), *lines, *_over_draws(advice, words)]


def _relief(advice: Advice, words: WaterWords) -> list[str]:
    ours = advice.alternatives[0]
    relief = words("plan.relief", share=words.share(ours.share))
    if ours.past_limit_possible <= 0 or not ours.served:
        return [relief] if ours.served else []
    return [words("plan.past_limit", share=words.share(ours.past_limit / ours.past_limit_possible)), relief]


def _over_draws(advice: Advice, words: WaterWords) -> list[str]:
    judged = advice.over_draws
    if not judged.draws:
        return []
    mean, low, high = (words.share(share) for share in judged.share["plan"])
    spread = words(
        "compare.spread", draws=judged.draws, mean=mean, low=low, high=high,
        equal=words.share(judged.share["equal share"][0]),
        driest=words.share(judged.share["driest first"][0]), best=words.chance(judged.best),
    )  # fmt: skip
    parts = zip(advice.case.problem.names, advice.solution.steps, judged.chosen, strict=True)
    unsure = [name for name, steps, share in parts if steps and share < SURE_SHARE]
    return [spread, words("compare.unsure", valves=", ".join(unsure))] if unsure else [spread]
