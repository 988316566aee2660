"""Starts and ends of an irrigation log, row by row: what cannot be read is marked and stops nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TypeVar
from zoneinfo import ZoneInfo

import pandas as pd

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted, NoteList
from stressmap.intake.columns import Table
from stressmap.intake.times import TWO_NUMBERS, Asked, Order, read_times
from stressmap.intake.timestamps import CLOCK_ONLY, clock_text, stamp_text

_CLOCKED = (
    r"\d\s*[:h]\s*\d|\d\s*[ap]\.?\s*m\b|\d\s*[ap]\.\s*m\.|\d\s*h(?:rs?|oras?)?\b|^\d+\.\d+$|^\d{8}\D?\d{4}"
)
_WORDS = (
    (r"\b(?:noon|midday|mediod[ií]a)\b", "12:00"),
    (r"\b(?:midnight|medianoche)\b", "00:00"),
    (r"(\d{1,2}[:.]\d{2})\s*h(?:rs?|oras?)?\.?$", r"\1"),
    (r"^(\d{1,2})\s*h(?:rs?|oras?)?\.?$", r"\1:00"),
)
_NEXT_DAY = pd.Timedelta(days=1)
F = TypeVar("F", pd.Series, pd.DataFrame)


@dataclass(frozen=True)
class LogTimes:
    """When the rows of a log began and ended.

    Parameters
    ----------
    start, end : Series of datetime64[us, zone]
        NaT where there is none, or none that can be read.
    start_cell, end_cell : Series of str
        As written, ``""`` where empty.
    either : Series of bool
        Where the day of the start can be the month as well, and no other date of the file tells.
    no_clock : Series of bool
        Where the start is a day without a clock: its midnight was taken.
    heading : str
        Of the starts.
    """

    start: pd.Series
    end: pd.Series
    start_cell: pd.Series
    end_cell: pd.Series
    either: pd.Series
    no_clock: pd.Series
    heading: str


def read_log_times(table: Table, zone: ZoneInfo, order: Order | None) -> Noted[LogTimes]:
    """Read the starts and ends of a log.

    A day without a clock begins at midnight. An end that is a clock only is the next such time
    after the start.

    Parameters
    ----------
    table : Table
        With ``start`` or ``start_day``, and perhaps ``end`` and ``end_day``.
    zone : ZoneInfo
        The ranch's.
    order : str, optional
        Of day and month, where the dates leave it open.

    Returns
    -------
    Noted of LogTimes
    """
    notes = NoteList()
    table = _in_figures(table)
    text, heading = stamp_text(table, "start", "start_day", "start_clock")
    end_text, end_heading = stamp_text(table, "end", "end_day", "end_clock")
    orders = _orders(text, end_text, order)
    asked = Asked(table.where, heading, zone)
    start = notes.keep(_moments(text, orders, asked))
    clocks = end_text.str.lower().str.fullmatch(CLOCK_ONLY) & (end_text != "")
    end = notes.keep(_moments(end_text.mask(clocks, ""), orders, replace(asked, column=end_heading)))
    if clocks.any():
        end = end.where(
            ~clocks, _next_clock(end_text.where(clocks, ""), start, replace(asked, order="day-first"))
        )
    either = (orders == "open") & (text != "")
    return notes.beside(
        LogTimes(start, end, text, end_text, either, _no_clock(text) & start.notna(), heading)
    )


def _in_figures(table: Table) -> Table:
    """Write noon and midnight as clocks, and take the hours' unit off a clock."""
    columns = dict(table.columns)
    for name in ("start", "end"):
        if name in columns:
            columns[name] = _each_once(columns[name].astype(str), _as_figures)
    return replace(table, columns=columns)


def _as_figures(cells: pd.Series) -> pd.Series:
    for pattern, clock in _WORDS:
        cells = cells.str.replace(pattern, clock, regex=True, case=False)
    return cells


def _each_once(cells: pd.Series, read: Callable[[pd.Series], F]) -> F:
    """Read each different cell once: the sets of many valves begin together."""
    code, distinct = pd.factorize(cells, use_na_sentinel=False)
    return read(pd.Series(distinct, dtype=cells.dtype)).take(code).set_axis(cells.index)


def _orders(start: pd.Series, end: pd.Series, order: Order | None) -> pd.Series:
    """Tell for each row how its day and month stand: by the settings, by the whole file, or by itself."""
    both = pd.concat([start, end])
    parts = _each_once(both, lambda cells: cells.str.extract(TWO_NUMBERS).astype(float))
    day_first, month_first = parts[0] > 12, parts[1] > 12
    settled = order
    if settled is None and day_first.any() != month_first.any():
        settled = "day-first" if day_first.any() else "month-first"
    own = pd.Series("day-first", index=both.index)
    if settled is not None:
        own[:] = settled
    else:
        own = own.mask(month_first, "month-first")
        own = own.mask(parts[0].notna() & ~day_first & ~month_first & (parts[0] != parts[1]), "open")
    return own.iloc[: len(start)]


def _moments(text: pd.Series, orders: pd.Series, asked: Asked) -> Noted[pd.Series]:
    """Read cells, each in its own order of day and month; a day without a clock is its midnight."""
    notes = NoteList()
    whole = text.mask(_no_clock(text), text + " 00:00")
    found = _none(text, asked)
    orders_there: tuple[Order, ...] = ("day-first", "month-first")
    for order in orders_there:
        mine = orders.eq(order) & (text != "")
        if mine.any():
            read = notes.keep(_calm(whole.where(mine, ""), replace(asked, order=order)))
            found = found.where(~mine, read)
    return notes.beside(found)


def _no_clock(text: pd.Series) -> pd.Series:
    return _each_once(
        text, lambda cells: (cells != "") & ~cells.str.contains(_CLOCKED, case=False, regex=True)
    )


def _none(text: pd.Series, asked: Asked) -> pd.Series:
    return pd.Series(pd.NaT, index=text.index, dtype=f"datetime64[us, {asked.zone}]")


def _calm(text: pd.Series, asked: Asked) -> Noted[pd.Series]:
    """Read times; cells that cannot be read stay empty, and the rows are told by the log."""
    try:
        read = read_times(text, asked)
    except DataError:
        return Noted(_none(text, asked))
    return Noted(read.value, tuple(note for note in read.notes if note.code != "times_unread"))


def _next_clock(cells: pd.Series, start: pd.Series, asked: Asked) -> pd.Series:
    """Give the next time after the start that a clock shows so."""
    there = (cells != "") & start.notna()
    clocks = cells.str.lower().str.replace(r"^(\d{1,2})\.(\d{2})", r"\1:\2", regex=True)
    found = []
    for later in (pd.Timedelta(0), _NEXT_DAY):
        day = (start.dt.tz_localize(None).dt.normalize() + later).dt.strftime("%Y-%m-%d").fillna("")
        found.append(_calm((day + " " + clock_text(clocks)).where(there, ""), asked).value)
    return found[0].where(found[0] > start, found[1])
