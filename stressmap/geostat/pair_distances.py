"""Geometry of a zone for block kriging: cells gathered, discretisation points, cell pairs by distance."""

from __future__ import annotations

import numpy as np

from stressmap.geostat.kernels import compiled


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
    best, apart = np.full(columns * rows, -1, dtype=np.int64), np.empty(columns * rows)
    for i in range(xy.shape[0]):
        c = np.int64(np.floor((xy[i, 0] - low[0]) / side + 1e-9))
        r = np.int64(np.floor((xy[i, 1] - low[1]) / side + 1e-9))
        dx, dy = xy[i, 0] - low[0] - (c + 0.5) * side, xy[i, 1] - low[1] - (r + 0.5) * side
        away = np.round(np.sqrt(dx * dx + dy * dy) * 1e6)
        place = c * rows + r
        k = best[place]
        nearer = k < 0 or away < apart[place]
        if not nearer and away == apart[place]:
            nearer = xy[i, 0] < xy[k, 0] or (xy[i, 0] == xy[k, 0] and xy[i, 1] < xy[k, 1])
        if nearer:
            best[place], apart[place] = i, away
    return best


@compiled
def gather(xy, low, side, columns, rows):  # type: ignore[no-untyped-def]
    """Gather cells by squares: the mean place of each square's cells and their share of all.

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
    middle : array, shape (k, 2)
        [m].
    share : array, shape (k,)
        Sum one.
    """
    total, held = np.zeros((columns * rows, 2)), np.zeros(columns * rows, dtype=np.int64)
    for i in range(xy.shape[0]):
        c = np.int64(np.floor((xy[i, 0] - low[0]) / side + 1e-9))
        r = np.int64(np.floor((xy[i, 1] - low[1]) / side + 1e-9))
        total[c * rows + r, 0] += xy[i, 0] - low[0]
        total[c * rows + r, 1] += xy[i, 1] - low[1]
        held[c * rows + r] += 1
    middle, share, k = np.empty((xy.shape[0], 2)), np.empty(xy.shape[0]), 0
    for place in range(columns * rows):
        if held[place] > 0:
            for axis in range(2):
                middle[k, axis] = low[axis] + total[place, axis] / held[place]
            share[k] = held[place] / xy.shape[0]
            k += 1
    return middle[:k], share[:k]


@compiled
def lattice_step(xy):  # type: ignore[no-untyped-def]
    """Find the step of the lattice that cells lie on, from cells that follow each other; 0 if on none."""
    step = np.inf
    for i in range(1, xy.shape[0]):
        for k in range(2):
            gap = abs(xy[i, k] - xy[i - 1, k])
            if 1e-3 < gap < step:
                step = gap
    for i in range(xy.shape[0]):
        for k in range(2):
            steps = (xy[i, k] - xy[0, k]) / step
            if abs(steps - np.round(steps)) * step > 1e-4:
                return 0.0
    return step if np.isfinite(step) else 0.0


@compiled
def _lattice_indices(xy, step):  # type: ignore[no-untyped-def]
    """Give the column and row of cells on a lattice, and how many columns and rows they span."""
    across, size = np.zeros((xy.shape[0], 2), dtype=np.int64), np.zeros(2, dtype=np.int64)
    for k in range(2):
        low = xy[0, k]
        for i in range(xy.shape[0]):
            low = min(low, xy[i, k])
        for i in range(xy.shape[0]):
            across[i, k] = np.int64(np.round((xy[i, k] - low) / step)) if step > 0 else 0
            size[k] = max(size[k], across[i, k] + 1)
    return across, size


@compiled
def pair_distances(xy, step):  # type: ignore[no-untyped-def]
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
    cells = xy.shape[0]
    pairs = cells * (cells - 1) // 2
    across, size = _lattice_indices(xy, step)
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
