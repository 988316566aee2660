"""What each irrigation did: stress before and after, relief, share of the way back, drying until the next."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats, Ints
from stressmap.season.zone_courses import Z_90, ZoneCourses

RECOVERY_DAYS = 2.0
"""Trees recover in one to three days after mild stress (standing: from memory, no text read): what an
irrigation did is looked at so long after its end."""
SIDE_DAYS = 10.0
"""A reading further from an irrigation tells nothing of its sides: a judgement, no source."""
LEAST_BEFORE_BAR = 0.5
"""Over the target before; less leaves no way back to speak of."""
LEAST_DAYS = 2.0
"""Days of drying, at least, for a rate."""


@dataclass(frozen=True)
class CycleDays:
    """On which days irrigations are looked at, positions of n of them.

    Parameters
    ----------
    start, end : array of float, shape (n,)
        On the scale of days.
    before, after, until : array of int, shape (n,)
        Days: the last measuring hour before the start, two days after the end (not past the next start), and
        the last one before the next irrigation, or the last day of the season.
    """

    start: Floats
    end: Floats
    before: Ints
    after: Ints
    until: Ints


def cycle_days(zone: Ints, start: Floats, end: Floats, last: int) -> CycleDays:
    """Choose the days on which irrigations are looked at.

    Parameters
    ----------
    zone : array of int, shape (n,)
        Never falling.
    start, end : array of float, shape (n,)
        Rising within a zone, on the scale of days.
    last : int
        Last day of the season.

    Returns
    -------
    CycleDays

    Examples
    --------
    >>> days = cycle_days(np.array([0, 0]), np.array([10.2, 17.2]), np.array([10.7, 17.7]), 18)
    >>> days.before.tolist(), days.after.tolist(), days.until.tolist()
    ([10, 17], [13, 18], [17, 18])
    """
    before = np.floor(start).astype(np.int64)
    follows = np.append(np.diff(zone) == 0, False)[: len(zone)]
    until = np.where(follows, np.append(before[1:], last), last)[: len(zone)]
    after = np.ceil(end + RECOVERY_DAYS - 1e-9).astype(np.int64)
    first = np.ceil(end).astype(np.int64)
    return CycleDays(
        start, end, before, np.maximum(first, np.minimum(after, until)), np.maximum(until, first)
    )


def sides_seen(zone: Ints, days: CycleDays, read_zone: Ints, read_day: Floats) -> tuple[Ints, Ints]:
    """Count the readings on the two sides of each irrigation.

    Parameters
    ----------
    zone : array of int, shape (n,)
        Of the irrigations, never falling, their days rising within a zone.
    days : CycleDays
        Theirs.
    read_zone, read_day : array, shape (m,)
        Of the readings.

    Returns
    -------
    before, after : array of int, shape (n,)
        Readings since the irrigation before, and until the next one, no further than ten days.
    """
    first = np.append(True, np.diff(zone) != 0)[: len(zone)]
    last = np.append(np.diff(zone) != 0, True)[: len(zone)]
    since = np.where(first, -np.inf, np.append(-np.inf, days.end[:-1])[: len(zone)])
    until = np.where(last, np.inf, np.append(days.start[1:], np.inf)[: len(zone)])
    order = np.lexsort((read_day, read_zone))
    place, wide = read_day[order], 1e7
    key = read_zone[order] * wide + place

    def count(low: Floats, high: Floats) -> Ints:
        found = np.searchsorted(key, zone * wide + high, "right") - np.searchsorted(
            key, zone * wide + low, "left"
        )
        return np.asarray(np.maximum(found, 0), dtype=np.int64)

    before = count(np.maximum(since, days.start - SIDE_DAYS), days.start)
    return before, count(days.end, np.minimum(until, days.end + SIDE_DAYS))


def pairs_of(zone: Ints, days: CycleDays, first: int) -> Ints:
    """Give what must be compared: before with after, and the last day of drying with its first.

    Parameters
    ----------
    zone : array of int, shape (n,)
        Of the irrigations.
    days : CycleDays
        Theirs.
    first : int
        Day of position 0.

    Returns
    -------
    array of int, shape (2 n, 3)
        For :func:`stressmap.season.zone_courses.zone_courses`.
    """
    relief = np.column_stack([zone, days.before - first, days.after - first])
    drying = np.column_stack([zone, days.until - first, days.after - first])
    return np.concatenate([relief, drying]).astype(np.int64)


def cycle_table(
    irrigations: pd.DataFrame,
    days: CycleDays,
    courses: ZoneCourses,
    over: Floats,
    eto_mm: Floats,
    seen: tuple[Ints, Ints],
) -> pd.DataFrame:
    """Tell what each irrigation did.

    Parameters
    ----------
    irrigations : DataFrame, n rows
        From :func:`stressmap.season.irrigations.irrigations_of`.
    days : CycleDays
        Theirs.
    courses : ZoneCourses
        Day after day from position 0 on, with the pairs of :func:`pairs_of` first.
    over : array of float, shape (D, Z)
        Over the season's target on each of those days [bar].
    eto_mm : array of float, shape (D,)
        Reference evapotranspiration of each day.
    seen : tuple of array of int, shape (n,)
        From :func:`sides_seen`.

    Returns
    -------
    DataFrame, n rows
        ``zone``, ``start``, ``end``, ``mm``, ``hours``, ``sets``, ``before_bar``, ``after_bar``,
        ``relief_bar`` with
        ``relief_low_bar`` and ``relief_high_bar`` (90 %), ``recovered`` (0 to 1; NaN where nothing was
        over the target), ``seen``, ``drying_days``, ``drying_bar_per_day``, ``drying_bar_per_mm`` and
        ``drying_se_bar_per_mm`` until the next irrigation.
    """
    n, first = len(irrigations), int(courses.day[0])
    gone, sd = courses.difference()
    zone, before, after = courses.pairs[:n].T
    relief, relief_sd = gone[:n], sd[:n]
    way = over[before, zone]
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(way >= LEAST_BEFORE_BAR, np.clip(relief / way, 0.0, 1.0), np.nan)
    spell = (days.until - days.after).astype(float)
    total = np.append(0.0, np.cumsum(eto_mm))
    used = total[days.until - first + 1] - total[days.after - first + 1]
    long = spell >= LEAST_DAYS
    per_day, per_mm = np.where(long, spell, np.nan), np.where(long & (used > 0), used, np.nan)
    sides = np.array(["neither", "before", "after", "both"], dtype=object)
    return irrigations.reset_index(drop=True).assign(
        before_bar=courses.mean[before, zone],
        after_bar=courses.mean[after, zone],
        relief_bar=relief,
        relief_low_bar=relief - Z_90 * relief_sd,
        relief_high_bar=relief + Z_90 * relief_sd,
        recovered=share,
        seen=sides[(seen[0] > 0) + 2 * (seen[1] > 0)],
        drying_days=np.where(long, spell, np.nan),
        drying_bar_per_day=gone[n : 2 * n] / per_day,
        drying_bar_per_mm=gone[n : 2 * n] / per_mm,
        drying_se_bar_per_mm=sd[n : 2 * n] / per_mm,
    )
