"""Where one walks or drives between blocks: around them, along roads, over what lies open between."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from scipy import sparse
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import Delaunay, QhullError

from stressmap.core.arrays import Floats, Ints

STEP_M = 40.0
"""Between nodes along outlines and roads."""
INSIDE_M = 2.0
"""A way may cross a block by so little: outlines of neighbours overlap."""
MOST_NODES = 6_000
"""More nodes than these, and they stand further apart."""


class Headlands:
    """A network of headlands and roads.

    Parameters
    ----------
    outlines : list of shapely geometry
        Of the blocks [m].
    spots : array of float, shape (n, 2)
        Places from which one sets out [m]; they are the last n nodes.
    roads : shapely geometry or None
        Lines.
    """

    def __init__(self, outlines: list[Any], spots: Floats, roads: Any = None) -> None:
        lines = [ring for outline in outlines for ring in _rings(outline)]
        lines += [] if roads is None else [part for part in shapely.get_parts(roads) if part.length > 0]
        step = max(STEP_M, sum(line.length for line in lines) / MOST_NODES)
        pieces = [shapely.get_coordinates(shapely.segmentize(line, step)) for line in lines]
        pieces += list(spots[:, None])
        self.nodes = np.concatenate(pieces)
        self.spot = np.arange(len(self.nodes) - len(spots), len(self.nodes))
        self._graph = self._connected(pieces, outlines)

    def _connected(self, pieces: list[Floats], outlines: list[Any]) -> sparse.csr_matrix:
        first = np.cumsum([0, *[len(piece) for piece in pieces]])
        along = [np.arange(a, b - 1) for a, b in pairwise(first)]
        one = np.concatenate(along)
        free = _open_pairs(self.nodes, outlines)
        pairs = np.unique(np.sort(np.concatenate([np.column_stack([one, one + 1]), free]), axis=1), axis=0)
        length = np.hypot(*(self.nodes[pairs[:, 0]] - self.nodes[pairs[:, 1]]).T) + 1e-6
        half = sparse.csr_matrix((length, (pairs[:, 0], pairs[:, 1])), shape=(len(self.nodes),) * 2)
        return half + half.T

    def ways(self) -> tuple[Floats, Ints]:
        """Find the shortest ways between the spots.

        Returns
        -------
        length : array of float, shape (n, n)
            [m]; half as long again as the straight line where none is known.
        before : array of int, shape (n, nodes)
            Node before each on the way from each of the n; negative for none.
        """
        found, before = dijkstra(self._graph, indices=self.spot, return_predecessors=True)
        length, spots = found[:, self.spot], self.nodes[self.spot]
        straight = np.hypot(*np.moveaxis(spots[:, None] - spots[None], -1, 0))
        return np.where(np.isfinite(length), length, 1.5 * straight), before

    def line(self, before: Ints, start: int, end: int) -> Floats:
        """Give the places passed on the way from one node to another, shape (k, 2), as ``before`` tells."""
        passed = [end]
        while passed[-1] != start and before[passed[-1]] >= 0:
            passed.append(int(before[passed[-1]]))
        if passed[-1] != start:
            passed.append(start)
        return np.asarray(self.nodes[passed[::-1]])


def _rings(outline: Any) -> list[Any]:
    return [part.exterior for part in shapely.get_parts(outline) if part.geom_type == "Polygon"]


def _open_pairs(nodes: Floats, outlines: list[Any]) -> Ints:
    """Find neighbouring nodes between which no block lies."""
    try:
        corners = Delaunay(nodes).simplices
    except QhullError:
        return np.empty((0, 2), dtype=np.int64)
    pairs = np.unique(
        np.sort(np.concatenate([corners[:, [0, 1]], corners[:, [1, 2]], corners[:, [0, 2]]])), axis=0
    )
    lines = shapely.linestrings(nodes[pairs])
    inner = np.array([outline.buffer(-INSIDE_M) for outline in outlines], dtype=object)
    tree = shapely.STRtree(inner)
    crossing = np.unique(tree.query(lines, predicate="intersects")[0])
    return np.asarray(np.delete(pairs, crossing, axis=0), dtype=np.int64)
