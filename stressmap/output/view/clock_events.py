"""The timetable as a valve man works: day by day and pump by pump, every opening and closing by the clock."""

from __future__ import annotations

import datetime as dt
import re
from itertools import groupby
from typing import Any, NamedTuple

import pandas as pd

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn


class ClockEvent(NamedTuple):
    """A valve to open or to close.

    Parameters
    ----------
    when : Timestamp
        In the ranch's zone.
    opens : bool
        Whether it is opened.
    turn : Turn
        The valve zone.
    row : dict
        Of the timetable: ``mm``, ``flow_m3_h``, ``pulse_on_min``, ``code`` and so on, where it has them.
    first : bool
        Whether it is the valve's first opening of the plan.
    """

    when: pd.Timestamp
    opens: bool
    turn: Turn
    row: dict[str, Any]
    first: bool

    @property
    def code(self) -> str:
        """Short code of the set, empty where the timetable has none."""
        return str(self.row.get("code") or "")

    @property
    def pulse(self) -> tuple[int, int] | None:
        """Minutes open and closed of a valve that a timer pulses."""
        on, off = self.row.get("pulse_on_min"), self.row.get("pulse_off_min")
        return None if on is None or off is None else (round(on), round(off))


class PumpDay(NamedTuple):
    """What one pump or source does on a day.

    Parameters
    ----------
    day : date
        On which valves are turned.
    pump : str
        Empty where the plan names none.
    events : list of ClockEvent
        In the order of the clock; what is opened at a moment goes before what is closed, block by block.
    """

    day: dt.date
    pump: str
    events: list[ClockEvent]


def by_clock(order: list[Turn]) -> list[PumpDay]:
    """Put all sets into the order of the clock.

    Parameters
    ----------
    order : list of Turn
        The valve zones in rank order, with their sets.

    Returns
    -------
    list of PumpDay
        By day, then by pump; empty without a timetable.
    """
    events = [
        ClockEvent(one["start" if opens else "end"], opens, turn, one, place == 0)
        for turn in order
        for place, one in enumerate(turn.sets)
        for opens in (True, False)
    ]
    events.sort(key=_place)
    return [
        PumpDay(day, pump, list(group))
        for (day, pump), group in groupby(events, key=lambda one: (one.when.date(), _pump(one)))
    ]


def days_of(content: Content) -> tuple[dt.date, dt.date] | None:
    """Give the first and the last day on which a valve is turned; None without a timetable.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    tuple of date, or None
    """
    table = content.timetable
    if table is None or table.empty:
        return None
    return min(table["start"]).date(), max(table["end"]).date()


def day_words(day: dt.date, words: Words) -> str:
    """Write the day of the week, day and month.

    Examples
    --------
    >>> day_words(dt.date(2026, 7, 16), Words("en")), day_words(dt.date(2026, 7, 16), Words("es"))
    ('Thu Jul 16', 'jue 16 jul')
    """
    return f"{words('locale.weekdays').split()[day.weekday()]} {words.day(day)}"


def natural(name: object) -> list[tuple[int, str]]:
    """Give by what names are put in order: numbers in them by their size, capital letters as small ones.

    Examples
    --------
    >>> sorted(["V10", "v2", "B1"], key=natural)
    ['B1', 'v2', 'V10']
    """
    parts = re.split(r"([0-9]+)", str(name).casefold())
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in parts if part]


def _place(event: ClockEvent) -> tuple[Any, ...]:
    row = event.turn.row
    names = (natural(row["block"] or ""), natural(row["valve"]))
    return event.when.date(), natural(_pump(event)), event.when, not event.opens, *names


def _pump(event: ClockEvent) -> str:
    return str(event.row.get("pump") or "")
