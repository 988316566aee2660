"""Geometry of a zone for block kriging: cells gathered, discretisation points, cell pairs by distance."""

from __future__ import annotations

import math

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.compiled_code import compiled

LEAST_GAP_M, ON_LATTICE_M = 1e-3, 1e-4
"""Cells nearer than the first are of one row or column; those further than the second off it are on none."""


def nearest_to_centres(xy: Floats, low: Floats, side: float, columns: int, rows: int) -> Ints:
    """Give for each square that holds cells the one nearest to its centre.

    Of cells equally near, to a thousandth of a millimetre, the westernmost is taken, then the southernmost.

    Parameters
    ----------
    xy : array, shape (m, 2)
        Cells [m].
    low : array, shape (2,)
        South-west corner of the squares [m].
    side : float
        Of a square [m].
    columns, rows : int
        How many squares there are.

    Returns
    -------
    array of int, shape (k,)
        Indices into ``xy``, by square.
    """
    best, apart = np.full(columns * rows, -1), np.empty(columns * rows)
    _nearest_to_centres(xy, low, side, rows, best, apart)
    return best[best >= 0]


@compiled
def _nearest_to_centres(xy, low, side, rows, best, apart):  # type: ignore[no-untyped-def]
    """Put the nearest cell of each square into ``best``, -1 as yet, and how far it is into ``apart``."""
    for i in range(xy.shape[0]):
        x, y = xy[i, 0], xy[i, 1]
        c = math.floor((x - low[0]) / side + 1e-9)
        r = math.floor((y - low[1]) / side + 1e-9)
        dx, dy = x - low[0] - (c + 0.5) * side, y - low[1] - (r + 0.5) * side
        away = math.floor(math.sqrt(dx * dx + dy * dy) * 1e6 + 0.5)
        place = c * rows + r
        k = best[place]
        nearer = k < 0 or away < apart[place]
        if not nearer and away == apart[place]:
            nearer = x < xy[k, 0] or (x == xy[k, 0] and y < xy[k, 1])
        if nearer:
            best[place], apart[place] = i, away


def gather(xy: Floats, side: float) -> tuple[Floats, Floats]:
    """Gather cells by squares: the mean place of each square's cells and their share of all.

    Parameters
    ----------
    xy : array, shape (m, 2)
        Cells [m].
    side : float
        Of a square; the first ones begin at the cells' south-west corner [m].

    Returns
    -------
    middle : array, shape (k, 2)
        [m].
    share : array, shape (k,)
        Sum one.

    Examples
    --------
    >>> middle, share = gather(np.array([[0.0, 0.0], [5.0, 0.0], [10.0, 5.0]]), 10.0)
    >>> middle.tolist(), share.round(3).tolist()
    ([[2.5, 0.0], [10.0, 5.0]], [0.667, 0.333])
    """
    low = lowest(xy)
    east, north = (xy - low).T
    column, row = ((part / side + 1e-9).astype(np.int64) for part in (east, north))
    square = column * (int(row.max()) + 1) + row
    held = np.bincount(square)
    there = np.flatnonzero(held)
    total = [np.bincount(square, weights=part)[there] for part in (east, north)]
    return low + np.stack(total, axis=1) / held[there, None], held[there] / len(xy)


def lowest(xy: Floats) -> Floats:
    """Give the south-west corner around cells, shape (2,): quicker by columns than by axis."""
    return np.array([xy[:, 0].min(), xy[:, 1].min()])


def extent(xy: Floats) -> Floats:
    """Give how far cells reach eastwards and northwards, shape (2,) [m]."""
    return np.array([xy[:, 0].max(), xy[:, 1].max()]) - lowest(xy)


def lattice_step(xy: Floats) -> float:
    """Find the step of the lattice that cells lie on, from cells that follow each other.

    Parameters
    ----------
    xy : array, shape (m, 2)
        Cells [m].

    Returns
    -------
    float
        0 if they lie on none [m].

    Examples
    --------
    >>> lattice_step(np.array([[0.0, 0.0], [5.0, 0.0], [15.0, 5.0]]))
    5.0
    """
    gaps = np.abs(np.diff(xy, axis=0))
    step = float(np.min(gaps[gaps > LEAST_GAP_M], initial=np.inf))
    steps = (xy - xy[0]) / step
    return (
        step if np.isfinite(step) and (np.abs(steps - np.round(steps)) * step <= ON_LATTICE_M).all() else 0.0
    )


def _lattice_indices(xy: Floats, step: float) -> tuple[Ints, Ints]:
    """Give the column and row of cells on a lattice, and how many columns and rows they span."""
    if step <= 0:
        return np.zeros((len(xy), 2), dtype=np.int64), np.ones(2, dtype=np.int64)
    across = np.round((xy - lowest(xy)) / step).astype(np.int64)
    return across, np.array([across[:, 0].max(), across[:, 1].max()]) + 1


def pair_distances(xy: Floats, step: float) -> tuple[Floats, Floats]:
    """Count the pairs of different cells at each distance.

    On a lattice a hundred thousand pairs have a few thousand distances among them.

    Parameters
    ----------
    xy : array, shape (m, 2)
        Cells [m].
    step : float
        Of the lattice they lie on, 0 for none [m].

    Returns
    -------
    distance : array, shape (k,)
        [m].
    count : array, shape (k,)
        Of pairs, each taken once.
    """
    cells = len(xy)
    across, size = _lattice_indices(xy, step)
    if step == 0 or size[0] * size[1] > cells * (cells - 1) // 2:
        distance = np.empty(cells * (cells - 1) // 2)
        _all_distances(xy, distance)
        return distance, np.ones(len(distance))
    table = np.zeros(int(size[0] * size[1]))
    _count_pairs(across, int(size[1]), table)
    there = np.flatnonzero(table)
    a, b = there // size[1], there % size[1]
    return step * np.sqrt((a * a + b * b).astype(np.float64)), table[there]


@compiled
def _all_distances(xy, distance):  # type: ignore[no-untyped-def]
    """Put the distance of each cell from all before it into ``distance``."""
    k = 0
    for i in range(xy.shape[0]):
        for j in range(i):
            dx, dy = xy[i, 0] - xy[j, 0], xy[i, 1] - xy[j, 1]
            distance[k] = math.sqrt(dx * dx + dy * dy)
            k += 1


@compiled
def _count_pairs(across, rows, table):  # type: ignore[no-untyped-def]
    """Count pairs by how many columns and rows lie between them, at columns times ``rows`` plus rows."""
    for i in range(across.shape[0]):
        for j in range(i):
            a, b = across[i, 0] - across[j, 0], across[i, 1] - across[j, 1]
            table[(a if a > 0 else -a) * rows + (b if b > 0 else -b)] += 1.0
