"""Which days make the visit that is mapped."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from stressmap.core.errors import DataError, Problem, SettingsError
from stressmap.core.notes import Note
from stressmap.core.settings import Settings

Days = tuple[dt.date, dt.date]
A_YEAR = dt.timedelta(days=366)


def visits_in(readings: pd.DataFrame) -> list[tuple[dt.date, dt.date, int]]:
    """List the visits of a readings table: runs of calendar days with readings, without a day between.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.

    Returns
    -------
    list of (date, date, int)
        First day, last day and number of readings, in order.

    Examples
    --------
    >>> days = pd.to_datetime(["2026-06-01 13:00", "2026-07-14 13:00", "2026-07-15 14:00"], utc=True)
    >>> [(str(a), str(b), n) for a, b, n in visits_in(pd.DataFrame({"time": days}))]
    [('2026-06-01', '2026-06-01', 1), ('2026-07-14', '2026-07-15', 2)]
    """
    day = readings["time"].dropna().dt.tz_localize(None).dt.normalize().sort_values()
    if day.empty:
        return []
    run = (day.diff() > pd.Timedelta(days=1)).cumsum()
    grouped = day.groupby(run).agg(["min", "max", "size"])
    return [(row["min"].date(), row["max"].date(), int(row["size"])) for _, row in grouped.iterrows()]


def choose_visit(readings: pd.DataFrame, settings: Settings, on: dt.date | None = None) -> Days:
    """Choose the days whose readings make the map.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.
    settings : Settings
        ``[visit]``, what it gives is taken as it is; and the names of the files, for messages.
    on : date, optional
        A day of the visit wanted (``--visit``); goes before ``[visit]``.

    Returns
    -------
    tuple of date
        First and last day.

    Raises
    ------
    DataError
        If no reading has a time.
    SettingsError
        If no reading was taken on the day or days asked for.
    """
    found, visit = visits_in(readings), settings.visit
    if not found:
        what = "no reading has a time, so there is no visit to map"
        raise DataError(Problem(settings.named("readings"), what, "Write date and time of each reading"))
    held = ", ".join(f"{a}" if a == b else f"{a} to {b}" for a, b, _ in found[-12:])
    if on is not None:
        for first, last, _ in found:
            if first <= on <= last:
                return first, last
        what = f"--visit {on}: no reading was taken on that day"
        raise SettingsError(Problem("command line", what, f"The readings hold {held}"))
    if visit.start is None and visit.end is None:
        return _believed(found)[-1][:2]
    first = visit.start or dt.date.min
    last = visit.end or max(first, _believed(found)[-1][1])
    days = readings["time"].dropna().dt.date
    inside = days[(days >= first) & (days <= last)]
    if inside.empty:
        span = f"from {visit.start or 'the first'} to {visit.end or 'the last'}"
        what, column = f"there is no reading in the visit {span}", "visit.from" if visit.start else "visit.to"
        raise SettingsError(Problem(settings.source, what, f"The readings hold {held}", column=column))
    return visit.start or inside.min(), visit.end or inside.max()


def _believed(found: list[tuple[dt.date, dt.date, int]]) -> list[tuple[dt.date, dt.date, int]]:
    """Leave out strays at the end that are dated over a year after all others: such a year is a slip."""
    while len(found) > 1 and _stray(found) and found[-1][0] - found[-2][1] > A_YEAR:
        found = found[:-1]
    return found


def _stray(found: list[tuple[dt.date, dt.date, int]]) -> bool:
    """Tell whether the last visit holds one or two readings after visits of many."""
    usual = float(np.median([n for *_, n in found[:-1]]))
    return found[-1][2] <= 2 and found[-1][2] * 5 <= usual


def visits_before(readings: pd.DataFrame, visit: Days) -> list[Days]:
    """Find the visits before another.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.
    visit : tuple of date
        First and last day of the later one.

    Returns
    -------
    list of tuple of date
        First and last day of each, in order.
    """
    earlier = [(first, min(last, visit[0] - dt.timedelta(days=1))) for first, last, _ in visits_in(readings)]
    return [days for days in earlier if days[0] <= days[1]]


def visit_before(readings: pd.DataFrame, visit: Days) -> Days | None:
    """Find the visit before another.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.
    visit : tuple of date
        First and last day of the later one.

    Returns
    -------
    tuple of date or None
        First and last day; None where the readings hold no earlier day.
    """
    found = visits_before(readings, visit)
    return found[-1] if found else None


def doubtful_last_visit(readings: pd.DataFrame) -> tuple[Note, ...]:
    """Say so when the latest visit is a stray: one or two readings after visits of many.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.

    Returns
    -------
    tuple of Note
        One, or none.
    """
    found = visits_in(readings)
    if len(found) < 2 or not _stray(found):
        return ()
    (first, _, count), before = found[-1], found[-2]
    if len(_believed(found)) < len(found):
        return (Note.of("year_slipped", "warning", day=first, count=count),)
    return (Note.of("latest_visit_stray", "warning", day=first, count=count, before=before[0]),)
