"""Irrigations of valve zones: rows of the log that are close together are one."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats

ONE_SET_H = 12.0
"""Sets with a shorter pause between them are one irrigation: a judgement, no source."""
SERIES_H, APART_H = 60.0, 96.0
"""Pauses up to the first part the sets of one irrigation, from the second on two irrigations, where a valve
has both kinds: sets of several nights in a row, then days without. A judgement, no source."""
LEAST_SHARE = 0.2
"""Share of its pauses that must be of the long kind; fewer are gaps of a valve that runs every day or two."""
COLUMNS = ("zone", "start", "end", "mm", "hours", "sets")


def joined_within(pauses_h: Floats) -> float:
    """Give the pause up to which sets of a valve belong to one irrigation.

    Parameters
    ----------
    pauses_h : array of float, shape (n,)
        Between the valve's sets [h].

    Returns
    -------
    float
        [h].

    Examples
    --------
    Three nights in a row and a week without; and every other night, one forgotten:

    >>> round(joined_within(np.array([14.0, 14.0, 150.0, 14.0, 14.0, 160.0])), 1)
    45.8
    >>> joined_within(np.array([38.0, 38.0, 86.0, 38.0]))
    12.0
    """
    long = np.sort(pauses_h[pauses_h > ONE_SET_H])
    if len(long) < 3:
        return ONE_SET_H
    step = long[1:] / long[:-1]
    k = int(np.argmax(step))
    few = len(long) - k - 1 < LEAST_SHARE * len(long)
    if step[k] < 2.0 or long[k] > SERIES_H or long[k + 1] < APART_H or few:
        return ONE_SET_H
    return float(np.sqrt(long[k] * long[k + 1]))


def irrigations_of(log: pd.DataFrame | None, zone_of: Mapping[str, int], rate_mm_h: Floats) -> pd.DataFrame:
    """Put the rows of a log together to irrigations.

    Parameters
    ----------
    log : DataFrame or None
        As :data:`stressmap.core.schemas.IRRIGATION`.
    zone_of : mapping of str to int
        Position of each valve zone; rows of others are passed over.
    rate_mm_h : array of float, shape (Z,)
        For rows without a depth [mm/h].

    Returns
    -------
    DataFrame
        ``zone``, ``start``, ``end``, ``mm`` (as it ran, nothing taken off), ``hours`` (that it ran) and
        ``sets``; by zone and start.

    Examples
    --------
    >>> at = pd.to_datetime(["2026-07-01 20:00", "2026-07-02 01:00", "2026-07-10 20:00"], utc=True)
    >>> log = pd.DataFrame({"valve": "V", "start": at, "end": at + pd.Timedelta(hours=4), "mm": np.nan})
    >>> irrigations_of(log, {"V": 0}, np.array([2.0]))[["mm", "hours", "sets"]].to_numpy().tolist()
    [[16.0, 8.0, 2.0], [8.0, 4.0, 1.0]]
    """
    if log is None or log.empty:
        return pd.DataFrame({name: [] for name in COLUMNS}).astype({"zone": np.int64})
    zone = log["valve"].map(zone_of)
    rows = log[zone.notna()].assign(zone=zone[zone.notna()].astype(np.int64))
    rows = rows.sort_values(["zone", "start", "end"], kind="stable").reset_index(drop=True)
    code = rows["zone"].to_numpy()
    start, end = (pd.DatetimeIndex(rows[name]).as_unit("s").asi8 / 3600.0 for name in ("start", "end"))
    hours = end - start
    depth = rows["mm"].to_numpy(np.float64)
    mm = np.where(np.isfinite(depth), depth, hours * rate_mm_h[code])
    group = _groups(code, start, end)
    parts = pd.DataFrame({"group": group, "zone": code, "mm": mm, "hours": hours, "sets": 1})
    parts = parts.assign(start=rows["start"], end=rows["end"])
    how = {"zone": "first", "start": "min", "end": "max", "mm": "sum", "hours": "sum", "sets": "sum"}
    found: pd.DataFrame = parts.groupby("group").agg(how).reset_index(drop=True)
    return found[list(COLUMNS)]


def _groups(code: np.ndarray, start: Floats, end: Floats) -> np.ndarray:
    """Give the number of the irrigation that each row, by zone and start, belongs to."""
    new = np.ones(len(code), dtype=bool)
    edges = np.flatnonzero(np.diff(code)) + 1
    for rows in np.split(np.arange(len(code)), edges):
        if len(rows) < 2:
            continue
        until = np.maximum.accumulate(end[rows])
        pause = start[rows[1:]] - until[:-1]
        new[rows[1:]] = pause > joined_within(pause)
    return np.cumsum(new) - 1
