"""The water plan on a terminal: tables of valves, of ways to share, of sets, and of relief against water."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.table import Table

from stressmap.core.units import M3_PER
from stressmap.output.gis.plan_files import knee_sentence
from stressmap.output.terminal.narrow_table import narrow_table
from stressmap.output.view.plan_words import SHOWN_NAMES, tell
from stressmap.output.view.water_words import Section, WaterWords
from stressmap.water.value_of_water import M3_PER_ML, WaterValueCurve
from stressmap.water.water_plan import Advice, plan_table, timetable_table

SHOWN = 40
SHOWN_SETS = 20
BAR_CELLS = 20
WIDE = 100
"""Columns of a terminal from which on the trees behind each valve and how sure it is are told."""
DECIDES = {
    "soil", "soil_not_known", "mm_per_bar", "mm_per_bar_measured", "mm_per_bar_season",
    "mm_per_bar_borrowed", "system",
    "system_not_known", "rate",
    "eto", "kc", "target", "stress", "young", "log", "root_zone_empty",
}  # fmt: skip
"""Assumptions that the need itself rests on."""


def print_advice(
    advice: Advice, words: WaterWords, console: Console, trees: Mapping[str, int] | None = None
) -> None:
    """Print a plan.

    Parameters
    ----------
    advice : Advice
        A finished plan.
    words : WaterWords
        Language and units.
    console : Console
        Where to.
    trees : mapping of str to int, optional
        How many read trees stand behind each valve; not spoken of by default.
    """
    first, *others = (part for part in tell(advice, words, trees, most=SHOWN_NAMES) if part.kind != "day")
    console.print(first.title, markup=False)
    _lines(first.lines, console)
    console.print(_valves(advice, words, trees, console.width))
    _more(len(advice.case.requirements) - SHOWN, "more_valves", words, console)
    if any(set(need.assumed) & DECIDES for need in advice.case.requirements[:SHOWN]):
        console.print(words("table.starred"), markup=False)
    console.print()
    console.print(_sets(advice, words, console.width))
    _more(len(advice.timetable.sets) - SHOWN_SETS, "more_sets", words, console)
    for section in others:
        console.print()
        console.print(section.title, markup=False)
        if section.heads:
            console.print(_ways(section, console.width))
        _lines(section.lines, console)


def _more(count: int, name: str, words: WaterWords, console: Console) -> None:
    if count > 0:
        console.print(words(f"table.{name}", count=count), markup=False)


def _lines(lines: tuple[str, ...], console: Console) -> None:
    for line in lines:
        console.print(f"- {line}", markup=False)


def _valves(advice: Advice, words: WaterWords, trees: Mapping[str, int] | None, width: int) -> Table:
    """Lay out what each valve gets; on a narrow terminal without how sure it is, and its trees."""
    trees = trees if width >= WIDE else None
    amounts = ("need", "hours", "depth", "volume", "covered")
    names = (
        ("valve", *amounts, "status") if trees is None else ("valve", "trees", *amounts, "chosen", "status")
    )
    cells = []
    for i, row in enumerate(plan_table(advice).head(SHOWN).itertuples()):
        valve, *amount, sure, status = _valve_cells(row, advice.case.barred[i] or "dry", words)
        one = (*amount, status) if trees is None else (str(trees.get(valve, 0)), *amount, sure, status)
        cells.append((valve, *one))
    heads, last = [words(f"table.{name}") for name in names], len(names) - 1
    return narrow_table(heads, cells, width, right=range(1, last), breaks={0, last})


def _valve_cells(row: Any, why: str, words: WaterWords) -> list[str]:
    got = row.hours > 0
    sure = row.chosen_share
    return [
        str(row.valve),
        words.known(row.need_mm, "depth") + (" *" if set(row.assumed) & DECIDES else ""),
        words.quantity(row.hours, "hours") if got else "-",
        words.known(row.mm, "depth") if got else "-",
        words.known(row.m3, "volume") if got else "-",
        words.share(row.need_covered) if row.need_mm > 0 else "-",
        words.chance(sure) if sure == sure else "-",  # noqa: PLR0124 - NaN differs from itself
        _status(row, why, words),
    ]


def _status(row: Any, why: str, words: WaterWords) -> str:
    if row.status == "watered in part":
        limit = "look" if row.inspect and row.limited_by == "rules" else row.limited_by
        return (
            words("status.in_part_by", limit=words(f"limit.short_{limit}"))
            if limit
            else words("status.in_part")
        )
    return words(f"status.{'watered' if row.hours > 0 else why}")


def _sets(advice: Advice, words: WaterWords, width: int) -> Table:
    heads = [words(f"table.{name}") for name in ("opens", "closes", "pump", "valve", "hours")]
    rows: Any = timetable_table(advice).head(SHOWN_SETS).itertuples()
    cells = [
        (
            words.plain.weekday(row.start), words.plain.weekday(row.end), row.pump or "-", str(row.valve),
            words.quantity(row.hours, "hours"),
        )
        for row in rows
    ]  # fmt: skip
    return narrow_table(heads, cells, width, right={4}, breaks={2, 3})


def _ways(section: Section, width: int) -> Table:
    return narrow_table(section.heads, section.rows, width, right=range(1, len(section.heads)), breaks={0})


def print_curve(curve: WaterValueCurve, words: WaterWords, console: Console) -> None:
    """Print relief against water, with a bar for each amount.

    Parameters
    ----------
    curve : WaterValueCurve
        Relief against water.
    words : WaterWords
        Language and units.
    console : Console
        Where to.
    """
    factor = M3_PER_ML / M3_PER[words.large]
    unit = words.unit(words.large)
    console.print(words("curve.title"), markup=False)
    heads = [words("curve.water"), words("curve.relief"), words("curve.per_ml", unit=unit),
             words("curve.served"), ""]  # fmt: skip
    cells = []
    for k, point in enumerate(curve.points):
        filled = round(BAR_CELLS * point.share)
        mark = " <" if k == curve.knee else ""
        more = words.share(point.per_ml / factor) if k + 1 < len(curve.points) else "-"
        bar = "#" * filled + "." * (BAR_CELLS - filled) + mark
        cells.append(
            (words.quantity(point.water_m3, "volume"), words.share(point.share), more, str(point.served), bar)
        )
    table = narrow_table(heads, cells, console.width, right=range(4), breaks=())
    console.print(table)
    console.print(knee_sentence(curve, words), markup=False)
