"""A round that was typed in, ``round.xlsx`` or ``round.csv`` with figures -> a table of readings.

What was typed is put into the form of a readings file, each row where it stood, and read as one: units,
decimal commas and unreadable cells are that reader's.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import math
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import ToldRow
from stressmap.core.set_codes import codes_of_trees, is_code, is_code_of_tree, plain_code
from stressmap.core.settings import Settings
from stressmap.core.sources import InputSource
from stressmap.intake.columns import Table, fitting, match, recogniser
from stressmap.intake.heading_recognition import Field, names
from stressmap.intake.numbers import is_nothing, parse_numbers
from stressmap.intake.planned_stops import NO_STOPS, PlannedStop, Stops, stop_on
from stressmap.intake.readings import split_unit
from stressmap.intake.spellings import FIELDS as READING_FIELDS
from stressmap.intake.table_files import read_sheets
from stressmap.intake.times import Asked, read_clock, read_dates
from stressmap.intake.trouble_words import TREE_TROUBLE_WORDS, trouble_codes

_KEPT = (
    "tree_id", "date", "lon", "lat", "pressure", "recheck", "unit", "bagged_at", "block", "valve", "temp",
    "rh", "chamber", "crew", "leaf", "note",
)  # fmt: skip
_TIME = READING_FIELDS["time"]
FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        "code": Field(names("tree_code codigo codigo_de_arbol codigo_arbol")),
        "stop": Field(names("parada")),
        "action": Field(names("accion")),
        "clock": Field(()),
        "planned_bag": Field(names("bolsa_planeada")),
        "planned_read": Field(names("planned_reading lectura_planeada")),
        "trouble": Field(names("problem problema")),
        "time": replace(_TIME, names=tuple(name for name in _TIME.names if name != "clock")),
    }
    | {name: READING_FIELDS[name] for name in _KEPT}
)
"""Our columns of a typed round and their spellings."""
FILLED_IN = ("pressure", "recheck", "time", "trouble", "note")
"""A row with none of these was not read."""
AS_TYPED = ("unit", "lon", "lat", "block", "valve", "temp", "rh", "chamber", "crew", "leaf", "stop", "note")
MORNING = pd.Timedelta(hours=7)
NOON = pd.Timedelta(hours=12)
PAST_RANGE_BAR = 2.0
"""How far past the expected range a reading may lie before it is doubted, as on a phone: common practice, no
source [bar]."""
NEAR = pd.Timedelta(hours=4)
"""An hour before seven that twelve more bring this near to the planned one was meant so: a judgement."""


@dataclass(frozen=True)
class TypedRound:
    """What one sheet of a typed round holds.

    Parameters
    ----------
    where : str
        The file, with the sheet where there are several.
    source : InputSource or None
        What was read as a table of readings, each row under its number; None where nothing was.
    empty : tuple of int
        Rows of stops that were not read.
    doubts : tuple of ToldRow
        What to look at of rows that are kept.
    refused : tuple of ToldRow
        Rows that are not kept, and why.
    expected : dict of int to (float, float)
        By row, the range in which the day's round expected the tension [bar, positive].
    """

    where: str
    source: InputSource | None = None
    empty: tuple[int, ...] = ()
    doubts: tuple[ToldRow, ...] = ()
    refused: tuple[ToldRow, ...] = ()
    expected: Mapping[int, tuple[float, float]] = field(default_factory=dict)

    def far(self, frame: pd.DataFrame) -> tuple[ToldRow, ...]:
        """Tell readings far past the range in which they were expected.

        Parameters
        ----------
        frame : DataFrame
            What :attr:`source` was read as: ``row``, ``pressure_bar``.

        Returns
        -------
        tuple of ToldRow
        """
        told = []
        for row, bar in zip(frame["row"], frame["pressure_bar"].abs(), strict=True):
            low, high = self.expected.get(int(row), (math.nan, math.nan))
            if max(low - bar, bar - high) > PAST_RANGE_BAR:
                told.append(ToldRow.of(row, "round_far_from_expected", bar=bar, low=low, high=high))
        return tuple(told)


@dataclass(frozen=True)
class _Typed:
    """A row in the making."""

    row: int
    says: dict[str, str]
    planned: PlannedStop | None = None
    told: list[ToldRow] = field(default_factory=list)
    kept: bool = True
    expected: tuple[float, float] | None = None


def read_typed_rounds(
    given: InputSource, settings: Settings, stops: Stops = NO_STOPS, day: dt.date | None = None
) -> Noted[tuple[TypedRound, ...]] | None:
    """Read a round that was typed in.

    Parameters
    ----------
    given : InputSource
        A workbook or a table of text.
    settings : Settings
        Of the ranch.
    stops : mapping of str to tuple of PlannedStop
        Of the rounds that were planned, by code.
    day : date, optional
        Of the round, where the file lies in the folder of one.

    Returns
    -------
    Noted of tuple of TypedRound, or None
        None where no sheet is of a round.

    Raises
    ------
    DataError
        If a row was filled in and nothing says of which day.
    """
    fits = _fits(settings)
    notes = NoteList()
    sheets = notes.keep(read_sheets(given, recogniser(FIELDS, settings.columns), fits))
    tables = [match(sheet, FIELDS, settings.columns) for sheet in sheets if fits(sheet.headings)]
    tables = [table for table in tables if _of_round(table)]
    if not tables:
        return None
    return notes.beside(tuple(notes.keep(_read(table, settings, stops, day)) for table in tables))


def may_be_typed_round(begun: InputSource, settings: Settings) -> bool:
    """Tell by the headings whether a table can be a round that was typed in.

    Parameters
    ----------
    begun : InputSource
        The table, or its first lines.
    settings : Settings
        Of the ranch.

    Returns
    -------
    bool
    """
    fits = _fits(settings)
    sheets = read_sheets(begun, recogniser(FIELDS, settings.columns), fits).value
    return any(fits(sheet.headings) for sheet in sheets)


def _fits(settings: Settings) -> Callable[[Sequence[str]], bool]:
    return fitting(FIELDS, settings.columns, ("pressure",), ("code", "action"))


def _of_round(table: Table) -> bool:
    """Tell a round's sheet from other readings that have a column of codes."""
    if table.has("action"):
        return table.has("clock") and table.has("tree_id")
    return table.has("code") and (table.has("stop") or not table.has("tree_id"))


def _read(table: Table, settings: Settings, stops: Stops, day: dt.date | None) -> Noted[TypedRound]:
    cells = _RoundCells(table, settings, day)
    typed = [_row(cells, row, says, stops) for row, says in cells.filled()]
    _number(typed)
    _without_words(table, typed)
    kept = [one for one in typed if one.kept]
    notes = () if cells.timed or not kept else (Note.of("round_clocks_planned", "caution", file=table.where),)
    made = TypedRound(
        table.where,
        _as_table(table, kept) if kept else None,
        tuple(cells.empty()),
        tuple(told for one in typed if one.kept for told in one.told),
        tuple(told for one in typed if not one.kept for told in one.told),
        {one.row: one.expected for one in kept if one.expected is not None},
    )
    return Noted(made, notes)


class _RoundCells:
    """The cells of a sheet, text by column."""

    def __init__(self, table: Table, settings: Settings, day: dt.date | None) -> None:
        texts = {name: table.text(name).fillna("").astype(str).str.strip() for name in FIELDS}
        self._texts = {name: cells.mask(is_nothing(cells), "") for name, cells in texts.items()}
        self.where, self._day = table.where, day
        asked = Asked(table.where, table.headings.get("date", "date"), settings.ranch.zone,
                      settings.reading.date_order)  # fmt: skip
        self._days = read_dates(self._texts["date"], asked) if table.has("date") else None
        if table.has("action"):
            self._join_bags()
        self.timed = bool((self._texts["time"] != "").any())

    def _join_bags(self) -> None:
        """Take the clocks of bags into the rows of readings, and leave those rows out."""
        texts = self._texts
        key = texts["crew"] + "|" + texts["block"] + "|" + texts["tree_id"]
        bags = texts["action"].str.lower().isin(["bag", "embolsar"])
        first = pd.DataFrame({"key": key[bags], "clock": texts["clock"][bags], "time": texts["time"][bags]})
        first = first.drop_duplicates("key").set_index("key")
        reads = ~bags | (texts["pressure"] != "")
        planned, typed = key.map(first["clock"]).fillna(""), key.map(first["time"]).fillna("")
        texts["planned_bag"] = planned.where(texts["planned_bag"] == "", texts["planned_bag"])
        texts["planned_read"] = texts["clock"]
        texts["bagged_at"] = typed.where(texts["bagged_at"] == "", texts["bagged_at"])
        self._texts = {name: cells[reads] for name, cells in texts.items()}

    def _is_filled(self) -> pd.Series:
        return pd.concat([self._texts[name] != "" for name in FILLED_IN], axis=1).any(axis=1)

    def empty(self) -> list[int]:
        """Give the rows of stops that were not read."""
        filled = self._is_filled()
        return [int(row) for row in filled.index[~filled]]

    def filled(self) -> Iterator[tuple[int, dict[str, str]]]:
        """Give the rows that were read."""
        filled = self._is_filled()
        for row in filled.index[filled]:
            says = {name: str(cells[row]) for name, cells in self._texts.items()}
            yield int(row), says

    def day_of(self, row: int) -> dt.date | None:
        """Tell of which day a row is, as it says itself or as its file lies; None where neither does."""
        if self._days is not None and not pd.isna(self._days[row]):
            return self._days[row].date()  # type: ignore[no-any-return]
        return self._day


def _row(cells: _RoundCells, row: int, says: dict[str, str], stops: Stops) -> _Typed:
    says["code"] = plain_code(says["code"])
    day = cells.day_of(row)
    planned = stop_on(stops, says["code"], day)
    one = _Typed(row, says, planned)
    if not _named(one):
        return replace(one, kept=False)
    if day is None and planned is None:
        what, remedy = "nothing says of which day this was", "Add a column date, as 2026-07-21"
        raise DataError(Problem(cells.where, what, remedy, row=row))
    day = day or (planned.day if planned else None)
    _timed(one, day)
    says["trouble"] = trouble_codes(says["trouble"], TREE_TROUBLE_WORDS) or ""
    tree = codes_of_trees([(says["block"], says["tree_id"])])[0]
    says["reading_id"] = f"round-{day}-{tree}" if says["tree_id"] else ""
    if planned is None or planned.day != day or _doubt_of_code(one) is not None:
        return one
    return replace(one, expected=(planned.expected_low, planned.expected_high))


def _named(one: _Typed) -> bool:
    """Fill in tree and place by the code; tell whether a row says where it was."""
    says, planned = one.says, one.planned
    doubt = _doubt_of_code(one)
    if doubt is not None:
        one.told.append(doubt)
    elif planned is not None:
        _fill_in(says, planned)
    if says["tree_id"] or (says["lon"] and says["lat"]):
        return True
    if doubt is None:
        one.told.append(ToldRow.of(one.row, "round_no_tree"))
    return False


def _doubt_of_code(one: _Typed) -> ToldRow | None:
    says, code, tree = one.says, one.says["code"], one.says["tree_id"]
    if not code:
        return None
    if not is_code(code):
        if tree:
            return ToldRow.of(one.row, "round_code_wrong_tree", code=code, tree=tree)
        return ToldRow.of(one.row, "round_code_wrong", code=code)
    if tree:
        right = _is_of(says, one.planned)
        return None if right else ToldRow.of(one.row, "round_code_other", code=code, tree=tree)
    return ToldRow.of(one.row, "round_code_unknown", code=code) if one.planned is None else None


def _fill_in(says: dict[str, str], planned: PlannedStop) -> None:
    """Fill in what a row leaves out of what was planned."""
    for name in ("tree_id", "block", "valve", "stop", "crew"):
        says[name] = says[name] or str(getattr(planned, name))
    for name in ("lon", "lat"):
        figure = getattr(planned, name)
        says[name] = says[name] or ("" if pd.isna(figure) else f"{figure:.7f}")
    says["planned_bag"] = says["planned_bag"] or planned.bag_clock
    says["planned_read"] = says["planned_read"] or planned.read_clock


def _is_of(says: Mapping[str, str], planned: PlannedStop | None) -> bool:
    """Tell whether a code may be that of the tree that a row names."""
    if planned is not None and not says["block"]:
        return planned.tree_id.casefold() == says["tree_id"].casefold()
    return not says["block"] or is_code_of_tree(says["code"], says["block"], says["tree_id"])


def _timed(one: _Typed, day: dt.date | None) -> None:
    """Write the moments of bag and reading: hours alone are of the round's day, and near the planned ones."""
    for name, plan in (("bagged_at", "planned_bag"), ("time", "planned_read")):
        cell = one.says[name]
        clock, planned = (read_clock(pd.Series([text]))[0] for text in (cell, one.says[plan]))
        if cell == "" and name == "time" and not pd.isna(planned):
            clock = planned
            one.told.append(ToldRow.of(one.row, "round_no_time"))
        if pd.isna(clock):
            continue  # a day and an hour, or what the reader of readings will refuse
        if not pd.isna(planned) and clock < MORNING and abs(clock + NOON - planned) <= NEAR:
            clock += NOON
            one.told.append(ToldRow.of(one.row, "round_afternoon", cell=cell, taken=_shown(clock)))
        one.says[name] = f"{day} {_shown(clock)}"


def _shown(clock: pd.Timedelta) -> str:
    minutes = round(clock.total_seconds() / 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _number(typed: list[_Typed]) -> None:
    """Tell the readings of one tree apart: a second leaf, another chamber."""
    seen: Counter[str] = Counter()
    for one in typed:
        own = one.says.get("reading_id")
        if own:
            seen[own] += 1
            one.says["reading_id"] = own if seen[own] == 1 else f"{own}-{seen[own]}"


def _without_words(table: Table, typed: list[_Typed]) -> None:
    """Empty the cells of pressures that are no numbers, and tell them: the row stays, without a value."""
    for name in ("pressure", "recheck"):
        bare, _ = split_unit(pd.Series([one.says[name] for one in typed], dtype=object))
        _, bad = parse_numbers(bare, comma=table.comma)
        for one, wrong in zip(typed, bad, strict=True):
            if wrong and one.kept:
                heading, cell = table.headings[name], one.says[name]
                one.told.append(ToldRow.of(one.row, "round_no_figure", column=heading, cell=cell))
                one.says[name] = ""


def _as_table(table: Table, typed: list[_Typed]) -> InputSource:
    """Write rows as a table of readings, each under its number."""
    headings = {name: _heading(table, name) for name in ("pressure", "recheck", "temp", "rh")}
    columns = ("reading_id", "tree_id", "time", "bagged_at", "pressure", "recheck", *AS_TYPED, "trouble")
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([headings.get(name, name) for name in columns])
    at = 2
    for one in sorted(typed, key=lambda one: one.row):
        for _ in range(one.row - at):
            writer.writerow([""] * len(columns))
        writer.writerow([one.says.get(name, "") for name in columns])
        at = one.row + 1
    return InputSource.of_bytes(text.getvalue().encode(), table.where)


def _heading(table: Table, name: str) -> str:
    unit: Any = table.unit(name)
    shown = {"temp": "temp", "rh": "rh"}.get(name, name)
    return shown if unit is None else f"{shown} ({unit})"
