"""Outlines whose edges lie across each other in heaps: told before any work with them would take for ever."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

ALLOWED = 200_000
ALLOWED_EACH = 20
"""So many pairs of edges may lie near each other, and so many more for each edge; a ranch has two or three
for each. Validity, overlaps and buffers take time for every pair, up to its square."""
_AT_ONCE = 20_000_000


def crowded(shapes: Any, near: float = 0.0) -> bool:
    """Tell whether far more edges lie across or beside each other than in anything that was surveyed.

    Parameters
    ----------
    shapes : array of Geometry
        Polygons, or collections of such.
    near : float
        Edges closer than this count as lying across each other, in the unit of the coordinates.

    Returns
    -------
    bool

    Examples
    --------
    >>> comb = [(i % 2, i / 1000) for i in range(1000)]
    >>> crowded(np.array([shapely.box(0, 0, 1, 1)])), crowded(np.array([shapely.Polygon(comb)]), near=1.0)
    (False, True)
    """
    boxes = _edges(shapes, near)
    tree = shapely.STRtree(boxes)
    most = len(boxes) + 2 * (ALLOWED + ALLOWED_EACH * len(boxes))
    step, pairs = max(1, _AT_ONCE // max(1, len(boxes))), 0
    for at in range(0, len(boxes), step):
        pairs += tree.query(boxes[at : at + step]).shape[1]
        if pairs > most:
            return True
    return False


def _edges(shapes: Any, near: float) -> Any:
    """Give the box around each edge of every ring."""
    parts = np.asarray(shapes, dtype=object)
    while (shapely.get_type_id(parts) > shapely.GeometryType.POLYGON).any():
        parts = shapely.get_parts(parts)
    corners, ring = shapely.get_coordinates(shapely.get_rings(parts), return_index=True)
    together = ring[:-1] == ring[1:]
    one, two = corners[:-1][together], corners[1:][together]
    west, south = (np.minimum(one, two) - near / 2).T
    east, north = (np.maximum(one, two) + near / 2).T
    return shapely.box(west, south, east, north)
