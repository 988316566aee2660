"""What is told of water that ranches share: sentences and a row a ranch, for page, terminal and tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pandas as pd

from stressmap.core.district_schemas import DISTRICT_WATER
from stressmap.core.schemas import columns_of, hold
from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.problem_words import problem_text
from stressmap.output.view.quantities import percent, volume
from stressmap.output.view.rows import rows
from stressmap.water.shared_volume import SharedVolume

TOLD_M3 = 1.0
"""Less water than this is not spoken of [m3]."""
TOLD_USED = 0.98
"""Plans that use a smaller share of what was shared out are spoken of."""
WAYS = {"share": "", "equal": "equal_", "need": "need_"}
"""Ways of sharing, and how their columns begin."""


@dataclass(frozen=True)
class SharedWaterText:
    """What one language says of the shared water.

    Parameters
    ----------
    heading : str
        Of the part.
    lines : tuple of str
        What was shared, what it does against equal shares, what is left; the last one is a caution.
    head : tuple of str
        Of the columns.
    rows : tuple of tuple of str
        Ranch, what it gets, the same depth, what it needs, and why.
    """

    heading: str
    lines: tuple[str, ...]
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def shared_water_text(shared: SharedVolume, titles: dict[str, str], words: DistrictWords) -> SharedWaterText:
    """Say what became of the shared water.

    Parameters
    ----------
    shared : SharedVolume
        What each ranch gets.
    titles : dict of str to str
        The name of each ranch in this district by its folder.
    words : DistrictWords
        The language.

    Returns
    -------
    SharedWaterText
    """
    head = tuple(words(f"water.{name}") for name in ("ranch", "gets", "equal", "needs", "why"))
    told = tuple(_row(row, titles, words) for row in rows(shared.table))
    return SharedWaterText(words("water.heading"), tuple(_lines(shared, words)), head, told)


def _row(row: dict[str, Any], titles: dict[str, str], words: DistrictWords) -> tuple[str, ...]:
    told = (row[name] for name in ("share_m3", "equal_share_m3", "need_m3"))
    amounts = (words("water.unknown") if m3 is None else volume(m3, words.plain) for m3 in told)
    return (titles.get(row["slug"], row["ranch"]), *amounts, words(f"why.{row['why']}"))


def _lines(shared: SharedVolume, words: DistrictWords) -> Iterator[str]:
    plain, table = words.plain, shared.table
    terms = {"volume": volume(shared.available_m3, plain)}
    terms["day"] = "" if shared.start is None else plain.date(shared.start)
    told = words("water.terms_own", **terms)
    if shared.days is not None:
        told = words("water.terms", days=shared.days, **terms)
    rule = (
        words("water.rule_floor", floor=percent(shared.floor, plain)) if shared.floor else words("water.rule")
    )
    yield f"{told} {rule}"
    failed = int((table["why"] == "failed").sum())
    mapped = len(table) - failed
    for key, column in (("against_past", "past_limit"), ("against", "benefit")):
        possible = table["possible" if column == "benefit" else f"possible_{column}"].sum()
        if possible > 0:
            parts = {way: table[f"{begins}{column}"].sum() / possible for way, begins in WAYS.items()}
            said = words(f"water.{key}", **{way: percent(part, plain) for way, part in parts.items()})
            yield words("water.of_mapped", count=mapped, said=said) if failed else said
    if shared.floors_kept < 1.0:
        yield words("water.floors", percent=percent(shared.floors_kept, plain))
    if shared.left_m3 > TOLD_M3:
        left = volume(shared.left_m3, plain)
        yield (
            words("water.kept_back", volume=left, count=failed)
            if failed
            else words("water.left", volume=left)
        )
    planned = table["planned_m3"].sum()
    if 0.0 < planned < TOLD_USED * table.loc[table["planned_m3"].notna(), "share_m3"].sum():
        yield words("water.unused", volume=volume(planned, plain))
    yield from (words("water.problem", problem=problem_text(problem, words)) for problem in shared.problems)
    yield words("water.rights")


def district_water_table(shared: SharedVolume, titles: dict[str, str]) -> pd.DataFrame:
    """Give the table of shares as it leaves.

    Parameters
    ----------
    shared : SharedVolume
        What each ranch gets.
    titles : dict of str to str
        The name of each ranch in this district by its folder.

    Returns
    -------
    DataFrame
        ``district_water.csv``.
    """
    named = shared.table.assign(ranch=[titles.get(s, s) for s in shared.table["slug"]])
    return hold(named[list(columns_of(DISTRICT_WATER))], DISTRICT_WATER)
