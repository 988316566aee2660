"""From when to when the irrigation log and the weather reach, and where nothing is known in between."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

import pandas as pd

from stressmap.core.notes import Note
from stressmap.core.unsure_sets import unsure_of

QUIET_DAYS = 7
"""A log without any entry for longer than this counts as not kept: common practice, no source."""
LATE_DAYS = 31
"""No plan looks at sets so long after the last reading: a judgement, no source."""
GAP_HOURS = 3.0
"""A weather record without a row for longer than this has a gap."""


def last_day(log: pd.DataFrame | None) -> dt.date | None:
    """Give the last day that a log has an entry of.

    Parameters
    ----------
    log : DataFrame or None
        As :data:`stressmap.core.schemas.IRRIGATION`.

    Returns
    -------
    date or None
        None without a log, or of an empty one.
    """
    if log is None or log.empty:
        return None
    last: dt.date = log["end"].max().date()
    return last


def log_reaches(log: pd.DataFrame | None, day: dt.date) -> bool:
    """Tell whether a log was still kept on a day.

    Parameters
    ----------
    log : DataFrame or None
        As :data:`stressmap.core.schemas.IRRIGATION`.
    day : date
        Of a visit.

    Returns
    -------
    bool
        False without a log, or where its last set began over ``QUIET_DAYS`` days earlier.
    """
    if log is None or log.empty:
        return False
    return bool(log["end"].max().date() >= day - dt.timedelta(days=QUIET_DAYS))


def log_end_note(log: pd.DataFrame | None, visit_end: dt.date) -> tuple[Note, ...]:
    """Say where a log ends long before a visit: of the days after that nothing is known.

    Parameters
    ----------
    log : DataFrame or None
        As :data:`stressmap.core.schemas.IRRIGATION`.
    visit_end : date
        Last day of the visit.

    Returns
    -------
    tuple of Note
        One or none.
    """
    if log is None or log.empty or log_reaches(log, visit_end):
        return ()
    return (Note.of("log_ends_early", "warning", last=log["end"].max().date(), visit=visit_end),)


def late_sets_note(log: pd.DataFrame | None, last_reading: dt.date) -> tuple[Note, ...]:
    """Say where sets begin long after all readings, later than a plan looks: a slip of the year, it may be.

    Parameters
    ----------
    log : DataFrame or None
        As :data:`stressmap.core.schemas.IRRIGATION`.
    last_reading : date
        Day of the latest reading of any visit.

    Returns
    -------
    tuple of Note
        One or none.
    """
    if log is None or log.empty:
        return ()
    late = log["start"].dt.date > last_reading + dt.timedelta(days=LATE_DAYS)
    if not late.any():
        return ()
    last = log.loc[late, "start"].max().date()
    said = {"count": late.sum(), "days": LATE_DAYS, "visit": last_reading, "last": last}
    return (Note.of("log_begins_late", "warning", **said),)


def span_notes(
    log: pd.DataFrame | None, weather: pd.DataFrame | None, valves: Iterable[str]
) -> Iterator[Note]:
    """Tell the spans of log and weather, their gaps, and the valves without an entry.

    Parameters
    ----------
    log, weather : DataFrame or None
        As :mod:`stressmap.core.schemas` states them.
    valves : iterable of str
        Names of all valves.

    Yields
    ------
    Note
    """
    if log is not None and not log.empty:
        yield Note.of(
            "log_span", first=log["start"].min().date(), last=log["end"].max().date(), sets=len(log)
        )
        gaps = _gaps(log["start"], log["end"], pd.Timedelta(days=QUIET_DAYS), "%Y-%m-%d")
        if gaps:
            yield Note.of("log_gaps", "caution", count=len(gaps), gaps=gaps, days=QUIET_DAYS)
        there, every = set(log["valve"]), list(valves)
        unsure = unsure_of(log).days
        unread = [name for name in every if name not in there and name in unsure]
        bare = [name for name in every if name not in there and name not in unsure]
        if unread:
            yield Note.of("log_entry_unread", "caution", count=len(unread), total=len(every), names=unread)
        if bare:
            yield Note.of("log_without_entry", "caution", count=len(bare), total=len(every), names=bare)
    if weather is not None and not weather.empty:
        times = weather["time"]
        first, last = (f"{moment:%Y-%m-%d %H:%M}" for moment in (times.min(), times.max()))
        yield Note.of("weather_span", first=first, last=last, rows=len(weather))
        gaps = _gaps(times, times, pd.Timedelta(hours=GAP_HOURS), "%Y-%m-%d %H:%M")
        if gaps:
            yield Note.of("weather_gaps", "caution", count=len(gaps), gaps=gaps, hours=GAP_HOURS)


def _gaps(start: pd.Series, end: pd.Series, most: pd.Timedelta, form: str) -> list[str]:
    """List the spells longer than so much in which nothing ran and nothing was measured."""
    order = start.argsort(kind="stable")
    begun, ended = start.iloc[order], end.iloc[order].cummax().shift()
    gap = (begun - ended) > most
    return [f"{a:{form}} \N{EN DASH} {b:{form}}" for a, b in zip(ended[gap], begun[gap], strict=True)]
