"""Change of support, from points to zone means: the cells of each zone and its discretisation points."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from stressmap.core.arrays import Floats, Ints

DISCRETISATION_POINTS = 500
"""Discretisation points of a zone, for covariances; with more its variance changes below 0.5 %."""


def cells_by_zone(zone: Ints, count: int) -> Iterator[tuple[int, Ints]]:
    """Go through the zones that have cells.

    Parameters
    ----------
    zone : array of int, shape (m,)
        Zone of each cell, -1 for none.
    count : int
        Number of zones.

    Yields
    ------
    zone : int
        Code.
    cells : array of int
        Its cells, in their own order.

    Examples
    --------
    >>> [(z, list(map(int, c))) for z, c in cells_by_zone(np.array([1, -1, 0, 1]), 2)]
    [(0, [2]), (1, [0, 3])]
    """
    order = np.argsort(zone, kind="stable")
    start, end = (np.searchsorted(zone[order], np.arange(count), side=s) for s in ("left", "right"))
    for code in range(count):
        if end[code] > start[code]:
            yield code, order[start[code] : end[code]]


def discretise(xy: Floats, most: int = DISCRETISATION_POINTS) -> Ints:
    """Discretise a large zone: choose one cell from each square of a coarser lattice.

    Deterministic, and the same whatever the order of the cells: squares are laid from the zone's south-west
    corner, of each the cell nearest to its middle is taken.

    Parameters
    ----------
    xy : array of float, shape (m, 2)
        Cell centres [m].
    most : int
        At most about this many points.

    Returns
    -------
    array of int
        Indices into ``xy``, all of them when ``m <= most``.

    Examples
    --------
    >>> grid = np.stack(np.meshgrid(np.arange(20.0), np.arange(20.0)), axis=-1).reshape(-1, 2)
    >>> len(discretise(grid, 100))
    81
    """
    if len(xy) <= most:
        return np.arange(len(xy))
    from stressmap.geostat.pair_distances import nearest_to_centres

    low, high = xy.min(axis=0), xy.max(axis=0)
    side = float(np.sqrt(np.prod(np.maximum(high - low, 1.0)) / most))
    while True:
        columns, rows = (np.floor((high - low) / side + 1e-9).astype(int) + 1).tolist()
        nearest: Ints = nearest_to_centres(xy, low, side, columns, rows)
        chosen = nearest[nearest >= 0]
        if len(chosen) <= most:
            return np.sort(chosen)
        side *= float(np.sqrt(len(chosen) / most)) * 1.02
