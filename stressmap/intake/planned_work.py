"""What is planned for the crew, from its files: the stops of a measuring round, the sets of a timetable."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from zoneinfo import ZoneInfo

import pandas as pd

from stressmap.core.notes import Noted, NoteList
from stressmap.intake.columns import Table, match, recogniser
from stressmap.intake.heading_recognition import Field, names
from stressmap.intake.table_files import read_sheet
from stressmap.intake.times import Asked, read_clock, read_times

ROUND: Mapping[str, Field] = MappingProxyType(
    {name: Field(()) for name in ("stop", "crew", "action", "tree_id", "block", "valve", "row")}
    | {"clock": Field(names("time hour hora"))}
    | {name: Field(()) for name in ("lon", "lat", "why_en", "why_es")}
    | {
        "expected": Field(names("expected_bar"), ("bar",), shown="expected_bar"),
        "expected_low": Field(names("expected_low_bar"), ("bar",), shown="expected_low_bar"),
        "expected_high": Field(names("expected_high_bar"), ("bar",), shown="expected_high_bar"),
    }
)
"""Columns of ``round.csv``."""
TIMETABLE_FILE: Mapping[str, Field] = MappingProxyType(
    {name: Field(()) for name in ("code", "valve", "block", "pump", "start", "end")}
)
"""Columns of ``timetable.csv`` that say which set it is."""
STOPS = (
    "tree_id", "block", "valve", "row", "crew", "stop", "bag_clock", "read_clock", "lon", "lat", "why_en",
    "why_es", "expected", "expected_low", "expected_high",
)  # fmt: skip
"""Columns of the stops, a row per tree: clocks as text ``HH:MM``, expected tensions in bar, positive."""


def read_round(path: Path) -> pd.DataFrame:
    """Read the stops of a round.

    Parameters
    ----------
    path : Path
        ``round.csv``, or a workbook with its columns.

    Returns
    -------
    DataFrame
        Columns :data:`STOPS`, a row per crew and tree, in the order in which each is first called at.

    Raises
    ------
    DataError
        If it is no such table, or a figure is none.
    """
    sheet = read_sheet(path, recogniser(ROUND, {})).value
    table = match(sheet, ROUND, {}, required=("tree_id", "action", "clock"))
    texts = {
        n: table.text(n) for n in ("tree_id", "block", "valve", "row", "crew", "stop", "why_en", "why_es")
    }
    figures = {name: table.numbers(name) for name in ("lon", "lat")}
    expected = {name: table.numbers(name).abs() for name in ("expected", "expected_low", "expected_high")}
    rows = pd.DataFrame({**texts, **figures, **expected, "clock": _clocks(table)})
    rows["action"] = table.text("action").fillna("").str.strip().str.lower()
    rows = rows[rows["tree_id"].notna() & rows["action"].isin(["bag", "read"])]
    return _by_tree(rows)


def _clocks(table: Table) -> pd.Series:
    """Give the clock of each row, whether its cell holds a day too or not."""
    found = table.columns["clock"].str.extract(r"(\d{1,2}:\d{2})")[0]
    minutes = (read_clock(found.fillna("")).dt.total_seconds() / 60).fillna(-1).astype(int).tolist()
    shown = [f"{m // 60:02d}:{m % 60:02d}" if m >= 0 else None for m in minutes]
    return pd.Series(shown, index=table.index, dtype=object)


def _by_tree(rows: pd.DataFrame) -> pd.DataFrame:
    """Put the two calls at a tree into one row."""
    key = ["crew", "block", "tree_id"]
    rows = rows.assign(**{name: rows[name].fillna("") for name in ("crew", "block")})
    rows["order"] = range(len(rows))
    first = rows.groupby(key, sort=False).first()
    for action in ("bag", "read"):
        called = rows[rows["action"] == action].groupby(key, sort=False)["clock"].first()
        first[f"{action}_clock"] = called.reindex(first.index)
    low, high = first["expected_low"], first["expected_high"]
    first["expected_low"], first["expected_high"] = low.combine(high, min), low.combine(high, max)
    stops = first.sort_values("order").reset_index()
    return stops[list(STOPS)]


def read_timetable(path: Path, zone: ZoneInfo) -> Noted[pd.DataFrame]:
    """Read the sets that a plan has.

    Parameters
    ----------
    path : Path
        ``timetable.csv``.
    zone : ZoneInfo
        The ranch's.

    Returns
    -------
    Noted of DataFrame
        ``code`` (None where the file has none), ``valve``, ``block``, ``pump``, ``start``, ``end``, by start.

    Raises
    ------
    DataError
        If it is no such table, or no time of it can be read.
    """
    notes = NoteList()
    sheet = notes.keep(read_sheet(path, recogniser(TIMETABLE_FILE, {})))
    table = match(sheet, TIMETABLE_FILE, {}, required=("valve", "start", "end"))
    found = {name: table.text(name) for name in ("code", "valve", "block", "pump")}
    for name in ("start", "end"):
        asked = Asked(table.where, table.headings[name], zone)
        found[name] = notes.keep(read_times(table.columns[name], asked))
    sets = pd.DataFrame(found)
    sets = sets[sets["valve"].notna() & sets["start"].notna() & sets["end"].notna()]
    return notes.beside(sets.sort_values(["start", "valve"], kind="stable").reset_index(drop=True))
