"""A filled sheet of valve times -> what was really opened and closed, row by row, and what is doubtful of it.

No row that was filled in is left out: what cannot be read goes into its note, and what is doubtful is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import ToldRow
from stressmap.core.set_codes import is_code, plain_code
from stressmap.core.sources import InputSource
from stressmap.core.text import without_accents
from stressmap.intake.clocks_near_plan import is_clock, with_days
from stressmap.intake.columns import Table, fitting, match, recogniser
from stressmap.intake.doubtful_sets import SetThatRan, doubts_between, doubts_of
from stressmap.intake.heading_recognition import Field, names
from stressmap.intake.irrigation_log import FIELDS as LOG_FIELDS
from stressmap.intake.known_names import KnownNames
from stressmap.intake.log_times import LogTimes, read_log_times
from stressmap.intake.numbers import is_nothing
from stressmap.intake.planned_sets import NO_SETS, PlannedSet, filled_in
from stressmap.intake.run_hours import read_hours
from stressmap.intake.table_files import read_sheets
from stressmap.intake.times import Order
from stressmap.intake.trouble_words import trouble_codes


def _also(field: Field, more: str) -> Field:
    return replace(field, names=(*field.names, *names(more)))


FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        "code": Field(names("set_code codigo codigo_de_riego codigo_riego")),
        "valve": LOG_FIELDS["valve"],
        "block": Field(names("block_name bloque lote cuadro")),
        "planned_start": Field(names("planned_opening inicio_planeado apertura_planeada")),
        "planned_end": Field(names("planned_closing fin_planeado cierre_planeado")),
        "start": _also(
            LOG_FIELDS["start"], "real_start actual_start opened opened_at inicio_real abrio apertura"
        ),
        "start_day": LOG_FIELDS["start_day"],
        "end": _also(LOG_FIELDS["end"], "real_end actual_end closed closed_at fin_real cerro cierre"),
        "end_day": LOG_FIELDS["end_day"],
        "hours": LOG_FIELDS["hours"],
        "trouble": Field(names("troubles problem problems problema problemas averia falla")),
        "note": Field(names("notes nota notas comment comments comentario comentarios observaciones")),
        "entry_id": Field(()),
        "version": Field(()),
        "withdrawn": Field(()),
    }
)
"""Our columns of a sheet of valve times and their spellings."""

YES = frozenset({"true", "yes", "y", "si", "1", "x", "verdadero"})


@dataclass(frozen=True)
class FilledSheet:
    """What one sheet of valve times holds.

    Parameters
    ----------
    where : str
        The file, with the sheet where there are several.
    rows : tuple of SetThatRan
        Those filled in.
    empty : tuple of int
        The others.
    doubts : tuple of ToldRow
        What to look at; the rows are kept all the same.
    """

    where: str
    rows: tuple[SetThatRan, ...]
    empty: tuple[int, ...]
    doubts: tuple[ToldRow, ...]


@dataclass(frozen=True)
class _Reading:
    """What is known beside the sheets."""

    zone: ZoneInfo
    order: Order | None
    known: KnownNames | None
    sets: Mapping[str, PlannedSet]


def fits_times(columns: Mapping[str, str]) -> Any:
    """Make the test whether a row of cells has the headings of a sheet of valve times.

    Parameters
    ----------
    columns : mapping of str to str
        ``[columns]`` of the settings.

    Returns
    -------
    callable
        Of a row of cells.
    """
    return fitting(FIELDS, columns, ("valve", "code"), ("start", "start_day", "planned_start"))


def read_valve_times(
    given: Path | InputSource,
    *,
    zone: ZoneInfo,
    columns: Mapping[str, str] = MappingProxyType({}),
    order: Order | None = None,
    valves: pd.Series | None = None,
    sets: Mapping[str, PlannedSet] = NO_SETS,
) -> Noted[tuple[FilledSheet, ...]]:
    """Read sheets of valve times that were filled in.

    Parameters
    ----------
    given : Path or InputSource
        CSV or XLSX.
    zone : ZoneInfo
        The ranch's.
    columns : mapping of str to str
        ``[columns]`` of the settings: the file's heading -> ours.
    order : str, optional
        Order of day and month in its dates, where they leave it open.
    valves : Series of str, optional
        Names of the valves there are.
    sets : mapping of str to PlannedSet
        What was planned, by code: fills in what a row with a code leaves out.

    Returns
    -------
    Noted of tuple of FilledSheet

    Raises
    ------
    DataError
        If it is no table.
    """
    notes = NoteList()
    reading = _Reading(zone, order, None if valves is None else KnownNames(valves), sets)
    sheets = notes.keep(read_sheets(given, recogniser(FIELDS, columns), fits_times(columns)))
    found = []
    for sheet in sheets:
        table = match(sheet, FIELDS, columns)
        found.append(_read_table(table, reading))
    return notes.beside(tuple(found))


def _read_table(table: Table, reading: _Reading) -> FilledSheet:
    known = reading.known
    cells = _SheetCells(table, reading)
    rows, empty, doubts = [], [], []
    for row in map(int, table.index):
        if cells.is_empty(row):
            empty.append(row)
            continue
        one = cells.ran(row)
        rows.append(one)
        doubts += [*cells.unread(row), *doubts_of(one, known)]
    doubts += doubts_between(rows)
    doubts.sort(key=lambda told: told.row)
    return FilledSheet(table.where, tuple(rows), tuple(empty), tuple(doubts))


class _SheetCells:
    """The cells of a sheet, read column by column."""

    def __init__(self, table: Table, reading: _Reading) -> None:
        zone, order = reading.zone, reading.order
        self._plan_cells = table.text("planned_start").fillna("").astype(str).str.strip().to_dict()
        table, self._wrote = filled_in(table, reading.sets, reading.known)
        texts = {name: table.text(name).fillna("").astype(str).str.strip() for name in FIELDS}
        self._texts = {name: cells.mask(is_nothing(cells), "").to_dict() for name, cells in texts.items()}
        planned = _times_of(table, ("planned_start", "planned_end"), zone, order)
        near, self._clocks = _near_plan(table, planned)
        self._real = _times_of(near, ("start", "end"), zone, order)
        hours, bad = read_hours(table.text("hours"), unit=table.unit("hours"))
        length = pd.to_timedelta((hours * 3600.0).round(), unit="s")
        end = self._real.end.fillna(self._real.start + length)
        beside = _times_of(_with_end(near, planned.end, self._real), ("start", "end"), zone, order)
        end = end.fillna(beside.end)
        self._bad_hours = bad.to_dict()
        moments = {
            "planned_start": planned.start,
            "planned_end": planned.end,
            "start": self._real.start,
            "end": end,
        }
        self._moments = {name: cells.to_dict() for name, cells in moments.items()}

    def is_empty(self, row: int) -> bool:
        filled = ("start", "start_day", "end", "end_day", "hours", "trouble", "withdrawn")
        return not any(self._texts[name][row] for name in filled)

    def ran(self, row: int) -> SetThatRan:
        text = {name: cells[row] or None for name, cells in self._texts.items()}
        moments = {name: None if pd.isna(at[row]) else at[row] for name, at in self._moments.items()}
        says = {
            "code": plain_code(text["code"]) if text["code"] else None,
            "valve": text["valve"],
            "block": text["block"],
            **moments,
            "trouble": trouble_codes(text["trouble"]),
            "note": self._note(row, moments),
        }
        version = text["version"] or ""
        return SetThatRan(
            row,
            says,
            text["entry_id"],
            int(float(version)) if re.fullmatch(r"\d{1,9}(\.0+)?", version) else None,
            without_accents((text["withdrawn"] or "").casefold()) in YES,
            frozenset(name for name, clocks in self._clocks.items() if clocks[row]),
            self._wrote.get(row),
        )

    def _note(self, row: int, moments: Mapping[str, Any]) -> str | None:
        """Give the note, with times that were written and cannot be read."""
        written = {"start": self._real.start_cell[row], "end": self._real.end_cell[row]}
        unread = [f"{name}: {cell}" for name, cell in written.items() if cell and moments[name] is None]
        parts = [self._texts["note"][row], *unread]
        return "; ".join(part for part in parts if part) or None

    def unread(self, row: int) -> Iterator[ToldRow]:
        """Tell times that were written and cannot be read."""
        yield from self._unread_start(row)
        yield from self._unread_end(row)
        if self._bad_hours[row]:
            yield ToldRow.of(row, "log_hours_unread", cell=self._texts["hours"][row])

    def _unread_start(self, row: int) -> Iterator[ToldRow]:
        cell = self._real.start_cell[row]
        if not cell or not pd.isna(self._moments["start"][row]):
            return
        if self._real.either[row]:
            yield ToldRow.of(row, "log_day_or_month", cell=cell)
        elif (like := self._example(row)) is None:
            if self._needs_day(row, "start"):
                yield ToldRow.of(row, "log_start_unread", cell=cell)
        else:
            yield ToldRow.of(row, "times_start_unread", cell=cell, like=like)

    def _unread_end(self, row: int) -> Iterator[ToldRow]:
        cell = self._real.end_cell[row]
        if not cell or not pd.isna(self._moments["end"][row]):
            return
        if (like := self._example(row)) is None:
            if self._needs_day(row, "end"):
                yield ToldRow.of(row, "log_end_unread", cell=cell)
        else:
            yield ToldRow.of(row, "times_end_unread", cell=cell, like=like)

    def _needs_day(self, row: int, name: str) -> bool:
        """Tell whether to say so: of an hour alone beside a code that is not known it is said already."""
        said = self._clocks[name][row] and not self._texts["valve"][row]
        return not (said and is_code(plain_code(self._texts["code"][row])))

    def _example(self, row: int) -> str | None:
        """Give the row's planned start as its file writes it."""
        planned = self._moments["planned_start"][row]
        if pd.isna(planned):
            return None
        written = re.sub(r"^(\d{4}-\d\d-\d\d)[ T](\d\d:\d\d)\b.*$", r"\1 \2", self._plan_cells[row])
        return written or f"{planned:%Y-%m-%d %H:%M}"


def _near_plan(table: Table, planned: LogTimes) -> tuple[Table, dict[str, Mapping[Any, bool]]]:
    """Give days to hours without one that begin a set, and to weekdays; tell which were hours alone."""
    near = replace(table, columns=dict(table.columns))
    clocks: dict[str, Mapping[Any, bool]] = {}
    for name, at in (("start", planned.start), ("end", planned.end)):
        cells = table.text(name).fillna("").astype(str).str.strip()
        clocks[name] = is_clock(cells).to_dict()
        if name in near.columns:
            dated = with_days(cells, at)
            near.columns[name] = dated if name == "start" else dated.where(~is_clock(cells), cells)
    return near, clocks


def _with_end(table: Table, planned: pd.Series, real: LogTimes) -> Table:
    """Give the hour of an end whose start is not known the day that is nearest to the plan."""
    if "end" not in table.columns:
        return table
    dated = with_days(real.end_cell, planned).where(real.start.isna() & real.end.isna(), "")
    return replace(table, columns={**table.columns, "end": dated})


def _times_of(table: Table, pair: tuple[str, str], zone: ZoneInfo, order: Order | None) -> LogTimes:
    """Read one pair of columns as start and end of a log."""
    start, end = pair
    renamed = {"start": table.text(start), "end": table.text(end)}
    if start == "start":
        renamed |= {name: table.text(name) for name in ("start_day", "end_day") if table.has(name)}
    columns = {name: cells.fillna("").astype(str) for name, cells in renamed.items()}
    return read_log_times(
        replace(table, columns=columns, headings={n: n for n in columns}), zone, order
    ).value
