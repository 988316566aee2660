"""Dryness of valve zones day by day, as trees feel it, from evapotranspiration and the irrigation log.

The mean of two figures, each right where the other fails: evapotranspiration since the zone's last set, which
knows nothing of how much a set brought, and the depletion by the log's books, which adds up every error. A
set that nobody wrote down would make a zone look ever drier, so what is past is capped; and trees take a day
or two to recover after a set. On sandy soils figures count for more, on clays for less. A judgement.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.drying_by_soil import MEASURES

CAP_IN_GAPS = 1.2
"""A zone is at most so many usual gaps between sets dry, until the last day whose sets are known."""
MOSTLY = 0.6
RECOVERY = 0.5
"""Share of the way back to less dryness that trees go in a day."""
MOST_MM = 200.0
"""Drier than this no zone is taken to be: a log of one set a season would have it grow without end [mm]."""
LATE_DAYS = 7
"""Days of late whose use goes on."""
SOIL_CLASS = {
    "very coarse sand": "sandy",
    "sand": "sandy",
    "sandy loam": "sandy",
    "loam": "loam",
    "clay loam": "clay",
    "clay": "clay",
}
"""By class of texture; what is not known is taken for a loam."""
OF_SOIL = {texture: MEASURES[kind] for texture, kind in SOIL_CLASS.items()}
"""The measure by which dryness counts, by class of texture."""


@dataclass(frozen=True)
class WaterDays:
    """What dryness is worked out from, D days in a row and Z zones.

    Parameters
    ----------
    et_mm : array, shape (D,)
        Evapotranspiration of each day; of days to come what is expected [mm].
    set_mm : array, shape (D, Z)
        What sets brought on each day, or will; 0 for none [mm].
    known : int
        Days at the start whose sets are known from the log; those after are planned.
    rain_mm : array, shape (D,), optional
        Rain that counts [mm].
    use_mm : array, shape (D, Z), optional
        What the crop of each zone uses, for the books; by default ``et_mm`` [mm].
    """

    et_mm: Floats
    set_mm: Floats
    known: int
    rain_mm: Floats | None = None
    use_mm: Floats | None = None

    def followed_by(self, et_mm: Floats, set_mm: Floats) -> WaterDays:
        """Put days to come behind, without rain.

        Parameters
        ----------
        et_mm : array, shape (F,)
            Expected evapotranspiration [mm].
        set_mm : array, shape (F, Z)
            Planned sets [mm].

        Returns
        -------
        WaterDays
        """
        use = self.use_mm
        if use is not None:  # crops go on using what they used of late
            share = use[-LATE_DAYS:].mean(axis=0) / max(float(self.et_mm[-LATE_DAYS:].mean()), 1e-9)
            use = np.vstack([use, np.outer(et_mm, share)])
        rain = self.rain_mm
        return WaterDays(
            np.concatenate([self.et_mm, et_mm]),
            np.vstack([self.set_mm, set_mm]),
            self.known,
            None if rain is None else np.concatenate([rain, np.zeros(len(et_mm))]),
            use,
        )


def with_closed_books(days: WaterDays, block: Ints) -> WaterDays:
    """Lower the use of each block to what its sets and the rain brought over the days of the log.

    Rates, coefficients and shares of shade are wrong by tens of per cent; a book that loses more than it gets
    says nothing but "empty" after some weeks. What comes and goes from set to set, and which zone got less
    than its neighbours, stays. A block that got more than it used lets the rest drain: its use stays.

    Parameters
    ----------
    days : WaterDays
        D days, Z zones.
    block : array of int, shape (Z,)
        Block of each zone.

    Returns
    -------
    WaterDays

    Examples
    --------
    >>> sets = np.zeros((20, 2))
    >>> sets[::5, 0] = sets[2::5, 1] = 20.0
    >>> days, one_block = WaterDays(np.full(20, 8.0), sets, 20), np.zeros(2, dtype=np.int64)
    >>> with_closed_books(days, one_block).use_mm[0].tolist()
    [4.0, 4.0]
    """
    use = np.broadcast_to(days.et_mm[:, None], days.set_mm.shape) if days.use_mm is None else days.use_mm
    came = days.set_mm[: days.known].sum(axis=0)
    rain = 0.0 if days.rain_mm is None else float(days.rain_mm[: days.known].sum())
    share = (came + rain) / np.maximum(use[: days.known].sum(axis=0), 1e-9)
    closed = np.ones(len(block))
    for b in np.unique(block):
        own = np.flatnonzero((block == b) & (came > 0))
        closed[block == b] = min(1.0, float(np.median(share[own]))) if len(own) else 1.0
    return replace(days, use_mm=use * closed)


def usual_gap_days(set_mm: Floats, block: Ints) -> Floats:
    """Give the usual days between sets in the block of each zone.

    Parameters
    ----------
    set_mm : array, shape (D, Z)
        What sets brought on each day of the log [mm].
    block : array of int, shape (Z,)
        Block of each zone.

    Returns
    -------
    array, shape (Z,)
        The median over the block's zones, else over all zones, else the days of the log. Days in a row are
        one set, cut at midnight, except where that is how most sets are: water every day.

    Examples
    --------
    >>> sets = np.zeros((20, 3))
    >>> sets[[0, 7, 14], 0] = sets[[1, 8, 16], 1] = 20.0
    >>> usual_gap_days(sets, np.array([0, 0, 1])).tolist()
    [7.0, 7.0, 7.0]
    """
    gaps = [_between_sets(np.flatnonzero(own > 0)) for own in set_mm.T]
    every = np.concatenate([*gaps, np.zeros(0, dtype=np.int64)])
    other = float(np.median(every)) if len(every) else float(len(set_mm))
    found = {}
    for b in np.unique(block):
        own = np.concatenate([gaps[z] for z in np.flatnonzero(block == b)])
        found[b] = float(np.median(own)) if len(own) else other
    return np.array([found[b] for b in block])


def _between_sets(day: Ints) -> Ints:
    gaps = np.diff(day)
    return gaps if (gaps == 1).sum() > MOSTLY * len(gaps) else gaps[gaps > 1]


def felt_dryness(days: WaterDays, capacity_mm: Floats, gap_days: Floats, soil: Floats) -> Floats:
    """Work out how dry zones are on each day, as their trees feel it.

    Parameters
    ----------
    days : WaterDays
        Evapotranspiration, sets and rain.
    capacity_mm : array, shape (Z,)
        Most that the books can be short of: what the wetted root zone holds [mm].
    gap_days : array, shape (Z,)
        From :func:`usual_gap_days`.
    soil : array, shape (Z,)
        From :data:`OF_SOIL`.

    Returns
    -------
    array, shape (D, Z)
        At the end of each day, by the measure of a loam [mm]; of a zone without a set in the log the mean of
        the others, since nothing tells it.

    Examples
    --------
    A set every four days that brings back all; a day after it trees still feel half of what they felt:

    >>> sets = np.zeros((9, 1))
    >>> sets[[0, 4, 8]] = 24.0
    >>> one = np.ones(1)
    >>> felt_dryness(WaterDays(np.full(9, 6.0), sets, 9), 100 * one, 4 * one, one)[3:, 0].tolist()
    [18.0, 9.0, 7.5, 12.0, 18.0, 9.0]
    """
    et, sets = days.et_mm, days.set_mm
    rain = np.zeros(len(et)) if days.rain_mm is None else days.rain_mm
    use = np.broadcast_to(et[:, None], sets.shape) if days.use_mm is None else days.use_mm
    usual = float(et[: days.known].mean()) if days.known else float(et.mean())
    cap = CAP_IN_GAPS * gap_days * usual
    since = np.minimum(gap_days * usual / 2, capacity_mm)
    book, felt, over = since.copy(), since.copy(), np.zeros(len(cap))
    found = np.empty(sets.shape)
    for day in range(len(et)):
        came = sets[day] > 0
        since = np.where(came, 0.0, np.maximum(since + et[day] - rain[day], 0.0))
        book = np.clip(book + use[day] - rain[day] - sets[day], 0.0, capacity_mm)
        dry = (since + book) / 2
        # what is over the cap when the log ends is a set that nobody wrote down; from there on it is no more
        over = np.maximum(dry - cap, 0.0) if day < days.known else np.where(came, 0.0, over)
        dry = np.clip(dry - over, 0.0, MOST_MM)
        felt = np.where(dry < felt, felt + RECOVERY * (dry - felt), dry)
        found[day] = felt
    logged = (sets[: days.known] > 0).any(axis=0)
    if logged.any():
        found[:, ~logged] = found[:, logged].mean(axis=1, keepdims=True)
    return np.asarray(found * soil)
