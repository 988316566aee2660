"""The log of what ran -> a row per set of one valve: valve, start, end, and the depth where it is known.

No row stops a run: one that cannot be used is left out, counted and told with its reason.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import Columns, RowCounts, ToldRow
from stressmap.core.schemas import IRRIGATION, conform
from stressmap.core.units import M2_PER_HA, M3_PER_HA_MM
from stressmap.core.unsure_sets import UnsureSets, with_unsure
from stressmap.intake.columns import Table, fitting, match, recogniser
from stressmap.intake.heading_recognition import Field, names
from stressmap.intake.known_names import KnownNames, Meant
from stressmap.intake.log_candidates import LogCandidates
from stressmap.intake.log_sets import OnceEach, SetRow, once_each
from stressmap.intake.log_times import LogTimes, read_log_times
from stressmap.intake.log_years import LogYears, ReadOn
from stressmap.intake.numbers import is_nothing
from stressmap.intake.run_hours import is_about, read_depths, read_hours
from stressmap.intake.several_files import Given, each, orders_of, sheets_of
from stressmap.intake.table_files import read_sheets
from stressmap.intake.tabular import Sheet
from stressmap.intake.times import Order
from stressmap.intake.unread_columns import columns_of

FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        "valve": Field(names("valve valve_id valve_name zone valve_no valves valvula valvulas llave")),
        "start": Field(
            names("start started begin on start_time start_date_time on_time inicio comienzo hora_inicio")
        ),
        "start_day": Field(names("date start_date day fecha fecha_inicio dia")),
        "end": Field(names("end ended stop off end_time end_date_time off_time fin final termino hora_fin")),
        "end_day": Field(names("end_date fecha_fin")),
        "hours": Field(
            names(
                "hours duration run_time runtime set_hours horas duracion hrs hr hour hours_run hrs_run "
                "hours_ran horas_riego horas_de_riego horas_regadas horas_de_operacion tiempo_riego "
                "tiempo_de_riego set_time set_length minutes minutos min mins minute minuto"
            ),
            units=("h", "min"),
            stated=names("run ran riego set tiempo time operacion"),
        ),
        "mm": Field(
            names("depth applied mm lamina aplicado mm_applied mm_aplicados inches inch in pulgadas pulg"),
            units=("mm", "in"),
            stated=names("water agua lamina_aplicada depth_applied applied_depth water_applied"),
        ),
    }
)
"""Our columns of an irrigation log and their spellings."""

LONGEST_SET_HOURS = 7 * 24.0
"""A longer set is taken for a slip of the pen: common practice, no source."""
APART_HOURS, APART_SHARE = 0.25, 0.05
"""Hours and end that differ by less agree: people round."""
APART_TIMES = 2.0
"""A depth this many times what rate and hours give, or a part of it as small, does not agree with them."""


def read_irrigation(
    given: Given,
    *,
    zone: ZoneInfo,
    columns: Mapping[str, str] = MappingProxyType({}),
    order: Order | None = None,
    valves: pd.DataFrame | None = None,
    read_on: ReadOn | None = None,
) -> Noted[pd.DataFrame]:
    """Read the log of what ran: a file, or several of which each may have its own columns.

    Parameters
    ----------
    given : Path, InputSource or sequence of these
        CSV or XLSX (each sheet that is a log); or folders of such files.
    zone : ZoneInfo
        The ranch's.
    columns : mapping of str to str
        ``[columns]`` of the settings: the file's heading -> ours.
    order : str, optional
        Order of day and month in its dates, where they leave it open.
    valves : DataFrame, optional
        As :data:`stressmap.core.schemas.VALVES`: names are matched with theirs, and depths with their rates.
        None where the valves are not known: names stay as they are written.
    read_on : tuple of date, optional
        First and last day of all readings: sets whose year is a slip by them are left out.

    Returns
    -------
    Noted of DataFrame
        As :data:`stressmap.core.schemas.IRRIGATION`, by start; no two sets of a valve overlap, whatever files
        they stand in. Counts the rows of each file; rows that cannot be used are left out, and the valves
        that they may mean go with the log (:func:`stressmap.core.unsure_sets.unsure_of`).

    Raises
    ------
    DataError
        If one is no table, or has no column for the valve or for the start.
    """
    notes = NoteList()
    known, fits = recogniser(FIELDS, columns), fitting(FIELDS, columns, ("valve",), ("start", "start_day"))
    sheets = notes.keep(sheets_of(given, "irrigation", lambda source: read_sheets(source, known, fits)))
    tables = each(sheets, lambda sheet: _matched(sheet, columns))
    days = [table.columns.get("start_day", table.columns.get("start")) for table in tables]
    told = zip(tables, orders_of(sheets, days, order), strict=True)
    logs = [notes.keep(_judged(table, zone, own, valves)) for table, own in told]
    years = LogYears.of((one.start.date() for log in logs for one in log.sets), read_on)
    logs = [_without_slips(log, years) for log in logs]
    once = once_each([one for log in logs for one in log.sets])
    for sheet, table, log in zip(sheets, tables, logs, strict=True):
        read = notes.keep(columns_of(sheet, table, FIELDS, columns))
        counts = _counted(sheet, log, once, read)
        notes.count(counts)
        notes.add(_said(counts))
    unsure = UnsureSets.of(one for log in logs for one in log.unsure)
    return notes.beside(with_unsure(_frame(once.sets, zone, tables[0].where), unsure))


@dataclass(frozen=True)
class _Judged:
    """What the rows of one table say, each by itself."""

    sets: tuple[SetRow, ...]
    told: tuple[ToldRow, ...]
    remarks: tuple[ToldRow, ...]
    unsure: tuple[tuple[str, dt.date | None], ...]


def _judged(table: Table, zone: ZoneInfo, order: Order | None, valves: pd.DataFrame | None) -> Noted[_Judged]:
    notes = NoteList()
    times = notes.keep(read_log_times(table, zone, order))
    cells = _Cells(table, times, valves)
    sets, told, remarks, unsure = [], [], [], []
    for row in table.index:
        why, found, said = cells.row(int(row))
        told += [] if why is None else [why]
        sets += found
        remarks += said
        unsure += cells.unsure(int(row), used=why is None)
    midnights = {one.row for one in sets} & set(times.no_clock.index[times.no_clock])
    if midnights:
        notes.say("days_without_clock", file=table.where, column=times.heading, count=len(midnights))
    return notes.beside(_Judged(tuple(sets), tuple(told), tuple(remarks), tuple(unsure)))


def _without_slips(log: _Judged, years: LogYears) -> _Judged:
    """Leave out the rows whose year is a slip; their valves may have run on that day of another year."""
    slips = {one.row: why for one in log.sets if (why := years.why_not(one)) is not None}
    if not slips:
        return log
    unsure = [(one.valve, years.may_mean(one.start.date())) for one in log.sets if one.row in slips]
    return _Judged(
        tuple(one for one in log.sets if one.row not in slips),
        (*log.told, *slips.values()),
        tuple(one for one in log.remarks if one.row not in slips),
        (*log.unsure, *unsure),
    )


def _counted(sheet: Sheet, log: _Judged, once: OnceEach, read: Columns) -> RowCounts:
    """Count the rows of one table, now that it is known what stands elsewhere too."""
    left = {one.row for one in once.sets if one.file == sheet.where}
    repeats = [one for file, one in once.repeats if file == sheet.where]
    overlaps = [one for file, one in once.overlaps if file == sheet.where]
    told = [*sheet.told, *log.told, *(one for one in repeats if one.row not in left)]
    remarks = [*log.remarks, *overlaps, *(one for one in repeats if one.row in left)]
    joined = {one.row for one in overlaps}
    told = [one for one in told if one.row not in joined]
    return RowCounts.of(sheet.where, "irrigation", sheet.rows, told, remarks, columns=read)


def _matched(sheet: Sheet, columns: Mapping[str, str]) -> Table:
    table = match(sheet, FIELDS, columns, required=("valve",))
    if table.has("start") or table.has("start_day"):
        return table
    there = ", ".join(table.headings.values())
    usual = "start, date and start, inicio, fecha"
    what = f"no column is recognised as start (usual headings: {usual}); it has {there}"
    raise DataError(Problem(table.where, what, 'Name it under [columns], "your heading" = "start"'))


def _frame(sets: tuple[SetRow, ...], zone: ZoneInfo, where: str) -> pd.DataFrame:
    start, end = ([getattr(one, name).to_datetime64() for one in sets] for name in ("start", "end"))
    frame = pd.DataFrame(
        {
            "valve": pd.Series([one.valve for one in sets], dtype=object),
            "start": pd.DatetimeIndex(np.array(start, dtype="datetime64[us]"), tz="UTC").tz_convert(zone),
            "end": pd.DatetimeIndex(np.array(end, dtype="datetime64[us]"), tz="UTC").tz_convert(zone),
            "mm": pd.Series([one.mm for one in sets], dtype=float),
        }
    )
    row = pd.Series([one.row for one in sets], dtype="int64")
    frame = frame.assign(row=row).sort_values(["start", "row"], kind="stable").drop(columns="row")
    return conform(frame.reset_index(drop=True), IRRIGATION, where)


def _said(counts: RowCounts) -> Iterator[Note]:
    """Say how many rows were left out, which valves are not known, and what does not agree."""
    unknown = dict.fromkeys(
        str(dict(one.values)["valve"])
        for one in (*counts.left_out, *counts.remarks)
        if one.code in {"log_valve_unknown", "log_valve_unknown_near", "log_part_unknown", "log_valve_open"}
    )
    file, rows = counts.file, [one.row for one in counts.left_out if one.code != "log_in_two_files"]
    twice = len(counts.left_out) - len(rows)
    if twice:
        yield Note.of("log_rows_in_two_files", file=file, count=twice)
    if not counts.used and not twice:
        yield Note.of("log_without_rows", "warning", file=file, count=counts.rows)
    elif rows:
        yield Note.of(
            "log_rows_left_out", "warning", file=file, count=len(rows), total=counts.rows, rows=rows
        )
    if unknown:
        yield Note.of("log_valves_unknown", "warning", file=file, names=list(unknown))
    if counts.remarks:
        found = [one.row for one in counts.remarks]
        yield Note.of(
            "log_rows_remarked", "caution", file=file, count=len(set(found)), rows=sorted(set(found))
        )


@dataclass(frozen=True)
class _Span:
    """When one row says that water ran, or why that cannot be told."""

    start: pd.Timestamp | None = None
    end: pd.Timestamp | None = None
    why: ToldRow | None = None
    said: tuple[ToldRow, ...] = ()


class _Cells:
    """The cells of a log, read column by column and judged row by row."""

    def __init__(self, table: Table, times: LogTimes, valves: pd.DataFrame | None) -> None:
        self._where = table.where
        self._names = None if valves is None else KnownNames(valves["valve"])
        self._candidates = None if valves is None else LogCandidates(valves)
        self._rates = {} if valves is None else _rates_mm_h(valves)
        valve = table.text("valve").fillna("").astype(str)
        self._valve = valve.mask(is_nothing(valve), "").to_dict()
        self._start, self._end = _shared(times.start), _shared(times.end)
        self._start_cell, self._end_cell = times.start_cell.to_dict(), times.end_cell.to_dict()
        self._either = times.either.to_dict()
        self._later: dict[tuple[pd.Timestamp, float], pd.Timestamp] = {}
        self._hour_cells, self._mm_cells = table.text("hours").to_dict(), table.text("mm").to_dict()
        hours, bad_hours = read_hours(table.text("hours"), unit=table.unit("hours"))
        mm, bad_mm = read_depths(table.text("mm"), unit=table.unit("mm"))
        self._hours, self._bad_hours = hours.to_dict(), bad_hours.to_dict()
        self._mm, self._bad_mm = mm.to_dict(), bad_mm.to_dict()
        self._about = {cell: is_about(cell or "") for cell in set(self._hour_cells.values())}

    def row(self, row: int) -> tuple[ToldRow | None, list[SetRow], list[ToldRow]]:
        """Give the sets of a row and what there is to say of it, or why it cannot be used."""
        meant = self._meant(self._valve[row])
        why = self._valve_fault(row, meant)
        if why is not None:
            return why, [], []
        span = self._span(row)
        if span.start is None or span.end is None:
            return span.why, [], []
        said = [*span.said]
        if meant.unknown:
            said.append(ToldRow.of(row, "log_part_unknown", valve=", ".join(meant.unknown)))
        if self._bad_mm[row]:
            said.append(ToldRow.of(row, "log_depth_unread", cell=self._mm_cells[row]))
        mm = float(self._mm[row])
        if not math.isnan(mm):
            said += self._depth_apart(row, meant, (span.end - span.start).total_seconds() / 3600.0)
        sets = [SetRow(name, span.start, span.end, mm, self._where, row) for name in meant.names]
        return None, sets, said

    def unsure(self, row: int, *, used: bool) -> list[tuple[str, dt.date | None]]:
        """Give the valves that what is not used of a row may mean, and its day; None if that is not known."""
        cell, start = self._valve[row], self._start[row]
        meant = self._meant(cell)
        if used and not meant.unknown:
            return []
        day = None if start is pd.NaT else start.date()
        written = bool(self._start_cell[row])
        if used:
            parts = meant.unknown
        elif meant.names and not meant.unknown:
            return [(name, day) for name in meant.names]
        else:
            # without valve and start it is no set: a remark, or the sum of a column
            parts = (*meant.unknown, *(() if cell or not written else ("",)))
        mine = [] if used else [*meant.names]
        if self._candidates is not None:
            mine += [name for part in parts for name in self._candidates.of(part)]
        return [(name, day) for name in dict.fromkeys(mine)]

    def _meant(self, cell: str) -> Meant:
        if not cell:
            return Meant()
        return Meant((cell,)) if self._names is None else self._names.several(cell)

    def _valve_fault(self, row: int, meant: Meant) -> ToldRow | None:
        cell = self._valve[row]
        if not cell:
            return ToldRow.of(row, "log_no_valve")
        if meant.names:
            return None
        if self._names and (open_between := self._names.ambiguous(cell)):
            return ToldRow.of(row, "log_valve_open", valve=cell, names=", ".join(open_between))
        if self._names and (turned := self._names.reversed_range(cell)):
            return ToldRow.of(row, "log_range_reversed", valve=cell, first=turned[0], last=turned[-1])
        near = self._names.near(cell) if self._names else None
        if near is None:
            return ToldRow.of(row, "log_valve_unknown", valve=cell)
        return ToldRow.of(row, "log_valve_unknown_near", valve=cell, near=near)

    def _span(self, row: int) -> _Span:
        start, cell = self._start[row], self._start_cell[row]
        if start is pd.NaT:
            if self._either[row]:
                return _Span(why=ToldRow.of(row, "log_day_or_month", cell=cell))
            if cell:
                return _Span(why=ToldRow.of(row, "log_start_unread", cell=cell))
            return _Span(why=ToldRow.of(row, "log_no_start"))
        end, hours = self._end[row], float(self._hours[row])
        ran = math.nan if end is pd.NaT else (end - start).total_seconds() / 3600.0
        if 0.0 < ran <= LONGEST_SET_HOURS:
            return _Span(start, end, said=tuple(self._hours_apart(row, ran)))
        if not 0.0 < hours <= LONGEST_SET_HOURS:
            return _Span(why=self._no_length(row, ran))
        cell, written = self._end_cell[row], self._hour_cells[row]
        said = [ToldRow.of(row, "log_end_not_used", cell=cell)] if cell else []
        if self._about[written]:
            said.append(ToldRow.of(row, "log_hours_about", cell=written, ran=round(hours, 2)))
        return _Span(start, self._after(start, hours), said=tuple(said))

    def _after(self, start: pd.Timestamp, hours: float) -> pd.Timestamp:
        """Give the end of a set by its hours; sets of many valves begin together."""
        known = self._later.get((start, hours))
        if known is None:
            known = self._later[start, hours] = start + pd.Timedelta(seconds=round(hours * 3600.0))
        return known

    def _no_length(self, row: int, ran: float) -> ToldRow:
        """Say why neither the end nor the hours tell how long a row's valve ran."""
        end, hours = self._end_cell[row], self._hour_cells[row]
        if ran <= 0.0:
            return ToldRow.of(row, "log_ends_before_start", cell=end)
        if ran > 0.0:
            return ToldRow.of(row, "log_too_long", cell=end)
        if self._bad_hours[row]:
            return ToldRow.of(row, "log_hours_unread", cell=hours)
        if not np.isnan(self._hours[row]):
            return ToldRow.of(row, "log_hours_impossible", cell=hours)
        if end:
            return ToldRow.of(row, "log_end_unread", cell=end)
        return ToldRow.of(row, "log_no_end")

    def _hours_apart(self, row: int, ran: float) -> Iterator[ToldRow]:
        hours, cell = float(self._hours[row]), self._hour_cells[row]
        if self._bad_hours[row]:
            yield ToldRow.of(row, "log_hours_not_used", cell=cell)
        elif abs(hours - ran) > max(APART_HOURS, APART_SHARE * ran):
            yield ToldRow.of(row, "log_hours_and_end", cell=cell, ran=round(ran, 2))

    def _depth_apart(self, row: int, meant: Meant, hours: float) -> Iterator[ToldRow]:
        mm = float(self._mm[row])
        for name in meant.names:
            expected = self._rates.get(name, np.nan) * hours
            if mm > APART_TIMES * expected or mm < expected / APART_TIMES:
                yield ToldRow.of(
                    row, "log_depth_and_hours", valve=name, cell=self._mm_cells[row], mm=round(expected, 1)
                )


def _shared(moments: pd.Series) -> dict[int, Any]:
    """Give the moment of each row, one object for all rows that hold the same; ``NaT`` without one."""
    code, distinct = pd.factorize(moments)
    each_once = [*pd.DatetimeIndex(distinct), pd.NaT]
    return {int(row): each_once[at] for row, at in zip(moments.index.to_numpy(), code, strict=True)}


def _rates_mm_h(valves: pd.DataFrame) -> dict[str, float]:
    """Give what each valve puts on in an hour [mm], NaN where its file does not say."""
    area_ha = valves.geometry.area / M2_PER_HA
    by_flow = valves["flow_m3_h"].astype(float) / (area_ha * M3_PER_HA_MM)
    return dict(zip(valves["valve"], by_flow.fillna(valves["rate_mm_h"].astype(float)), strict=True))
