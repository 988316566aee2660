"""The log of what ran -> a row per set: valve, start, end, and the depth where it is known."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from zoneinfo import ZoneInfo

import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.schemas import IRRIGATION, conform
from stressmap.core.sources import InputSource
from stressmap.core.units import MM_PER_INCH
from stressmap.intake.columns import Field, Table, match, names, recogniser
from stressmap.intake.table_files import read_sheet
from stressmap.intake.times import Asked, Order, read_dates, read_times
from stressmap.intake.timestamps import CLOCK_ONLY, clock_text, stamp_text

FIELDS: Mapping[str, Field] = MappingProxyType(
    {
        "valve": Field(names("valve valve_id valve_name zone valvula llave")),
        "start": Field(
            names("start started begin on start_time start_date_time on_time inicio comienzo hora_inicio")
        ),
        "start_day": Field(names("date start_date day fecha fecha_inicio dia")),
        "end": Field(names("end ended stop off end_time end_date_time off_time fin final termino hora_fin")),
        "end_day": Field(names("end_date fecha_fin")),
        "hours": Field(names("hours duration run_time runtime set_hours horas duracion"), units=("h", "min")),
        "mm": Field(names("depth applied mm lamina aplicado"), units=("mm", "in")),
    }
)
"""Our columns of an irrigation log and their spellings."""

LONGEST_SET_HOURS = 31 * 24.0


def read_irrigation(
    given: Path | InputSource,
    *,
    zone: ZoneInfo,
    columns: Mapping[str, str] = MappingProxyType({}),
    order: Order | None = None,
) -> Noted[pd.DataFrame]:
    """Read the log of what ran.

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

    Returns
    -------
    Noted of DataFrame
        As :data:`stressmap.core.schemas.IRRIGATION`, by start.

    Raises
    ------
    DataError
        If it is no table, lacks a column, or a row has no valve, no start, neither end nor hours, or ends
        before it starts.
    """
    notes = NoteList()
    sheet = notes.keep(read_sheet(given, recogniser(FIELDS, columns)))
    table = match(sheet, FIELDS, columns, required=("valve",))
    start = notes.keep(_moments(table, "start", Asked(table.where, "start", zone, order)))
    end = notes.keep(_ends(table, start, Asked(table.where, "end", zone, order)))
    valve = table.text("valve")
    _refuse_incomplete(table, valve, start, end)
    factor = MM_PER_INCH if table.unit("mm") == "in" else 1.0
    mm = table.numbers("mm", wanted="millimetres as a number") * factor
    table.refuse("mm", mm < 0.0, "is not a depth of water", "Write how much was applied, or leave it empty")
    frame = pd.DataFrame({"valve": valve, "start": start, "end": end, "mm": mm})
    frame = frame.sort_values("start", kind="stable").reset_index(drop=True)
    return notes.beside(conform(frame, IRRIGATION, table.where))


def _moments(table: Table, name: str, asked: Asked) -> Noted[pd.Series]:
    """Read starts or ends; a day without a clock begins at midnight."""
    if not (table.has(name) or table.has(f"{name}_day")):
        return Noted(pd.Series(pd.NaT, index=table.index, dtype=f"datetime64[us, {asked.zone}]"))
    text, heading = stamp_text(table, name, f"{name}_day", f"{name}_clock")
    here = Asked(asked.where, heading, asked.zone, asked.order)
    bare = ~text.str.contains(r"\d\s*[:h]\s*\d|[ap]\.?m", case=False, regex=True)
    bare &= ~text.str.contains(r"^\d+\.\d+$|^\d{8}\D?\d{4}", regex=True) & (text != "")
    whole = bare & read_dates(text, here).notna() if bare.any() else bare
    notes = NoteList()
    clocked = notes.keep(read_times(text.mask(whole, text + " 00:00"), here))
    if whole.any():
        notes.say("days_without_clock", file=here.where, column=heading, count=whole.sum())
    return notes.beside(clocked)


def _ends(table: Table, start: pd.Series, asked: Asked) -> Noted[pd.Series]:
    notes = NoteList()
    end = notes.keep(_same_night(table, start, asked))
    end = notes.keep(_moments(table, "end", asked)) if end is None else end
    per_hour = 60.0 if table.unit("hours") == "min" else 1.0
    hours = table.numbers("hours", wanted="hours as a number") / per_hour
    wrong = (hours <= 0.0) | (hours > LONGEST_SET_HOURS)
    table.refuse("hours", wrong, "is no length of a set", "Write the hours it ran")
    by_hours: pd.Series = end.fillna(start + pd.to_timedelta(hours, unit="h").astype("timedelta64[us]"))
    return notes.beside(by_hours)


def _same_night(table: Table, start: pd.Series, asked: Asked) -> Noted[pd.Series | None]:
    """Read ends that are a clock only: the next such time after the start. None where they have days."""
    cells = table.text("end").fillna("").astype(str)
    filled = cells[cells != ""]
    if table.has("end_day") or filled.empty or not filled.str.lower().str.fullmatch(CLOCK_ONLY).all():
        return Noted(None)
    notes = NoteList()
    day = start.dt.strftime("%Y-%m-%d").fillna("")
    here = Asked(asked.where, table.headings["end"], asked.zone, asked.order)
    end = notes.keep(read_times((day + " " + clock_text(cells)).where(cells != "", ""), here))
    later = (start.dt.tz_localize(None).dt.normalize() + pd.Timedelta(days=1)).dt.strftime("%Y-%m-%d")
    again = notes.keep(read_times((later.fillna("") + " " + clock_text(cells)).where(cells != "", ""), here))
    return notes.beside(end.where(end > start, again))


def _refuse_incomplete(table: Table, valve: pd.Series, start: pd.Series, end: pd.Series) -> None:
    checks = (
        (valve.isna(), "valve", "the name of the valve is empty", "Name the valve"),
        (start.isna(), "start", "there is no start that can be read", "Write it as 2026-07-10 06:00"),
        (start.notna() & end.isna(), "end", "there is neither an end nor hours", "Give one of them"),
        (end < start, "end", "it ends before it starts", "Correct start or end"),
    )
    problems = [
        Problem(table.where, what, remedy, row=int(row), column=table.headings.get(name, name))
        for wrong, name, what, remedy in checks
        for row in wrong.index[wrong.fillna(value=False)]
    ]
    if problems:
        raise DataError(problems[:10])
