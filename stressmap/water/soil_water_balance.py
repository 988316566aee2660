"""Running book of a valve zone's root zone, day by day, and every millimetre that ran, by the minute.

Depletion [mm below a full root zone] = that of the day before + crop use x stress coefficient - half the
rain - what ran x uniformity, never under 0 (the rest drains) nor over what the root zone holds: the daily
balance of FAO Irrigation and Drainage Paper 56, equation 85 (from memory), with the stress coefficient
read off the stress that the depletion itself comes to. A short set brings what it brings; only enough water
refills.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats

BOOK_DAYS = 30
"""The book begins at the visit before, or with the log, at most so many days before the reading: errors of
use and of what ran add up. A judgement, no source."""
USE_ERROR, RAN_ERROR = 0.15, 0.10
"""Standard errors of crop use and of what ran, as shares: judgements, no source."""
START_ERROR_BAR = 2.0
"""Standard error of the stress that a book begins with where no reading tells it: a judgement, no source."""


@dataclass(frozen=True)
class Book:
    """What the book says at the moment of the reading.

    Parameters
    ----------
    depletion_mm, se_mm : float
        Below a full root zone, and its standard error.
    used_mm : float
        Crop use since the book began, less half the rain.
    ran_mm : float
        Net depth that ran since then.
    """

    depletion_mm: float
    se_mm: float
    used_mm: float
    ran_mm: float


@dataclass(frozen=True)
class BookDays:
    """What a book is kept from, n days.

    Parameters
    ----------
    begins_mm, begins_se_mm : float
        Below a full root zone on the first morning, and its standard error.
    use, ran, rain : array of float, shape (n,)
        Full crop use, net depth that ran and what counts of the rain, day by day [mm].
    from_visit : bool
        Whether a visit tells how it begins.
    """

    begins_mm: float
    begins_se_mm: float
    use: Floats
    ran: Floats
    rain: Floats
    from_visit: bool


def net_by_span(sets: pd.DataFrame, edges: pd.DatetimeIndex, rate_mm_h: float, factor: float) -> Floats:
    """Add up what ran in spans of time; of a set that lies across an edge each span gets its part.

    Parameters
    ----------
    sets : DataFrame
        ``start``, ``end``, ``mm`` of one valve, as :data:`stressmap.core.schemas.IRRIGATION`.
    edges : DatetimeIndex, length n + 1
        Rising moments with their offsets; a span may be empty.
    rate_mm_h : float
        Where a set has no depth of its own [mm/h].
    factor : float
        Uniformity or efficiency, 0 to 1.

    Returns
    -------
    array of float, shape (n,)
        Net depths [mm].

    Examples
    --------
    >>> at = pd.DatetimeIndex(["2026-07-14 12:00", "2026-07-14 14:00", "2026-07-14 20:00"], tz="UTC")
    >>> sets = pd.DataFrame({"start": at[:1], "end": at[2:], "mm": [float("nan")]})
    >>> net_by_span(sets, at, 1.5, 0.8).round(3).tolist()
    [2.4, 7.2]
    """
    start, end, cut = (
        pd.DatetimeIndex(moments).as_unit("s").asi8 for moments in (sets["start"], sets["end"], edges)
    )
    whole = np.maximum(end - start, 1)
    reached = np.clip((cut[None, :] - start[:, None]) / whole[:, None], 0.0, 1.0)
    mm = sets["mm"].to_numpy(np.float64)
    gross = np.where(np.isfinite(mm), mm, (end - start) / 3600.0 * rate_mm_h)
    return np.asarray(gross @ np.diff(reached, axis=1) * factor)


def running_balance(
    depletion_mm: float,
    days: Iterable[tuple[float, float]],
    share_of_use: Callable[[float], float],
    holds_mm: float,
) -> tuple[float, float]:
    """Keep the book day by day.

    Parameters
    ----------
    depletion_mm : float
        At the start [mm below full].
    days : iterable of (float, float)
        Full crop use, and rain and irrigation that count, of each day [mm].
    share_of_use : callable
        Stress coefficient at a depletion.
    holds_mm : float
        Most that can be missing [mm].

    Returns
    -------
    tuple of float
        Depletion after the last day, and what the crop used in all [mm].

    Examples
    --------
    A set that brings 10 mm does not refill a root zone that lacks 40:

    >>> running_balance(40.0, [(8.0, 10.0), (8.0, 0.0)], lambda depletion: 1.0, 150.0)
    (46.0, 16.0)
    """
    used = 0.0
    for use, came in days:
        taken = use * share_of_use(depletion_mm)
        used += taken
        depletion_mm = min(holds_mm, max(0.0, depletion_mm + taken - came))
    return depletion_mm, used


def midnights(first: dt.date, until: dt.date, like: pd.Series) -> pd.DatetimeIndex:
    """Give the first moments of local days.

    Parameters
    ----------
    first, until : date
        Both with their own.
    like : Series of Timestamp
        Whose time zone it is.

    Returns
    -------
    DatetimeIndex
    """
    days = pd.date_range(first, until, freq="D")
    zone = pd.DatetimeIndex(like).tz
    return days.tz_localize(zone, nonexistent="shift_forward", ambiguous=np.ones(len(days), dtype=bool))
