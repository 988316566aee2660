"""Geometry of a zone for block kriging: cells gathered, discretisation points, cell pairs by distance."""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.kernels import compiled

LEAST_GAP_M, ON_LATTICE_M = 1e-3, 1e-4
"""Cells nearer than the first are of one row or column; those further than the second off it are on none."""


@compiled
def nearest_to_centres(xy, low, side, columns, rows):  # type: ignore[no-untyped-def]
    """Give for each square the cell nearest to its centre.

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
    array of int, shape (columns * rows,)
        Indices into ``xy``, -1 where a square holds no cell.
    """
    best, apart = np.empty(columns * rows, dtype=np.int64), np.empty(columns * rows)
    for place in range(columns * rows):
        best[place] = -1
    for i in range(xy.shape[0]):
        c = np.int64(np.floor((xy[i, 0] - low[0]) / side + 1e-9))
        r = np.int64(np.floor((xy[i, 1] - low[1]) / side + 1e-9))
        dx, dy = xy[i, 0] - low[0] - (c + 0.5) * side, xy[i, 1] - low[1] - (r + 0.5) * side
        away = np.floor(np.sqrt(dx * dx + dy * dy) * 1e6 + 0.5)
        place = c * rows + r
        k = best[place]
        nearer = k < 0 or away < apart[place]
        if not nearer and away == apart[place]:
            nearer = xy[i, 0] < xy[k, 0] or (xy[i, 0] == xy[k, 0] and xy[i, 1] < xy[k, 1])
        if nearer:
            best[place], apart[place] = i, away
    return best


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
    distance, count = _pair_distances(xy, step, *_lattice_indices(xy, step))
    return distance, count


@compiled
def _pair_distances(xy, step, across, size):  # type: ignore[no-untyped-def]
    """Count pairs by distance, given each cell's column and row and how many columns and rows there are."""
    cells = xy.shape[0]
    pairs = cells * (cells - 1) // 2
    table = np.zeros(size[0] * size[1] if step > 0 else 0)
    if step == 0 or len(table) > pairs:
        distance, k = np.empty(pairs), 0
        for i in range(cells):
            for j in range(i):
                dx, dy = xy[i, 0] - xy[j, 0], xy[i, 1] - xy[j, 1]
                distance[k] = np.sqrt(dx * dx + dy * dy)
                k += 1
        return distance, np.ones(pairs)
    for i in range(cells):
        for j in range(i):
            table[abs(across[i, 0] - across[j, 0]) * size[1] + abs(across[i, 1] - across[j, 1])] += 1.0
    distance, count, k = np.empty(len(table)), np.empty(len(table)), 0
    for place in range(len(table)):
        if table[place] > 0:
            a, b = place // size[1], place % size[1]
            distance[k], count[k] = step * np.sqrt(float(a * a + b * b)), table[place]
            k += 1
    return distance[:k], count[:k]
