"""When the next visit is, by the days that usually lie between visits: one answer for season and round."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise

import numpy as np
import pandas as pd

from stressmap.quality.visit import visits_in

WEEK = 7
"""Days to the next visit where there was only one: common practice, no source."""
USUAL_OF = 6
"""So many visits at the end tell how often the ranch is read."""
MOST_USUAL_DAYS = 28
"""A longer usual gap is one between seasons."""


def usual_interval_days(readings: pd.DataFrame) -> tuple[int, bool]:
    """Tell how many days lie between visits.

    Parameters
    ----------
    readings : DataFrame
        As :data:`stressmap.core.schemas.READINGS`.

    Returns
    -------
    days : int
        The median of the last gaps between visits, but those between seasons; a week where there is none.
    usual : bool
        Whether there was a gap.
    """
    starts = [first for first, *_ in visits_in(readings)][-USUAL_OF:]
    gaps = [(later - first).days for first, later in pairwise(starts)]
    gaps = [gap for gap in gaps if gap <= MOST_USUAL_DAYS]
    return (int(np.median(gaps)), True) if gaps else (WEEK, False)


def next_visit_day(readings: pd.DataFrame, last: dt.date) -> dt.date:
    """Give the day of the next visit: the usual days after the last one's last day.

    Parameters
    ----------
    readings : DataFrame
        As :data:`stressmap.core.schemas.READINGS`.
    last : date
        Last day of the last visit.

    Returns
    -------
    date
    """
    return last + dt.timedelta(days=usual_interval_days(readings)[0])
