"""The water plan in words, in the languages and units that people read."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from stressmap.agronomy.crops import level_of
from stressmap.agronomy.evapotranspiration import stage_on
from stressmap.core.settings import Ranch
from stressmap.core.units import System
from stressmap.output.text.words import Language, Words, filled
from stressmap.output.view.crew_words import count_words
from stressmap.output.view.quantities import Kind, quantity, scale_of
from stressmap.water.binding_constraints import BINDING_CONSTRAINTS, BindingConstraint, left_over_m3
from stressmap.water.ranch_inputs import assumptions
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import Advice, plan_table

SHOWN_DRY = 12
FROM_MEMORY = "from memory only"
TREES_TO_TRUST = 2
"""A valve that rests on fewer trees is named where it gets water."""
SURE_SHARE = 0.5
TINY_GAP = 1e-5
SPARE = 0.01
"""Share of the amount that may stay unused without a word."""


@cache
def _table(language: str) -> dict[str, dict[str, str]]:
    text = files("stressmap.output.text").joinpath(f"water_{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@dataclass(frozen=True)
class WaterWords:
    """One language, and the units that people see.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.
    units : str
        ``"us"`` or ``"metric"``.

    Examples
    --------
    >>> WaterWords("es", "us").quantity(1233.5, "volume")
    '1.00 acres-pie'
    >>> WaterWords("en", "metric").quantity(1233.5, "volume")
    '1,234 m³'
    """

    language: Language = "en"
    units: System = "us"

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text, ``"section.name"``, and fill it in; text of files is put in as it is, unescaped."""
        section, _, name = key.partition(".")
        text = _table(self.language)[section][name]
        return filled(text, values)

    @property
    def plain(self) -> Words:
        """Numbers and dates of the language."""
        return Words(self.language, self.units)

    @property
    def large(self) -> str:
        """The unit of which one more is spoken of: ``"acre-ft"`` or ``"ML"``."""
        return "acre-ft" if self.units == "us" else "ML"

    def unit(self, name: str) -> str:
        """Name a unit."""
        return self.plain(f"unit.{name}")

    def quantity(self, value: float, kind: Kind) -> str:
        """Write a quantity in the units people see; see :func:`stressmap.output.view.quantities.quantity`."""
        return quantity(value, kind, self.plain)

    def share(self, share: float) -> str:
        """Write a part of an amount [1] as per cent."""
        return quantity(share, "share", self.plain)

    def chance(self, chance: float) -> str:
        """Write a chance [1] as per cent."""
        return quantity(chance, "chance", self.plain)


@dataclass(frozen=True)
class Section:
    """A heading and its sentences.

    Parameters
    ----------
    title : str
        Heading.
    lines : tuple of str
        Sentences; text of files is in them unescaped.
    heads : tuple of str
        Headings of the table that goes before them, if there is one.
    rows : tuple of tuple of str
        The table.
    """

    title: str
    lines: tuple[str, ...]
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()


def first_words(ranch: Ranch) -> WaterWords:
    """Give the words of a ranch's first language.

    Parameters
    ----------
    ranch : Ranch
        Languages and units.

    Returns
    -------
    WaterWords
    """
    return WaterWords(ranch.languages[0], ranch.units)


def tell(advice: Advice, words: WaterWords, trees: Mapping[str, int] | None = None) -> tuple[Section, ...]:
    """Tell a plan: what it does, how it compares, who stays dry, what was assumed, cautions.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.
    trees : mapping of str to int, optional
        How many read trees stand behind each valve, where there are any; not spoken of by default.

    Returns
    -------
    tuple of Section
    """
    day = words.plain.date
    calendar = advice.case.calendar
    last = calendar.clock(len(calendar.water_allowed) - 1).date()
    title = words(
        "plan.title", first=day(advice.terms.start), last=day(last), next_turn=day(advice.terms.next_turn)
    )
    return (
        Section(title, (*_outline(advice, words), *_few_trees(advice, words, trees))),
        Section(words("compare.title"), tuple(_comparison(advice, words)), *_ways(advice, words)),
        Section(words("dry.title"), tuple(_left_dry(advice, words, trees))),
        Section(words("assumed.title"), tuple(_assumptions(advice, words))),
        Section(words("caution.title"), (*cautions(words), *_crop_cautions(advice, words))),
    )


def cautions(words: WaterWords) -> tuple[str, ...]:
    """Give the cautions that go with every plan.

    Parameters
    ----------
    words : WaterWords
        Language.

    Returns
    -------
    tuple of str
    """
    return tuple(words(f"caution.{name}") for name in ("advice", "law", "adviser", "harm", "dry"))


def _crop_cautions(advice: Advice, words: WaterWords) -> list[str]:
    """Give what must be known of the crops that are grown, what is only remembered left out."""
    return [
        words("caution.crop", crop=profile.title.said(words.language), text=caution.said(words.language))
        for _, profile in sorted(advice.terms.profiles.items())
        for caution in profile.cautions
        if caution.standing != FROM_MEMORY
    ]


def _outline(advice: Advice, words: WaterWords) -> list[str]:
    problem, solution = advice.case.problem, advice.solution
    ours = advice.alternatives[0]
    open_ended = problem.volume_m3 == float("inf")
    facts = {
        "used": words.quantity(ours.water_m3, "volume"),
        "available": "" if open_ended else words.quantity(problem.volume_m3, "volume"),
        "served": ours.served,
        "count": len(problem),
        "need": sum(need.need_mm > 0 for need in advice.case.requirements),
    }
    lines = [words("plan.amount_open" if open_ended else "plan.amount", **facts)]
    if not ours.served:
        needed = any(not why for why in advice.case.barred)
        why = words("plan.empty_small" if needed else "plan.empty_need")
        return [*lines, words("plan.empty", why=why)]
    if ours.past_limit_possible > 0:
        lines.append(words("plan.past_limit", share=words.share(ours.past_limit / ours.past_limit_possible)))
    lines.append(words("plan.relief", share=words.share(ours.share)))
    lines += [_proof(advice, words), *_sure(advice, words), *_what_binds(advice, words)]
    if solution.stopped:
        lines.append(
            words(f"plan.stopped_{solution.stopped}", seconds=f"{advice.terms.water.time_limit_s:g}")
        )
    table = advice.timetable
    split = sum(1 for v in {s.valve for s in table.sets} if sum(s.valve == v for s in table.sets) > 1)
    return [*lines, words("plan.turns", sets=len(table.sets), moments=table.moments, split=split)]


def _few_trees(advice: Advice, words: WaterWords, trees: Mapping[str, int] | None) -> list[str]:
    """Name the valves that get water on the word of one tree or none, those with most water first."""
    if trees is None:
        return []
    table = plan_table(advice)
    thin = table[(table["hours"] > 0) & (table["valve"].map(trees).fillna(0) < TREES_TO_TRUST)]
    if thin.empty:
        return []
    names = thin.sort_values("m3", ascending=False, kind="stable")["valve"].tolist()
    valves = _some_of(names, words)
    share = words.share(thin["m3"].sum() / table["m3"].sum())
    return [words("plan.few_trees", share=share, valves=valves)]


def _proof(advice: Advice, words: WaterWords) -> str:
    gap = advice.solution.gap
    binding = "; ".join(_limit_name(limit, advice, words) for limit in _binding(advice))
    key, said = ("exact", "") if gap < TINY_GAP else ("proven", words.share(math.ceil(gap * 1000.0) / 1000.0))
    told = words(f"plan.{key}", gap=said) if said else words(f"plan.{key}")
    return f"{told} {words('limit.binds', limits=binding)}" if binding else told


def _sure(advice: Advice, words: WaterWords) -> list[str]:
    """Say whether who gets water hangs on the water per bar, and name the valves for which it does."""
    found = advice.by_factor
    if found.agree:
        return [words("plan.sure_all")]
    lines = [words("plan.sure_some", sure=int(found.sure.sum()), served=int(found.planned.sum()))]
    for key, which in (("unsure", found.planned & ~found.sure), ("instead", found.instead)):
        names = [name for name, holds in zip(advice.case.problem.names, which, strict=True) if holds]
        if names:
            lines.append(words(f"plan.{key}", valves=_some_of(names, words)))
    return lines


def _some_of(names: list[str], words: WaterWords) -> str:
    shown = ", ".join(names[:SHOWN_DRY])
    more = len(names) - SHOWN_DRY
    return words("plan.and_more", valves=shown, count=more) if more > 0 else shown


def _binding(advice: Advice) -> list[BindingConstraint]:
    return [limit for limit in BINDING_CONSTRAINTS if limit in advice.limits]


def _limit_name(limit: BindingConstraint, advice: Advice, words: WaterWords) -> str:
    if limit != "pump":
        return words(
            f"limit.{limit}", **({"turns": advice.terms.water.most_turns} if limit == "turns" else {})
        )
    case = advice.case
    used = sorted({int(case.problem.pump[i]) for i, why in enumerate(advice.limits) if why == "pump"})
    named = ", ".join(case.pumps[p] for p in used)
    return words("limit.pumps", pumps=named) if named else words("limit.pump")


def _what_binds(advice: Advice, words: WaterWords) -> list[str]:
    """Say what keeps valves short of their need, and how water that is left over could be used."""
    binding = _binding(advice)
    counted = [
        words("limit.count", what=_limit_name(limit, advice, words), count=advice.limits.count(limit))
        for limit in binding
    ]
    lines = [words("limit.line", limits="; ".join(counted)) if counted else words("limit.none")]
    left = left_over_m3(advice.case, advice.timetable)
    if not math.isfinite(left) or left <= SPARE * advice.case.problem.volume_m3:
        return lines
    lifted = [limit for limit in binding if limit not in {"water", "worth"}]
    said = words.quantity(left, "volume")
    if not lifted:
        return [*lines, words("limit.spare", left=said)]
    facts = {"turns": advice.terms.water.most_turns}
    remedies = "; ".join(words(f"limit.lift_{limit}", **facts) for limit in lifted)
    stopped = "; ".join(_limit_name(limit, advice, words) for limit in lifted)
    return [*lines, words("limit.left", left=said, limits=stopped, remedies=remedies)]


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
    judged = advice.over_draws
    if judged.draws:
        mean, low, high = (words.share(share) for share in judged.share["plan"])
        lines.append(
            words(
                "compare.spread", draws=judged.draws, mean=mean, low=low, high=high,
                equal=words.share(judged.share["equal share"][0]),
                driest=words.share(judged.share["driest first"][0]), best=words.chance(judged.best),
            )
        )  # fmt: skip
        unsure = [
            name
            for name, steps, share in zip(
                advice.case.problem.names, advice.solution.steps, judged.chosen, strict=True
            )
            if steps and share < SURE_SHARE
        ]
        if unsure:
            lines.append(words("compare.unsure", valves=", ".join(unsure)))
    return lines


def _left_dry(advice: Advice, words: WaterWords, trees: Mapping[str, int] | None) -> list[str]:
    dry = [
        need
        for need, why, steps in zip(
            advice.case.requirements, advice.case.barred, advice.solution.steps, strict=True
        )
        if not steps and need.need_mm > 0 and why != "no_harm"
    ]
    dry.sort(key=lambda need: (-need.harm * need.end_bar, need.valve))
    lines = [_dry_line(need, advice, words) for need in dry[:SHOWN_DRY]]
    if trees is not None:
        behind = [count_words(trees.get(need.valve, 0), words.plain) for need in dry[:SHOWN_DRY]]
        lines = [
            f"{line} {words.plain('trees.behind', trees=said)}."
            for line, said in zip(lines, behind, strict=True)
        ]
    if len(dry) > SHOWN_DRY:
        lines.append(words("dry.more", count=len(dry) - SHOWN_DRY))
    return lines or [words("dry.none")]


def _dry_line(need: Requirement, advice: Advice, words: WaterWords) -> str:
    profile = advice.terms.profiles[need.crop]
    until = advice.terms.next_turn
    stage = stage_on(advice.terms.start + (until - advice.terms.start) // 2, profile)
    facts = {
        "valve": need.valve,
        "block": need.block,
        "day": words.plain.date(until),
        "stage": stage.text.said(words.language) if stage else "-",
    }
    swp = need.target_end_bar - need.end_bar
    if swp != swp:  # noqa: PLR0124 - NaN is what differs from itself
        return words("dry.line_unknown", stress=words.plain.number(need.end_bar), **facts)
    level = level_of(profile, "absolute", swp)
    said = (
        {"level": level.level.said(words.language), "text": level.text.said(words.language)} if level else {}
    )
    recalled = level is not None and level.standing == FROM_MEMORY
    tail = words("dry.level_from_memory" if recalled else "dry.level", **said) if said else ""
    return words("dry.line", bar=words.plain.number(swp, 0), level=tail, **facts)


def _assumptions(advice: Advice, words: WaterWords) -> list[str]:
    eto, climate = words.quantity(advice.terms.eto.other_mm, "depth"), advice.terms.eto.climate
    plain = words.plain.number
    air = {"wind": plain(climate.wind_m_s), "humid": plain(climate.rh_min_pct, 0)} if climate else {}
    lines = [
        words("assumed.line", text=words(f"assumed.{code}", eto=eto, **air), count=count)
        for code, count in assumptions(advice.case, advice.terms.eto).items()
    ]
    what = words(f"assumed.divided_{advice.terms.water.divide_by}")
    return [*lines, words("assumed.divided", what=what)]


def as_text(sections: tuple[Section, ...]) -> str:
    """Set sections as plain text.

    Parameters
    ----------
    sections : tuple of Section
        From :func:`tell`.

    Returns
    -------
    str
        Ends with a line break.
    """
    parts = ["\n".join([s.title, *_aligned(s), *(f"- {line}" for line in s.lines)]) for s in sections]
    return "\n\n".join(parts) + "\n"


def _aligned(section: Section) -> list[str]:
    """Return a section's table as lines of columns."""
    table = [section.heads, *section.rows] if section.heads else []
    widths = [max(len(cell) for cell in column) for column in zip(*table, strict=True)]
    return [
        "  ".join(
            cell.rjust(width) if k else cell.ljust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        )
        for row in table
    ]
