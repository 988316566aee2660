"""What a plan leaves without water, why, and what that risks: a sentence for each reason and risk."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from stressmap.agronomy.crops import level_of
from stressmap.output.view.water_words import WaterWords
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import STATUS, Advice

FROM_MEMORY = "from memory only"
NO_RISK = ("no_need", "no_harm")
"""Why valves stay closed that lose nothing by it."""


class _Reason(NamedTuple):
    """What valves of one sentence have in common."""

    why: str
    level: str
    stage: str
    swp_known: bool
    past_limit: bool


def left_dry(advice: Advice, words: WaterWords, most: int, *, remembered: bool) -> list[str]:
    """Say what gets no water, grouped by why and by what that risks, the worst first.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.
    most : int
        Names to list in a sentence.
    remembered : bool
        Whether what a potential means is told where that is only remembered.

    Returns
    -------
    list of str
    """
    groups: dict[_Reason, list[Requirement]] = {}
    closed: dict[str, list[Requirement]] = {why: [] for why in NO_RISK}
    for i in _without_water(advice):
        need, barred = advice.case.requirements[i], advice.case.barred[i]
        if barred in closed:
            closed[barred].append(need)
        elif need.need_mm > 0:
            groups.setdefault(_reason(advice, i, words, remembered=remembered), []).append(need)
    lines = [_line(reason, needs, advice, words, most) for reason, needs in groups.items()]
    for why, needs in closed.items():
        if needs:
            lines.append(words(f"dry.closed_{why}", valves=by_block(needs, words, most)))
    return lines if groups else [words("dry.none"), *lines]


def dry_at_risk(advice: Advice) -> list[int]:
    """Give the places of the valves that need water and get none.

    Parameters
    ----------
    advice : Advice
        A finished plan.

    Returns
    -------
    list of int
    """
    needs, barred = advice.case.requirements, advice.case.barred
    return [i for i in _without_water(advice) if barred[i] not in NO_RISK and needs[i].need_mm > 0]


def by_block(needs: list[Requirement], words: WaterWords, most: int) -> str:
    """List valves block by block: ``"A1, A2 (North); B1 (South)"``, at most so many of them.

    Parameters
    ----------
    needs : list of Requirement
        Of the valves.
    words : WaterWords
        The language.
    most : int
        Names to list.

    Returns
    -------
    str
    """
    blocks: dict[str, list[str]] = {}
    for need in needs[:most]:
        blocks.setdefault(need.block, []).append(need.valve)
    said = "; ".join(f"{', '.join(valves)} ({block})" for block, valves in blocks.items())
    more = len(needs) - most
    return words("plan.and_more", valves=said, count=more) if more > 0 else said


def why_closed(row: Mapping[str, Any], words: WaterWords) -> str | None:
    """Say why a valve stays closed.

    Parameters
    ----------
    row : mapping
        Of the plan's table: its ``status`` and ``limited_by``.
    words : WaterWords
        The language.

    Returns
    -------
    str or None
        None where the table does not say.
    """
    barred = {said: code for code, said in STATUS.items()}.get(row.get("status") or "?")
    if barred is None:
        return None
    return words(f"status.{barred}" if barred else f"dry.by_{row.get('limited_by') or 'worth'}")


def _without_water(advice: Advice) -> list[int]:
    """Return the places of the valves without water, those that lose most by it first."""
    steps, needs = advice.solution.steps, advice.case.requirements
    return sorted(
        (i for i in range(len(needs)) if not steps[i]),
        key=lambda i: (-needs[i].harm * needs[i].end_bar, i),
    )


def _reason(advice: Advice, valve: int, words: WaterWords, *, remembered: bool) -> _Reason:
    need = advice.case.requirements[valve]
    barred = advice.case.barred[valve]
    why = words(f"status.{barred}") if barred else words(f"dry.by_{advice.limits[valve] or 'worth'}")
    if barred == "before_harvest" and need.cut_off:
        why = words("dry.before_harvest", day=words.plain.date(need.cut_off))
    profile = advice.terms.profiles[need.crop]
    swp = _swp(need)
    found = level_of(profile, "absolute", swp) if swp is not None else None
    recalled = found is not None and found.standing == FROM_MEMORY
    level = ""
    if found is not None and (remembered or not recalled):
        said = {"level": found.level.said(words.language), "text": found.text.said(words.language)}
        level = words("dry.level_from_memory" if recalled else "dry.level", **said)
    stage = need.stage_names.said(words.language) if need.stage_names else "-"
    return _Reason(why, level, stage, swp is not None, need.end_bar > need.limit_bar)


def _swp(need: Requirement) -> float | None:
    swp = need.target_end_bar - need.end_bar
    return swp if swp == swp else None  # noqa: PLR0124 - NaN is what differs from itself


def _line(reason: _Reason, needs: list[Requirement], advice: Advice, words: WaterWords, most: int) -> str:
    figures = [need.end_bar if (swp := _swp(need)) is None else swp for need in needs]
    digits = 0 if reason.swp_known else 1
    ends = list(dict.fromkeys(words.plain.number(bar, digits) for bar in sorted(figures)))
    bar = ends[0] if len(ends) == 1 else words.plain("terminal.span", low=ends[0], high=ends[-1])
    line = words(
        "dry.line" if reason.swp_known else "dry.line_unknown",
        why=reason.why[:1].upper() + reason.why[1:], valves=by_block(needs, words, most), bar=bar,
        day=words.plain.date(advice.terms.next_turn), level=reason.level, stage=reason.stage,
    )  # fmt: skip
    return f"{line} {words('dry.past_limit')}" if reason.past_limit else line
