"""A filled sheet of valve times -> what was really opened and closed, row by row, and what is doubtful of it.

No row that was filled in is left out: what cannot be read goes into its note, and what is doubtful is told.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd

from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import ToldRow
from stressmap.core.set_codes import is_code, is_code_of, plain_code
from stressmap.core.sources import InputSource
from stressmap.core.text import without_accents
from stressmap.intake.columns import Table, fitting, match, recogniser
from stressmap.intake.heading_recognition import Field, names
from stressmap.intake.irrigation_log import FIELDS as LOG_FIELDS
from stressmap.intake.known_names import KnownNames
from stressmap.intake.log_times import LogTimes, read_log_times
from stressmap.intake.numbers import is_nothing
from stressmap.intake.run_hours import read_hours
from stressmap.intake.table_files import read_sheets
from stressmap.intake.times import Order, read_clock
from stressmap.intake.timestamps import CLOCK_ONLY


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

TROUBLE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        word: code
        for code, words in {
            "leak": "leak,leaking,fuga",
            "broken_line": "broken line,broken pipe,linea rota,tubo roto",
            "clogged": "clogged emitters,clogged,dry emitter,goteros tapados,gotero tapado",
            "low_pressure": "low pressure,no pressure,poca presion,sin presion",
            "does_not_open": "does not open,no abre",
            "does_not_close": "does not close,no cierra",
            "not_opened": "not opened,no se abrio",
            "other": "other,otro,otra",
        }.items()
        for word in (code, *words.split(","))
    }
)
"""What people choose or write for a trouble, folded, and its code in ``core.troubles``."""

LONG_HOURS = 72.0
"""A longer set is asked about: common practice, no source."""
FAR_DAYS = 3.0
"""A set that ran further than this from its plan is asked about: a judgement."""
YES = frozenset({"true", "yes", "y", "si", "1", "x", "verdadero"})
_FRACTION = r"0?\.\d+"


@dataclass(frozen=True)
class SetThatRan:
    """A row that was filled in.

    Parameters
    ----------
    row : int
        As a spreadsheet shows it.
    says : mapping of str to (str, Timestamp or None)
        ``code``, ``valve``, ``block``, ``planned_start``, ``planned_end``, ``start``, ``end``, ``trouble``,
        ``note``; None where empty or, of times, where it cannot be read.
    entry_id : str or None
        Made by a phone; unique.
    version : int or None
        Of that entry.
    withdrawn : bool
        Whether it takes the entry back.
    """

    row: int
    says: Mapping[str, Any]
    entry_id: str | None = None
    version: int | None = None
    withdrawn: bool = False


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

    Returns
    -------
    Noted of tuple of FilledSheet

    Raises
    ------
    DataError
        If it is no table.
    """
    notes = NoteList()
    known = None if valves is None else KnownNames(valves)
    sheets = notes.keep(read_sheets(given, recogniser(FIELDS, columns), fits_times(columns)))
    found = []
    for sheet in sheets:
        table = match(sheet, FIELDS, columns)
        found.append(_read_table(table, zone, order, known))
    return notes.beside(tuple(found))


def _read_table(table: Table, zone: ZoneInfo, order: Order | None, known: KnownNames | None) -> FilledSheet:
    cells = _SheetCells(table, zone, order)
    rows, empty, doubts = [], [], []
    for row in map(int, table.index):
        if cells.is_empty(row):
            empty.append(row)
            continue
        one = cells.ran(row)
        rows.append(one)
        doubts += [*cells.unread(row), *_odd_code(one), *_odd_valve(one, known), *_odd_times(one)]
    doubts += [*_twice(rows), *_overlaps(rows)]
    doubts.sort(key=lambda told: told.row)
    return FilledSheet(table.where, tuple(rows), tuple(empty), tuple(doubts))


class _SheetCells:
    """The cells of a sheet, read column by column."""

    def __init__(self, table: Table, zone: ZoneInfo, order: Order | None) -> None:
        texts = {name: table.text(name).fillna("").astype(str).str.strip() for name in FIELDS}
        self._texts = {name: cells.mask(is_nothing(cells), "").to_dict() for name, cells in texts.items()}
        planned = _times_of(table, ("planned_start", "planned_end"), zone, order)
        near = replace(table, columns=dict(table.columns))
        if "start" in near.columns:
            near.columns["start"] = _on_the_planned_day(near.columns["start"], planned.start)
        self._real = _times_of(near, ("start", "end"), zone, order)
        hours, bad = read_hours(table.text("hours"), unit=table.unit("hours"))
        length = pd.to_timedelta((hours * 3600.0).round(), unit="s")
        end = self._real.end.fillna(self._real.start + length)
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
            "trouble": _trouble(text["trouble"]),
            "note": self._note(row, moments),
        }
        version = text["version"] or ""
        return SetThatRan(
            row,
            says,
            text["entry_id"],
            int(float(version)) if re.fullmatch(r"\d{1,9}(\.0+)?", version) else None,
            without_accents((text["withdrawn"] or "").casefold()) in YES,
        )

    def _note(self, row: int, moments: Mapping[str, Any]) -> str | None:
        """Give the note, with times that were written and cannot be read."""
        written = {"start": self._real.start_cell[row], "end": self._real.end_cell[row]}
        unread = [f"{name}: {cell}" for name, cell in written.items() if cell and moments[name] is None]
        parts = [self._texts["note"][row], *unread]
        return "; ".join(part for part in parts if part) or None

    def unread(self, row: int) -> Iterator[ToldRow]:
        """Tell times that were written and cannot be read."""
        if pd.isna(self._moments["start"][row]) and (cell := self._real.start_cell[row]):
            if self._real.either[row]:
                yield ToldRow.of(row, "log_day_or_month", cell=cell)
            else:
                yield ToldRow.of(row, "log_start_unread", cell=cell)
        if pd.isna(self._moments["end"][row]) and (cell := self._real.end_cell[row]):
            yield ToldRow.of(row, "log_end_unread", cell=cell)
        if self._bad_hours[row]:
            yield ToldRow.of(row, "log_hours_unread", cell=self._texts["hours"][row])


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


def _on_the_planned_day(cells: pd.Series, planned: pd.Series) -> pd.Series:
    """Put the day before clocks that stand alone: the one that brings them nearest to the plan."""
    text = cells.fillna("").astype(str).str.strip()
    alone = text.str.lower().str.fullmatch(rf"{CLOCK_ONLY}|{_FRACTION}") & planned.notna()
    clock = read_clock(text.where(alone, ""))
    wall = planned.dt.tz_localize(None)
    that_day = wall.dt.normalize() + clock
    days = ((wall - that_day) / pd.Timedelta(days=1)).round()
    nearest = that_day + pd.to_timedelta(days, unit="D")
    return text.where(nearest.isna(), nearest.dt.strftime("%Y-%m-%d %H:%M"))


def _trouble(written: str | None) -> str | None:
    if written is None:
        return None
    folded = " ".join(without_accents(written.casefold()).replace("_", " ").split())
    return TROUBLE_WORDS.get(folded) or TROUBLE_WORDS.get(folded.replace(" ", "_")) or written


def _odd_code(one: SetThatRan) -> Iterator[ToldRow]:
    code, valve, planned = (one.says[name] for name in ("code", "valve", "planned_start"))
    if code is None:
        return
    if not is_code(code):
        yield ToldRow.of(one.row, "times_code_wrong", code=code)
    elif valve is not None and planned is not None and not is_code_of(code, valve, planned):
        yield ToldRow.of(one.row, "times_code_other", code=code, valve=valve)


def _odd_valve(one: SetThatRan, known: KnownNames | None) -> Iterator[ToldRow]:
    valve = one.says["valve"]
    if valve is None:
        yield ToldRow.of(one.row, "log_no_valve")
    elif known is not None and known.several(valve).unknown:
        near = known.near(valve)
        if near is None:
            yield ToldRow.of(one.row, "log_valve_unknown", valve=valve)
        else:
            yield ToldRow.of(one.row, "log_valve_unknown_near", valve=valve, near=near)


def _odd_times(one: SetThatRan) -> Iterator[ToldRow]:
    start, end, planned = (one.says[name] for name in ("start", "end", "planned_start"))
    if start is not None and end is not None:
        hours = (end - start).total_seconds() / 3600.0
        if hours <= 0.0:
            yield ToldRow.of(one.row, "log_ends_before_start", cell=f"{end:%Y-%m-%d %H:%M}")
        elif hours > LONG_HOURS:
            yield ToldRow.of(one.row, "times_too_long", hours=round(hours))
    elif start is not None:
        yield ToldRow.of(one.row, "log_no_end")
    elif end is not None:
        yield ToldRow.of(one.row, "log_no_start")
    if start is not None and planned is not None:
        days = abs((start - planned).total_seconds()) / 86_400.0
        if days > FAR_DAYS:
            yield ToldRow.of(one.row, "times_far", days=round(days), planned=f"{planned:%Y-%m-%d %H:%M}")


def _twice(rows: list[SetThatRan]) -> Iterator[ToldRow]:
    """Tell planned sets that stand in two rows: the later one counts as the correction."""
    first: dict[Any, int] = {}
    for one in rows:
        key = one.says["valve"], one.says["planned_start"]
        if one.entry_id is None and None not in key:
            if key in first:
                yield ToldRow.of(one.row, "times_set_twice", other=first[key])
            first.setdefault(key, one.row)


def _overlaps(rows: list[SetThatRan]) -> Iterator[ToldRow]:
    """Tell rows whose hours overlap those of another row of the valve; versions of one entry do not."""
    latest = {one.entry_id or one.row: one for one in rows}
    whole = [one for one in latest.values() if not one.withdrawn and _has_length(one.says)]
    whole.sort(key=lambda one: (str(one.says["valve"]), one.says["start"]))
    for before, one in pairwise(whole):
        same = before.says["valve"] == one.says["valve"] is not None
        if same and one.says["start"] < before.says["end"]:
            yield ToldRow.of(one.row, "log_overlaps", other=before.row, valve=one.says["valve"])


def _has_length(says: Mapping[str, Any]) -> bool:
    start, end = says["start"], says["end"]
    return start is not None and end is not None and start < end
