"""Days of a season: one number a day, whole at the hour of measuring; visits and sets lie on them."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats

MEASURING_H = 14.0
"""The hour of the clock at which a day's number is whole: the middle of the usual hours of measuring."""
HORIZON_DAYS = 21
"""Days ahead that are looked at; later is "over three weeks"."""


def day_numbers(moments: pd.Series | pd.DatetimeIndex, zone: ZoneInfo) -> Floats:
    """Place moments on the scale of days.

    Parameters
    ----------
    moments : Series or DatetimeIndex, length n
        With their offset.
    zone : ZoneInfo
        The ranch's.

    Returns
    -------
    array of float, shape (n,)
        The date's ordinal at 14:00 local, half a day less at 02:00.

    Examples
    --------
    >>> at = pd.DatetimeIndex(["2026-07-14 02:00", "2026-07-14 14:00"], tz="America/Los_Angeles")
    >>> (day_numbers(at, ZoneInfo("America/Los_Angeles")) - dt.date(2026, 7, 14).toordinal()).tolist()
    [-0.5, 0.0]
    """
    local = pd.DatetimeIndex(moments).tz_convert(zone).tz_localize(None)
    since = (local - pd.Timestamp(1970, 1, 1)) / pd.Timedelta(days=1)
    return np.asarray(since, dtype=np.float64) + dt.date(1970, 1, 1).toordinal() - MEASURING_H / 24.0


def days_ago(days: float) -> int:
    """Count calendar days back from a day's number, so that what ended last night is one day ago.

    Parameters
    ----------
    days : float
        Taken to a tenth, as tables hold them.

    Returns
    -------
    int

    Examples
    --------
    At 14:00, what ended at 03:00 yesterday, at 10:00 yesterday and at 03:00 today:

    >>> [days_ago(one) for one in (35 / 24, 28 / 24, 11 / 24)]
    [1, 1, 0]
    """
    return max(0, int(np.ceil(np.round(days, 1) - MEASURING_H / 24.0)))


def date_of(day: float) -> dt.date:
    """Give the date of a day's number.

    Parameters
    ----------
    day : float
        An ordinal.

    Returns
    -------
    date
    """
    return dt.date.fromordinal(round(day))
