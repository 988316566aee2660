"""Readings written in another unit than their neighbours, told by a factor of ten or so.

Thresholds are common practice, no source: at midday trees of one orchard rarely differ fivefold, and hardly
any shows less than 2.5 bar or more than 70.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

NEIGHBOURS = 8
FEWEST = 3
"""With so many others in its block a reading is held against them only, else against the nearest anywhere."""
FACTORS = ((5.0, 25.0), (60.0, 160.0))
"""Ratios that a unit explains: MPa or a lost decimal (10), psi (14.5), and kPa or hectopascal (100)."""
TENFOLD = ((7.0, 15.0),)
"""What is asked of readings that a wet tree, or a dying one, could show."""
FEW = 400
"""Up to so many readings are compared each with each."""
LEAST_BAR = 2.5
"""Hardly any tree shows less at midday."""
MOST_BAR = 70.0
"""Hardly any tree shows more."""
AGREE = 1.5
"""Two high readings this many times each other, or closer, bear each other out."""
WORTH_DOUBT = 0.3
"""So many of the readings around must be tenfold before a wet tree is doubted; fewer are dry trees."""
WET_BAR = 7.0


def unit_doubts(
    pressure_bar: NDArray[np.float64], xy: NDArray[np.float64], block: NDArray[np.int64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Find readings that another unit explains better than their own, and those that may well be that dry.

    A reading many times as high as its neighbours, which a tree could show, is left alone where another of
    its block, or beside it, agrees with it: such trees may well be that dry.

    Parameters
    ----------
    pressure_bar : array of float, shape (n,)
        Balance pressures of one crop and day [bar], positive, finite.
    xy : array of float, shape (n, 2)
        Easting and northing [m]; NaN where a reading has no place.
    block : array of int, shape (n,)
        Block codes, -1 for none.

    Returns
    -------
    tuple of array of bool, each of shape (n,)
        Those off by a unit, and those that another unit would explain, but that agree.

    Examples
    --------
    >>> near, block = np.column_stack([np.arange(8.0), np.zeros(8)]), np.zeros(8, dtype=int)
    >>> bar = np.array([12.0, 13.5, 1.25, 11.0, 14.0, 12.5, 13.0, 130.0])
    >>> unit_doubts(bar, near, block)[0].tolist()
    [False, False, True, False, False, False, False, True]
    >>> bar = np.array([6.5, 6.0, 7.0, 40.0, 42.0, 6.5, 6.0, 7.0])
    >>> unit_doubts(bar, near, block)[1].tolist()
    [False, False, False, True, True, False, False, False]
    """
    low, high, company = _judged(pressure_bar, xy, block)
    whole = _whole_day(pressure_bar)
    return low | (high & ~company) | whole, high & company & ~whole


def _judged(
    pressure_bar: NDArray[np.float64], xy: NDArray[np.float64], block: NDArray[np.int64]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """Find readings far too low and far too high, and those of the high that agree with another."""
    if len(pressure_bar) < FEWEST + 1:
        none = np.zeros(len(pressure_bar), dtype=bool)
        return none, none, none
    index = _others(xy, block)
    around = np.where(index >= 0, pressure_bar[index], np.nan)
    ratio = around / pressure_bar[:, None]
    dry_day = np.median(pressure_bar) >= 2.4 * LEAST_BAR
    low = (pressure_bar < LEAST_BAR) & (dry_day | (_share(ratio, FACTORS) >= 0.2))
    unlike = np.where((ratio > 0.4) & (ratio < 2.5), np.nan, ratio)
    many = _count(unlike, TENFOLD) >= np.maximum(2, WORTH_DOUBT * np.isfinite(around).sum(axis=1))
    low |= (pressure_bar < WET_BAR) & (_share(unlike, TENFOLD) >= 0.6) & many
    trusted = np.where(low[index], np.nan, around)
    counted = np.isfinite(trusted).sum(axis=1)
    high = (
        (pressure_bar >= 20.0)
        & (_share(pressure_bar[:, None] / trusted, FACTORS) >= 0.6)
        & (counted >= FEWEST)
    )
    high &= ~low
    return low, high, _company(pressure_bar, high, index, block)


def _company(
    pressure_bar: NDArray[np.float64],
    high: NDArray[np.bool_],
    index: NDArray[np.int64],
    block: NDArray[np.int64],
) -> NDArray[np.bool_]:
    """Find high readings that a tree can show and another of the block, or near it, agrees with."""
    able = high & (pressure_bar <= MOST_BAR)
    apart = np.abs(np.log(pressure_bar[index] / pressure_bar[:, None]))
    company = ((index >= 0) & able[index] & (apart <= np.log(AGREE))).any(axis=1)
    order = np.flatnonzero(able & (block >= 0))
    order = order[np.lexsort((pressure_bar[order], block[order]))]
    one, other = order[:-1], order[1:]
    agree = (block[one] == block[other]) & (pressure_bar[other] <= AGREE * pressure_bar[one])
    company[one[agree]] = company[other[agree]] = True
    return np.asarray(company & able)


def _whole_day(pressure_bar: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Find the readings of a day that is, as a whole, no day in bar."""
    middle = float(np.median(pressure_bar))
    if middle < LEAST_BAR:
        return pressure_bar < 4.0
    if middle > MOST_BAR:
        return pressure_bar > 40.0
    return np.zeros(len(pressure_bar), dtype=bool)


def _others(xy: NDArray[np.float64], block: NDArray[np.int64]) -> NDArray[np.int64]:
    """Index the readings that each is held against, shape (n, k), -1 where there are fewer."""
    n = len(xy)
    k = min(NEIGHBOURS, n - 1)
    # without a place: some spread over all
    index = np.tile(np.linspace(0, n - 1, k).astype(int), (n, 1))
    placed = np.flatnonzero(np.isfinite(xy).all(axis=1))
    index[placed] = _nearest(xy, placed, k) if len(placed) > FEWEST else index[placed]
    order = placed[np.argsort(block[placed], kind="stable")]
    for mine in np.split(order, np.flatnonzero(np.diff(block[order])) + 1):
        if len(mine) > FEWEST and block[mine[0]] >= 0:
            index[mine] = _nearest(xy, mine, k)
    return index


def _nearest(xy: NDArray[np.float64], among: NDArray[np.int64], k: int) -> NDArray[np.int64]:
    """Index the k nearest of some readings, themselves left out, padded with -1."""
    size = min(k, len(among) - 1)
    found = _few_nearest(xy[among], size + 1) if len(among) <= FEW else _many_nearest(xy[among], size + 1)
    own = found == np.arange(len(among))[:, None]
    # among readings at one spot the reading itself may not be listed; the last listed goes instead
    own[~own.any(axis=1), -1] = True
    index = np.full((len(among), k), -1)
    index[:, :size] = among[found[~own].reshape(len(among), size)]
    return index


def _few_nearest(xy: NDArray[np.float64], k: int) -> NDArray[np.int64]:
    """Index the k nearest of each, the nearest first; of those as near the first listed."""
    across, along = (xy[:, None] - xy[None]).transpose(2, 0, 1)
    gap = np.hypot(across, along)
    row, near = np.nonzero(gap <= np.partition(gap, k - 1, axis=1)[:, k - 1 : k])
    order = np.lexsort((gap[row, near], row))  # stable: np.nonzero lists in order
    first = np.searchsorted(row, np.arange(len(xy)))
    return np.asarray(near[order][first[:, None] + np.arange(k)])


def _many_nearest(xy: NDArray[np.float64], k: int) -> NDArray[np.int64]:
    from scipy.spatial import cKDTree  # slow to load; few readings are as soon compared one by one

    return np.asarray(cKDTree(xy).query(xy, k=k)[1])


def _count(ratio: NDArray[np.float64], factors: tuple[tuple[float, float], ...]) -> NDArray[np.int64]:
    """Count for each row the ratios that a change of unit explains."""
    fits = np.zeros(ratio.shape, dtype=bool)
    for least, most in factors:
        fits |= (ratio >= least) & (ratio <= most)
    return np.asarray(fits.sum(axis=1))


def _share(ratio: NDArray[np.float64], factors: tuple[tuple[float, float], ...]) -> NDArray[np.float64]:
    """Give for each row the share of its ratios, NaN left out, that a change of unit explains."""
    return np.asarray(_count(ratio, factors) / np.maximum(np.isfinite(ratio).sum(axis=1), 1))
