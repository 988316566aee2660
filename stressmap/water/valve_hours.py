"""When each valve may run: the plan's hours less what its harvest, source, gate, log and power leave out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from stressmap.water.calendar import Bools, Calendar, Clocks, Span, within_hours


@dataclass(frozen=True)
class Closed:
    """What closes a valve beside the hours of all.

    Parameters
    ----------
    after : date or None
        The last day on which its water may run.
    days : tuple of date or None
        Days on which its source gives water; None for all.
    on_the_hour : bool
        Whether it is opened and closed on the full hour only.
    spans : tuple of (int, int)
        Cells in which it runs by the log, rests after that or must not be opened yet.
    """

    after: dt.date | None = None
    days: tuple[dt.date, ...] | None = None
    on_the_hour: bool = False
    spans: tuple[Span, ...] = ()


def hours_by_valve(hours: Calendar, closed: Sequence[Closed]) -> tuple[Calendar, ...]:
    """Give the calendar of each valve.

    Parameters
    ----------
    hours : Calendar
        Of the plan.
    closed : sequence of Closed, length n
        By valve.

    Returns
    -------
    tuple of Calendar, length n
        On the same cells; valves that are closed alike share one.
    """
    made = {one: _closed(hours, one) for one in set(closed)}
    return tuple(made[one] for one in closed)


def without_hours(hours: Sequence[Calendar], shuns: Sequence[bool], dear: Clocks) -> tuple[Calendar, ...]:
    """Take hours of the clock out of the calendars of some valves.

    Parameters
    ----------
    hours : sequence of Calendar, length n
        By valve.
    shuns : sequence of bool, length n
        Whose.
    dear : tuple of time
        From when to when, local.

    Returns
    -------
    tuple of Calendar, length n
        Valves that shared a calendar still do.
    """
    made: dict[int, Calendar] = {}
    for own, shun in zip(hours, shuns, strict=True):
        if shun and id(own) not in made:
            minutes = _cell_minutes(own)
            made[id(own)] = replace(own, water_allowed=own.water_allowed & ~within_hours(minutes[:-1], dear))
    return tuple(made[id(own)] if shun else own for own, shun in zip(hours, shuns, strict=True))


def stretches_within(hours: Calendar, clocks: Clocks) -> tuple[Span, ...]:
    """Give the stretches of a plan that lie within hours of the clock.

    Parameters
    ----------
    hours : Calendar
        Of the plan.
    clocks : tuple of time
        From when to when, local.

    Returns
    -------
    tuple of (int, int)
        First cell and the cell after the last, of those in which water may run.
    """
    within = within_hours(_cell_minutes(hours)[:-1], clocks) & hours.water_allowed
    edges = np.flatnonzero(np.diff(np.concatenate([[0], within.astype(np.int8), [0]]))).reshape(-1, 2)
    return tuple((a, b) for a, b in edges.tolist())


def _closed(hours: Calendar, closed: Closed) -> Calendar:
    if closed == Closed():
        return hours
    local = _local(hours)
    dates = np.array(local[:-1].date)
    open_: Bools = np.ones(len(dates), dtype=bool)
    if closed.after is not None:
        open_ &= dates <= closed.after
    if closed.days is not None:
        open_ &= np.isin(dates, np.array(closed.days, dtype=object))
    for first, last in closed.spans:
        open_[first:last] = False
    turns = hours.crew_present
    if closed.on_the_hour:
        turns = turns & np.asarray(local.minute == 0)
    return replace(hours, water_allowed=hours.water_allowed & open_, crew_present=turns)


def _local(hours: Calendar) -> pd.DatetimeIndex:
    step = pd.Timedelta(minutes=hours.cell_minutes)
    return pd.date_range(hours.origin, periods=len(hours.water_allowed) + 1, freq=step).tz_convert(hours.zone)


def _cell_minutes(hours: Calendar) -> np.ndarray:
    local = _local(hours)
    return np.asarray(local.hour * 60 + local.minute, dtype=np.int64)
