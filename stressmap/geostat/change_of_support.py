"""Change of support, from points to zone means: the cells of each zone and its discretisation points."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.trend import count_codes

DISCRETISATION_POINTS = 500
"""Discretisation points of a zone, for covariances; with more its variance changes below 0.5 %."""
GATHERED_M = 10.0
"""Cells finer than this are gathered by squares of it for their mean correlation with readings [m]."""
GATHERED_OF_RANGE = 0.4
"""But no wider than this part of the shortest range: the mean then moves by less than 0.003 bar."""
MOST_SQUARES = 4
"""Squares for each cell, at most: scattered cells are not gathered, nor those of a small zone."""


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
    from stressmap.geostat.pair_distances import extent, lowest, nearest_to_centres

    low, far = lowest(xy), extent(xy)
    side = float(np.sqrt(np.prod(np.maximum(far, 1.0)) / most))
    while True:
        columns, rows = (np.floor(far / side + 1e-9).astype(int) + 1).tolist()
        chosen = nearest_to_centres(xy, low, side, columns, rows)
        if len(chosen) <= most:
            return np.sort(chosen)
        side *= float(np.sqrt(len(chosen) / most)) * 1.02


def averaging_points(places: Places, zone: Ints, count: int, most: int) -> tuple[Places, Floats]:
    """Give discretisation points of zones and the matrix that takes the mean over those of each zone.

    Parameters
    ----------
    places : Places
        Cells, m of them, at least one of them in a zone.
    zone : array of int, shape (m,)
        Zone of each cell, -1 for none.
    count : int
        Number of zones.
    most : int
        Points of a zone.

    Returns
    -------
    points : Places
        k of the cells.
    mean : array of float, shape (count, k)
        Zeros in the row of a zone without cells.

    Examples
    --------
    >>> one = np.zeros(3, dtype=np.int64)
    >>> cells = Places(np.array([[0.0, 0.0], [9.0, 0.0], [5.0, 5.0]]), one, one, one)
    >>> averaging_points(cells, np.array([0, 0, 1]), 2, 4)[1].tolist()
    [[0.5, 0.5, 0.0], [0.0, 0.0, 1.0]]
    """
    numbers, insides = zip(*cells_by_zone(zone, count), strict=True)
    chosen = [inside[discretise(places.xy[inside], most)] for inside in insides]
    sizes = np.array([len(points) for points in chosen])
    mean = np.zeros((count, sizes.sum()))
    mean[np.repeat(numbers, sizes), np.arange(sizes.sum())] = np.repeat(1.0 / sizes, sizes)
    return places.take(np.concatenate(chosen)), mean


@dataclass(frozen=True)
class ZoneCells:
    """The cells of one zone, and what of them every method asks for.

    Parameters
    ----------
    places : Places
        m of them.
    correlations : dict of int to tuple
        Mean correlations with readings, and among the cells, that were worked out: by the identity of the
        readings' places, which are kept beside them.
    """

    places: Places
    correlations: dict[int, tuple[Floats, Floats, Floats]] = field(default_factory=dict, repr=False)

    @cached_property
    def blocks(self) -> Ints:
        """Codes of the blocks that it lies in, sorted."""
        return count_codes(self.places.block)[0]

    @cached_property
    def middle(self) -> Floats:
        """The mean place of its cells [m]."""
        return np.array([self.places.xy[:, 0].mean(), self.places.xy[:, 1].mean()])

    def gathered(self, shortest_m: float) -> tuple[Floats, Floats]:
        """Gather the cells by squares that are small beside the shortest range.

        Parameters
        ----------
        shortest_m : float
            The shortest range [m].

        Returns
        -------
        middle : array, shape (k, 2)
            Mean place of each square's cells [m].
        share : array, shape (k,)
            Their share of all; sum one.
        """
        from stressmap.geostat.pair_distances import extent, gather

        side = min(GATHERED_M, GATHERED_OF_RANGE * shortest_m)
        squares = np.prod(np.floor(extent(self.places.xy) / side) + 1)
        if not DISCRETISATION_POINTS < len(self.places) >= squares / MOST_SQUARES:
            return self.places.xy, np.full(len(self.places), 1.0 / len(self.places))
        return gather(self.places.xy, side)

    @cached_property
    def pairs(self) -> tuple[Floats, Floats, int]:
        """Distances between its discretisation points [m], how many pairs have each, how many points."""
        from stressmap.geostat.pair_distances import lattice_step, pair_distances

        xy = np.ascontiguousarray(self.places.xy - self.middle)
        few = np.ascontiguousarray(xy[discretise(xy)])
        return (*pair_distances(few, lattice_step(xy)), len(few))


@dataclass(frozen=True, eq=False)
class ZoneSet:
    """The zones that were asked about last.

    Parameters
    ----------
    places, zone : Places, array of int
        As they were asked for.
    cells : dict of int to ZoneCells
        By zone, of those that have cells.
    answers : WeakKeyDictionary of object to Estimate
        What fitted methods have answered, by method, as long as that is there.
    """

    places: Places
    zone: Ints
    cells: dict[int, ZoneCells]
    answers: WeakKeyDictionary[object, Estimate] = field(default_factory=WeakKeyDictionary)


def zone_set(places: Places, zone: Ints, count: int) -> ZoneSet:
    """Take the cells of each zone; those of the same arrays as the last time in this thread are kept.

    Several surfaces are asked about the same zones one after the other: with memory and without, the visit
    before, the change.

    Parameters
    ----------
    places : Places
        Cells, m of them.
    zone : array of int, shape (m,)
        Zone of each, -1 for none.
    count : int
        Number of zones.

    Returns
    -------
    ZoneSet
    """
    last: ZoneSet | None = getattr(_here, "last", None)
    if last is None or last.places is not places or last.zone is not zone:
        last = ZoneSet(
            places, zone, {code: ZoneCells(places.take(cells)) for code, cells in cells_by_zone(zone, count)}
        )
        _here.last = last
    return last


_here = threading.local()
"""The zones that this thread asked about last."""
