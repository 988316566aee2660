"""Readings written in another unit than their neighbours, told by a factor of ten or so.

Thresholds are common practice, no source: at midday trees of one orchard rarely differ fivefold, and hardly
any shows less than 2.5 bar or more than 70.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

NEIGHBOURS = 8
FACTORS = ((5.0, 25.0), (60.0, 160.0))
"""Ratios that a unit explains: MPa or a lost decimal (10), psi (14.5), and kPa or hectopascal (100)."""
LOW_BAR = 4.0
"""Below this a reading may be MPa where a third of its neighbours say so; up to 7 bar, where most do."""
LEAST_BAR = 2.5


def off_by_a_unit(pressure_bar: NDArray[np.float64], xy: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Find readings that another unit explains better than their own.

    Parameters
    ----------
    pressure_bar : array of float, shape (n,)
        Balance pressures of one crop and day [bar], positive, finite.
    xy : array of float, shape (n, 2)
        Easting and northing [m]; NaN where a reading has no place (it is then compared with all).

    Returns
    -------
    array of bool, shape (n,)

    Examples
    --------
    >>> near = np.column_stack([np.arange(8.0), np.zeros(8)])
    >>> off_by_a_unit(np.array([12.0, 13.5, 1.25, 11.0, 14.0, 12.5, 13.0, 130.0]), near).tolist()
    [False, False, True, False, False, False, False, True]
    """
    n = len(pressure_bar)
    if n < 4:
        return np.zeros(n, dtype=bool)
    around = _neighbours(pressure_bar, xy)
    ratio = around / pressure_bar[:, None]
    share_up = _explained(ratio)
    middle = np.nanmedian(around, axis=1)
    low = (pressure_bar < LOW_BAR) & (share_up >= 0.3)
    low |= (pressure_bar < 7.0) & (share_up >= 0.6)
    low |= (pressure_bar < LEAST_BAR) & (middle >= 6.0)
    trusted = np.where(low[_nearest(xy)], np.nan, around)
    counted = np.isfinite(trusted).sum(axis=1)
    share_down = _explained(pressure_bar[:, None] / trusted)
    high = (share_down >= 0.6) & (counted >= 3) & (pressure_bar >= 20.0) & ~low
    found: NDArray[np.bool_] = low | high | _whole_column(pressure_bar)
    return found


def _whole_column(pressure_bar: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Find the readings of a day that is, as a whole, no day in bar."""
    middle = float(np.median(pressure_bar))
    if middle < LEAST_BAR:
        return pressure_bar < LOW_BAR
    if middle > 70.0:
        return pressure_bar > 40.0
    return np.zeros(len(pressure_bar), dtype=bool)


def _nearest(xy: NDArray[np.float64]) -> NDArray[np.int64]:
    """Index the nearest others, shape (n, k); one without a place gets others spread over all."""
    n = len(xy)
    k = min(NEIGHBOURS, n - 1)
    spread = np.linspace(0, n - 1, k).astype(int)
    index = np.tile(spread, (n, 1))
    placed = np.flatnonzero(np.isfinite(xy).all(axis=1))
    if len(placed) > k:
        tree = cKDTree(xy[placed])
        # nudging by the index keeps the neighbours of coincident readings different from themselves
        found = tree.query(xy[placed], k=k + 1)[1]
        own = found == np.arange(len(placed))[:, None]
        own[~own.any(axis=1), -1] = True
        index[placed] = placed[found[~own].reshape(len(placed), k)]
    return index


def _neighbours(pressure_bar: NDArray[np.float64], xy: NDArray[np.float64]) -> NDArray[np.float64]:
    return pressure_bar[_nearest(xy)]


def _explained(ratio: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give for each row the share of ratios that a change of unit explains."""
    fits = np.zeros(ratio.shape, dtype=bool)
    for least, most in FACTORS:
        fits |= (ratio >= least) & (ratio <= most)
    counted = np.isfinite(ratio).sum(axis=1)
    return np.asarray(fits.sum(axis=1) / np.maximum(counted, 1))
