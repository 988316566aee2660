"""Fine cells kriged on a coarser lattice: exact at its nodes and near readings, bicubic in between.

Within one block, valve zone and crop, mean and variance are smooth but at the readings, where a correlation
has its cusp. Steps between blocks and valve zones are not interpolated: each is kriged on nodes of its own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Bools, Floats, Ints
from stressmap.geostat.kriging import KrigingSystem
from stressmap.geostat.pair_distances import extent, lattice_step
from stressmap.geostat.samples import Places

NODES_M = 10.0
"""Side of the coarse lattice [m]."""
NODES_OF_RANGE = 0.4
"""But no wider than this part of the shortest range: mean and standard error move by 0.005 bar at most."""
CELLS_ACROSS = 3
"""Cells across a square of the coarse lattice, at least: with fewer, nodes and edges cost what is won."""
NEAR_SQUARES = 1.0
"""Squares nearer to a reading than this, in their own sides, are kriged cell by cell."""
MOST_SPREAD = 8
"""Cells of the rectangle around all for each cell, at most: scattered ones are kriged one by one."""
LEAST_CELLS = 256
LEAST_READINGS = 40
"""Fewer cells, and those of fewer readings, are kriged one by one, which is quicker."""


@dataclass(frozen=True)
class CellLines:
    """Lines of cells along one axis, among the squares of the coarse lattice: multiples of its side.

    Parameters
    ----------
    line : array of int, shape (m,)
        Of each cell.
    at : array, shape (lines,)
        Where each line is, in sides.
    low : int
        The first node: one side before the square of the first line.
    """

    line: Ints
    at: Floats
    low: int

    @classmethod
    def of(cls, place: Floats, step: float, side: float) -> CellLines:
        """Take the lines of cells at some places along the axis [m], so many metres apart."""
        first = float(place.min())
        line = np.round((place - first) / step).astype(np.int64)
        at = (first + step * np.arange(int(line.max()) + 1)) / side
        return cls(line, np.asarray(at, dtype=np.float64), int(np.floor(at[0])) - 1)

    @property
    def squares(self) -> Ints:
        """The square of each line, counted from the first node; rising, from 1 on."""
        return np.floor(self.at).astype(np.int64) - self.low

    def weights(self) -> Floats:
        """Return each node's weight in each line, shape (lines, nodes): Lagrange's cubic through four."""
        square, u = self.squares, self.at - np.floor(self.at)
        weight = np.zeros((len(u), int(square[-1]) + 3))
        parts = (
            -u * (u - 1) * (u - 2) / 6,
            (u + 1) * (u - 1) * (u - 2) / 2,
            -(u + 1) * u * (u - 2) / 2,
            (u + 1) * u * (u - 1) / 6,
        )
        for k, part in enumerate(parts):
            weight[np.arange(len(u)), square - 1 + k] = part
        return weight

    def near(self, place: Floats) -> Floats:
        """Tell which squares are near which places, given in sides, shape (squares, n): 1 or 0."""
        middle = np.arange(int(self.squares[-1]) + 1) + self.low + 0.5
        return (np.abs(middle[:, None] - place) < 0.5 + NEAR_SQUARES).astype(np.float64)


def predict_cells(system: KrigingSystem, xy: Floats, drift: Floats | None, kind: Places, out: Floats) -> None:
    """Krige cells that lie in one block, valve zone and crop, on a coarser lattice where they are fine.

    Parameters
    ----------
    system : KrigingSystem
        Solved.
    xy : array, shape (m, 2)
        Cells [m].
    drift : array, shape (m,), or None
        Standardised covariate; with one, which need not be smooth, cells are kriged one by one.
    kind : Places
        Any one of them.
    out : array, shape (2, m)
        Mean [bar] and variance [bar²], written.
    """
    side = min(NODES_M, NODES_OF_RANGE * system.shortest_m)
    worth = drift is None and len(xy) >= LEAST_CELLS and len(system.index) >= LEAST_READINGS
    step = lattice_step(xy) if worth else 0.0
    if step == 0.0 or step * CELLS_ACROSS > side or _scattered(xy, step):
        system.predict_points(xy, np.zeros(len(xy)) if drift is None else drift, kind, out)
        return
    axes = CellLines.of(xy[:, 0], step, side), CellLines.of(xy[:, 1], step, side)
    places = system.readings_xy.T / side
    beside = axes[0].near(places[0]) @ axes[1].near(places[1]).T > 0
    square = axes[0].squares[axes[0].line] * beside.shape[1] + axes[1].squares[axes[1].line]
    exact = beside.reshape(-1)[square]
    if exact.any():
        part = np.empty((2, int(exact.sum())))
        system.predict_points(xy[exact], np.zeros(part.shape[1]), kind, part)
        out[:, exact] = part
    if not exact.all():
        far = np.zeros_like(beside)
        far.reshape(-1)[square] = True
        out[:, ~exact] = _between_nodes(system, axes, far & ~beside, kind, side).take(
            (axes[0].line * len(axes[1].at) + axes[1].line)[~exact], axis=1
        )


def _scattered(xy: Floats, step: float) -> bool:
    across = extent(xy) / step + 1
    return bool(np.prod(across) > MOST_SPREAD * len(xy))


def _between_nodes(
    system: KrigingSystem, axes: tuple[CellLines, CellLines], squares: Bools, kind: Places, side: float
) -> Floats:
    """Krige the nodes around some squares and interpolate along all lines; right in those squares alone."""
    needed = np.zeros((squares.shape[0] + 2, squares.shape[1] + 2), dtype=np.bool_)
    for column, row in np.argwhere(squares):
        needed[column - 1 : column + 3, row - 1 : row + 3] = True
    at = np.argwhere(needed)
    known = np.empty((2, len(at)))
    xy = (at + np.array([axes[0].low, axes[1].low])) * side
    system.predict_points(xy, np.zeros(len(at)), kind, known)
    nodes = np.zeros((2, *needed.shape))
    nodes[:, needed] = known
    found = axes[0].weights() @ nodes @ axes[1].weights().T
    found[1] = np.maximum(found[1], 0.0)
    return np.asarray(found.reshape(2, -1))
