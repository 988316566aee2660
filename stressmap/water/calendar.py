"""Irrigation calendar: hours when water may run and the crew may turn valves, on the local clock."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from functools import cached_property, reduce
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Bools = NDArray[np.bool_]
Span = tuple[int, int]
Clocks = tuple[dt.time, dt.time]
DAY_MINUTES = 24 * 60


@dataclass(frozen=True)
class Calendar:
    """The time of a plan, cut into cells that all hours and set lengths fall on.

    Parameters
    ----------
    origin : Timestamp
        Start of the first cell, UTC.
    zone : ZoneInfo
        The ranch's.
    cell_minutes : int
        Length of a cell.
    cells_per_step : int
        Cells in one time step, the unit of set lengths.
    water_allowed : array of bool, shape (t,)
        Whether water may run during a cell.
    crew_present : array of bool, shape (t + 1,)
        Whether the crew may open or close a valve at the start of a cell (the last: the end of all).
    """

    origin: pd.Timestamp
    zone: ZoneInfo
    cell_minutes: int
    cells_per_step: int
    water_allowed: Bools
    crew_present: Bools

    @cached_property
    def windows(self) -> tuple[Span, ...]:
        """First cell and the cell after the last, for each stretch from a first opening to a last closing."""
        edges = np.flatnonzero(np.diff(np.concatenate([[0], self.water_allowed.astype(np.int8), [0]])))
        found = []
        for a, b in edges.reshape(-1, 2).tolist():
            moments = a + np.flatnonzero(self.crew_present[a : b + 1])
            if len(moments) and moments[-1] - moments[0] >= self.cells_per_step:
                found.append((int(moments[0]), int(moments[-1])))
        return tuple(found)

    @cached_property
    def span_steps(self) -> int:
        """Time from the first opening to the last closing that there can be [steps], all hours counted."""
        if not self.windows:
            return 0
        return (self.windows[-1][1] - self.windows[0][0]) // self.cells_per_step

    @cached_property
    def steps(self) -> int:
        """Whole time steps in which water may run."""
        return sum((b - a) // self.cells_per_step for a, b in self.windows)

    @cached_property
    def set_lengths(self) -> tuple[Span, ...]:
        """Lengths that one set can have between an opening and a closing [steps], as ranges ends included."""
        longest = max((b - a for a, b in self.windows), default=0) // self.cells_per_step
        fits = [n for n in range(1, longest + 1) if self.can_start(n * self.cells_per_step).any()]
        return _ranges(fits)

    def can_start(self, cells: int) -> Bools:
        """Tell at which cells a set of a length may begin.

        Parameters
        ----------
        cells : int
            Length of the set.

        Returns
        -------
        array of bool, shape (t - cells + 1,)
            True where water may run for so long and the crew is there at both ends.
        """
        if cells not in self._starts:
            self._starts[cells] = self._starts_of(cells)
        return self._starts[cells]

    @cached_property
    def _starts(self) -> dict[int, Bools]:
        return {}

    @cached_property
    def _run(self) -> NDArray[np.int64]:
        return np.concatenate([[0], np.cumsum(self.water_allowed)])

    def _starts_of(self, cells: int) -> Bools:
        count = len(self.water_allowed) - cells + 1
        if count <= 0:
            return np.zeros(0, dtype=bool)
        whole = self._run[cells:] - self._run[:count] == cells
        return np.asarray(whole & self.crew_present[:count] & self.crew_present[cells:])

    def clock(self, cell: int) -> pd.Timestamp:
        """Give the local time at which a cell starts.

        Parameters
        ----------
        cell : int
            0 and up.

        Returns
        -------
        Timestamp
        """
        return (self.origin + pd.Timedelta(minutes=cell * self.cell_minutes)).tz_convert(self.zone)


def calendar(
    first: dt.date,
    days: int,
    zone: ZoneInfo,
    *,
    hours: Clocks = (dt.time(0), dt.time.max),
    crew: Clocks | None = None,
    step_hours: float = 0.5,
) -> Calendar:
    """Lay out the hours of a plan.

    Hours that end before they begin run over midnight; such a night belongs to the day it begins on. Each
    minute is held against the local clock: the hour that is missing or comes twice at a clock change counts
    as it passes.

    Parameters
    ----------
    first : date
        First day.
    days : int
        How many.
    zone : ZoneInfo
        The ranch's.
    hours : tuple of time
        Between which local times water may run.
    crew : tuple of time, optional
        Between which local times, ends included, valves may be opened and closed; None for any time.
    step_hours : float
        Length of a time step [h].

    Returns
    -------
    Calendar

    Examples
    --------
    The night in which clocks go forward is an hour short:

    >>> zone = ZoneInfo("America/Los_Angeles")
    >>> night = (dt.time(20), dt.time(6))
    >>> [calendar(dt.date(2026, 3, day), 1, zone, hours=night).steps for day in (7, 8)]
    [18, 20]
    """
    return lay_out(first, days, zone, ClockTimes(hours, crew, step_hours))


@dataclass(frozen=True)
class ClockTimes:
    """The clock that a plan keeps to.

    Parameters
    ----------
    hours : tuple of time
        Between which local times water may run.
    crew : tuple of time or None
        Between which local times, ends included, valves may be opened and closed; None for any time.
    step_hours : float
        Length of a time step [h].
    marks : tuple of time
        Moments on which a cell must begin, beside those of the hours.
    """

    hours: Clocks
    crew: Clocks | None
    step_hours: float
    marks: tuple[dt.time, ...] = ()


def lay_out(first: dt.date, days: int, zone: ZoneInfo, clock: ClockTimes) -> Calendar:
    """Lay out the hours of a plan; see :func:`calendar`.

    Parameters
    ----------
    first : date
        First day.
    days : int
        How many.
    zone : ZoneInfo
        The ranch's.
    clock : ClockTimes
        The hours of each day.

    Returns
    -------
    Calendar
    """
    hours, crew = clock.hours, clock.crew
    over = minute_of(hours[1]) <= minute_of(hours[0])
    begin = _local(first, hours[0] if over else dt.time(0), zone)
    end = _local(first + dt.timedelta(days=days), hours[1] if over else dt.time(0), zone)
    minutes = pd.date_range(begin, end, freq="min", inclusive="left")
    minute = _clock_minutes(minutes, zone)
    water_allowed = within_hours(minute, hours)
    moments = np.append(minute, _clock_minutes(pd.DatetimeIndex([end]), zone))
    crew_present = np.ones(len(moments), dtype=bool) if crew is None else _within_closed(moments, crew)
    step = round(clock.step_hours * 60)
    marked = np.flatnonzero(np.isin(minute, [minute_of(mark) % DAY_MINUTES for mark in clock.marks])).tolist()
    edges = [*_run_edges(water_allowed), *_turn_edges(crew_present), *marked, len(water_allowed)]
    cell = reduce(math.gcd, edges, step)
    return Calendar(begin, zone, cell, step // cell, water_allowed[::cell], crew_present[::cell])


def minute_of(clock: dt.time) -> int:
    """Give the minute of the day; the end of the day is 1440.

    Parameters
    ----------
    clock : time
        Local.

    Returns
    -------
    int

    Examples
    --------
    >>> minute_of(dt.time(6, 30)), minute_of(dt.time.max)
    (390, 1440)
    """
    return DAY_MINUTES if clock == dt.time.max else clock.hour * 60 + clock.minute


def _local(day: dt.date, clock: dt.time, zone: ZoneInfo) -> pd.Timestamp:
    moment = dt.datetime.combine(day, clock.replace(second=0, microsecond=0), tzinfo=zone)
    return pd.Timestamp(moment.astimezone(dt.UTC))


def _clock_minutes(moments: pd.DatetimeIndex, zone: ZoneInfo) -> NDArray[np.int64]:
    local = moments.tz_convert(zone)
    return np.asarray(local.hour * 60 + local.minute, dtype=np.int64)


def within_hours(clock: NDArray[np.int64], hours: Clocks) -> Bools:
    """Tell which minutes of the day lie in hours of the clock, the first moment in, the last out.

    Parameters
    ----------
    clock : array of int
        Minutes of the day.
    hours : tuple of time
        From when to when; over midnight where the end is not after the begin.

    Returns
    -------
    array of bool
    """
    start, end = minute_of(hours[0]), minute_of(hours[1])
    if start < end:
        return np.asarray((clock >= start) & (clock < end))
    return np.asarray((clock >= start) | (clock < end))


def _within_closed(clock: NDArray[np.int64], hours: Clocks) -> Bools:
    start, end = minute_of(hours[0]), minute_of(hours[1])
    if start < end:
        inside = (clock >= start) & (clock <= end)
        return np.asarray(inside | ((end == DAY_MINUTES) & (clock == 0)))
    return np.asarray((clock >= start) | (clock <= end))


def _run_edges(water_allowed: Bools) -> list[int]:
    """Return the minutes before which the water may begin or must end."""
    return [int(p) for p in np.flatnonzero(np.diff(water_allowed.astype(np.int8))) + 1]


def _turn_edges(crew_present: Bools) -> list[int]:
    """Return the first and the last moment of each time that the crew is there."""
    jumps = np.diff(crew_present.astype(np.int8))
    return [int(p) + 1 for p in np.flatnonzero(jumps > 0)] + [int(p) for p in np.flatnonzero(jumps < 0)]


def _ranges(numbers: list[int]) -> tuple[Span, ...]:
    ranges: list[Span] = []
    for n in numbers:
        if ranges and ranges[-1][1] == n - 1:
            ranges[-1] = (ranges[-1][0], n)
        else:
            ranges.append((n, n))
    return tuple(ranges)
