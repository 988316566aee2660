"""Sets of the irrigation log that a plan must rest after, keep its days from and count within a week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pandas as pd

from stressmap.water.calendar import Calendar

Run = tuple[pd.Timestamp, pd.Timestamp]
"""An opening and the closing after it."""

SAME_SET = pd.Timedelta(hours=1)
"""Rows of a log with a shorter pause between them are one set: meters cut sets at midnight or at their
readings; a judgement, no source."""
WEEK = pd.Timedelta(days=7)
KEPT = WEEK + pd.Timedelta(days=1)
"""Sets that ended longer before a plan have no say in it."""


def runs_of(sets: pd.DataFrame | None, start: dt.date) -> tuple[Run, ...]:
    """Give the sets of one valve that a plan has to keep to.

    Parameters
    ----------
    sets : DataFrame or None
        ``start`` and ``end`` of one valve, as :data:`stressmap.core.schemas.IRRIGATION`.
    start : date
        First day of the plan.

    Returns
    -------
    tuple of (Timestamp, Timestamp)
        In UTC, the earliest first, apart from each other by :data:`SAME_SET` at least.
    """
    if sets is None:
        return ()
    ordered = sets.sort_values("start")
    begins, ends = (pd.DatetimeIndex(ordered[name]).tz_convert("UTC") for name in ("start", "end"))
    since = pd.Timestamp(start, tz="UTC") - KEPT
    found: list[Run] = []
    for begin, end in zip(begins, ends, strict=True):
        if found and begin - found[-1][1] < SAME_SET:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((begin, end))
    return tuple(run for run in found if run[1] >= since)


def closed_by_runs(
    runs: Sequence[Run], keeps: tuple[int, int, int], hours: Calendar
) -> tuple[tuple[int, int], ...]:
    """Give the cells of a plan in which a valve stays closed for the sets that its log has.

    It rests after each as after a set of the plan, is opened so many days after it at the earliest, and not
    once too often in seven days; of a set that lies within the plan all of that holds before it too. The rest
    of walnut is so long that no 72 h hold more water than it bears.

    Parameters
    ----------
    runs : sequence of (Timestamp, Timestamp)
        From :func:`runs_of`.
    keeps : tuple of int
        From a closing and from an opening to the next opening [time steps], and openings within seven days.
    hours : Calendar
        Of the plan.

    Returns
    -------
    tuple of (int, int)
        First cell and the cell after the last.
    """
    step = pd.Timedelta(minutes=hours.cell_minutes * hours.cells_per_step)
    rest, apart, a_week = keeps[0] * step, keeps[1] * step, keeps[2]
    spans = [(min(a - rest, a - apart), max(b + rest, a + apart)) for a, b in runs]
    openings = [a for a, _ in runs]
    for first, last in zip(openings, openings[a_week - 1 :], strict=False):
        if last - first < WEEK:
            spans.append((last - WEEK, first + WEEK))
    cells = len(hours.water_allowed)
    found = {(max(0, _cell(a, hours)), min(cells, -_cell(b, hours, -1))) for a, b in spans}
    return tuple(sorted(span for span in found if span[0] < span[1]))


def opened_cells(runs: Sequence[Run], hours: Calendar) -> tuple[int, ...]:
    """Give the cells in which logged sets were opened.

    Parameters
    ----------
    runs : sequence of (Timestamp, Timestamp)
        From :func:`runs_of`.
    hours : Calendar
        Of the plan.

    Returns
    -------
    tuple of int
        Below zero before the plan; rounded up.
    """
    return tuple(-_cell(a, hours, -1) for a, _ in runs)


def _cell(moment: pd.Timestamp, hours: Calendar, sign: int = 1) -> int:
    """Return the cell that a moment is in; with the sign -1 the negative of the first cell not before it."""
    return int(np.floor(sign * ((moment - hours.origin) / pd.Timedelta(minutes=hours.cell_minutes))))
