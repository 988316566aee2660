"""Compiled loops over the cells of a zone: which of them stand for it, and how far apart they lie."""

from __future__ import annotations

import numpy as np

from stressmap.field.loops import compiled


@compiled
def nearest_to_middles(xy, low, side, columns, rows):  # type: ignore[no-untyped-def]
    """Give the cell nearest to the middle of each square that holds one, in the order of the cells.

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
    array of int
        Indices into ``xy``.
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
    return np.sort(best[best >= 0])


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
def pair_distances(xy, step):  # type: ignore[no-untyped-def]
    """Count how often each distance lies between two different cells.

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
    across = np.zeros((cells, 2), dtype=np.int64)
    if step > 0:
        for i in range(cells):
            across[i, 0] = np.int64(np.round((xy[i, 0] - xy[:, 0].min()) / step))
            across[i, 1] = np.int64(np.round((xy[i, 1] - xy[:, 1].min()) / step))
    high = across[:, 1].max() + 1
    table = np.zeros((across[:, 0].max() + 1) * high if step > 0 else 0)
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
            table[abs(across[i, 0] - across[j, 0]) * high + abs(across[i, 1] - across[j, 1])] += 1.0
    there = np.flatnonzero(table)
    return step * np.sqrt((there // high) ** 2.0 + (there % high) ** 2.0), table[there]
