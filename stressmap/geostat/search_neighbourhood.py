"""Search neighbourhoods: the readings of each kriging system and of each part of the composite likelihood."""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Floats, Ints

UNIQUE_NEIGHBOURHOOD = 256
"""Readings up to which one unique neighbourhood serves the ranch; above, the most in a block's system."""
MOVING_NEIGHBOURHOOD = 64
"""Readings to which a block's own are filled up with the nearest others, in a moving neighbourhood."""


def likelihood_groups(xy: Floats, block: Ints, most: int = UNIQUE_NEIGHBOURHOOD) -> list[Ints]:
    """Cut the readings into parts of whole neighbouring blocks, to be taken as independent in the fit.

    The ranch is halved along its longer side, blocks kept whole, until every part is small; a single block
    with more readings is halved likewise. Derived here: a composite likelihood of parts that are wide beside
    the pattern's range.

    Parameters
    ----------
    xy : array of float, shape (n, 2)
        [m].
    block : array of int, shape (n,)
        Block codes.
    most : int
        Readings in a part.

    Returns
    -------
    list of array of int
        Indices of the readings, each reading once.

    Examples
    --------
    >>> at = np.array([[0.0, 0.0], [1.0, 0.0], [9.0, 0.0], [10.0, 0.0]])
    >>> [g.tolist() for g in likelihood_groups(at, np.array([0, 0, 1, 1]), most=2)]
    [[0, 1], [2, 3]]
    """
    codes, which = np.unique(block, return_inverse=True)
    size = np.bincount(which)
    centre = np.stack([np.bincount(which, weights=c) / size for c in xy.T], axis=1)
    groups = []
    for blocks in _halve(centre, size, np.arange(len(codes)), most):
        inside = np.flatnonzero(np.isin(which, blocks))
        if len(inside) > most:
            ones = np.ones(len(inside), dtype=np.int64)
            groups += [inside[p] for p in _halve(xy[inside], ones, np.arange(len(inside)), most)]
        else:
            groups.append(inside)
    return groups


def _halve(at: Floats, size: Ints, index: Ints, most: int) -> list[Ints]:
    if size[index].sum() <= most or len(index) == 1:
        return [index]
    axis = int(np.argmax(np.ptp(at[index], axis=0)))
    order = index[np.lexsort((index, at[index, 1 - axis], at[index, axis]))]
    half = np.searchsorted(np.cumsum(size[order]), size[order].sum() / 2) + 1
    half = min(max(int(half), 1), len(order) - 1)
    return _halve(at, size, order[:half], most) + _halve(at, size, order[half:], most)


def nearest(apart: Floats, count: int) -> Ints:
    """Find the least of some distances without sorting them all.

    Parameters
    ----------
    apart : array of float, shape (n,)
        [m].
    count : int
        How many are wanted.

    Returns
    -------
    array of int
        At most so many positions, the least first; of equal ones the first.

    Examples
    --------
    >>> nearest(np.array([5.0, 1.0, 3.0, 1.0, 3.0]), 3).tolist()
    [1, 3, 2]
    """
    if not 0 < count < len(apart):
        return np.argsort(apart, kind="stable")[: max(count, 0)]
    few = np.flatnonzero(apart <= np.partition(apart, count - 1)[count - 1])
    return few[np.argsort(apart[few], kind="stable")[:count]]


def kriging_neighbourhood(xy: Floats, block: Ints, blocks: Ints, centre: Floats, *, reach_m: float) -> Ints:
    """Choose the readings from which some blocks are kriged.

    All of them when the ranch has at most :data:`UNIQUE_NEIGHBOURHOOD`. Otherwise the blocks' own, the
    nearest :data:`UNIQUE_NEIGHBOURHOOD` of them if there are more, filled up to
    :data:`MOVING_NEIGHBOURHOOD` with the nearest others within reach.

    Parameters
    ----------
    xy : array of float, shape (n, 2)
        Readings [m].
    block : array of int, shape (n,)
        Their blocks.
    blocks : array of int
        Blocks to be kriged.
    centre : array of float, shape (2,)
        Middle of what is to be kriged [m].
    reach_m : float
        How far another block's reading may be [m].

    Returns
    -------
    array of int
        Indices, sorted.
    """
    if len(xy) <= UNIQUE_NEIGHBOURHOOD:
        return np.arange(len(xy))
    own = np.flatnonzero(np.isin(block, blocks))
    if len(own) >= MOVING_NEIGHBOURHOOD:
        apart = np.hypot(*(xy[own] - centre).T)
        return np.sort(own[nearest(apart, UNIQUE_NEIGHBOURHOOD)])
    others = np.flatnonzero(~np.isin(block, blocks))
    middle = xy[own].mean(axis=0) if len(own) else centre
    apart = np.hypot(*(xy[others] - middle).T)
    extent = float(np.hypot(*(xy[own] - middle).T).max()) if len(own) else 0.0
    near = nearest(apart, MOVING_NEIGHBOURHOOD - len(own))
    near = near[apart[near] <= reach_m + extent]
    return np.sort(np.concatenate([own, others[near]]))
