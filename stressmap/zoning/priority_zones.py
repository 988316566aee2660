"""Priority zones: connected areas of one priority, small ones merged, smoothed and clipped to the block."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import shapes as raster_shapes
from scipy import ndimage

from stressmap.core.units import M2_PER_HA
from stressmap.zoning.grid_cells import ONE_AT_A_TIME, BlockCells, Lattice

STAIR_CELLS = 1.5
"""Tolerance of the line smoothing, in cells: what takes the stair-steps off but keeps the zone."""


@dataclass(frozen=True)
class Zone:
    """One priority zone of a block.

    Parameters
    ----------
    priority : int
        1 to 4.
    outline : shapely Polygon or MultiPolygon
        In the working CRS.
    cells : array of int, shape (k,)
        Positions of its cells in the block's cells: those with their centre inside the block, or where it has
        none of these, those that the block touches.
    """

    priority: int
    outline: Any
    cells: NDArray[np.int64]


def block_zones(
    outline: Any, cells: BlockCells, priority: NDArray[np.int64], grid: Lattice, smallest_ha: float
) -> list[Zone]:
    """Turn classed cells into zones that cover the block without gap or overlap.

    Parameters
    ----------
    outline : shapely Polygon or MultiPolygon
        The block.
    cells : BlockCells
        Its cells, m of them.
    priority : array of int, shape (m,)
        1 to 4.
    grid : Lattice
        The ranch's lattice.
    smallest_ha : float
        A smaller zone is merged into the neighbour with which it shares the longest boundary [ha].

    Returns
    -------
    list of Zone
        By priority, then the larger first.
    """
    top, left = int(cells.row.min()), int(cells.col.min())
    place = (cells.row - top, cells.col - left)
    shape = (int(place[0].max()) + 1, int(place[1].max()) + 1)
    classed, counted = np.zeros(shape, dtype=np.int32), np.zeros(shape, dtype=bool)
    classed[place], counted[place] = priority, cells.inside
    size = grid.cell_m
    frame = Affine(size, 0, grid.west + left * size, 0, -size, grid.north - top * size)
    least_m2 = smallest_ha * M2_PER_HA
    labels = connected(classed)
    cell_areas = np.bincount(labels[counted], minlength=int(labels.max()) + 1) * size**2
    parts = merge_small(classed, cell_areas.astype(float), least_m2)
    shapes = _clipped(parts, frame, outline)
    while len(shapes) > 1 and min(shape.area for shape in shapes.values()) < least_m2:
        areas = np.zeros(int(parts.max()) + 1)
        areas[list(shapes)] = [shape.area for shape in shapes.values()]
        before = int(parts.max())
        parts = merge_small(classed, areas, least_m2)
        if int(parts.max()) == before:
            break
        shapes = _clipped(parts, frame, outline)
    touched = parts[place]
    inner = np.where(cells.inside, touched, 0)
    level = np.zeros(int(parts.max()) + 1, dtype=np.int64)
    level[parts] = classed
    zones = [Zone(int(level[part]), shape, _members(inner, touched, part)) for part, shape in shapes.items()]
    return sorted(zones, key=lambda z: (z.priority, -z.outline.area))


def _members(inner: NDArray[np.int32], touched: NDArray[np.int32], part: int) -> NDArray[np.int64]:
    own = np.flatnonzero(inner == part)
    return own if len(own) else np.flatnonzero(touched == part)


def _clipped(parts: NDArray[np.int32], frame: Affine, outline: Any) -> dict[int, Any]:
    """Trace the areas, take off their stair-steps and cut them to the block."""
    cut = {
        part: _polygonal(shapely.intersection(face, outline))
        for part, face in _faces(parts, frame, frame.a * STAIR_CELLS)
    }
    return {part: shape for part, shape in cut.items() if not shape.is_empty}


def merge_small(
    classed: NDArray[np.int32], areas_m2: NDArray[np.float64], least_m2: float
) -> NDArray[np.int32]:
    """Merge the connected areas that are too small, the smallest first, and number those left.

    Parameters
    ----------
    classed : array of int, shape (rows, columns)
        Priority 1 to 4, 0 outside. Changed in place: a merged area takes the priority it is merged into.
    areas_m2 : array of float
        Size of each connected area [m²], by the number that :func:`connected` gives it.
    least_m2 : float
        Size an area must have to stay [m²].

    Returns
    -------
    array of int, shape (rows, columns)
        Area numbers from 1, 0 outside. Cells that touch only by a corner are not connected.
    """
    labels = connected(classed)
    count = int(labels.max())
    size = areas_m2.copy()
    links = _shared_edges(labels)
    owner = np.arange(count + 1)
    queue = [(size[i], i) for i in range(1, count + 1) if size[i] < least_m2 or size[i] == 0]
    heapq.heapify(queue)
    while queue:
        area, small = heapq.heappop(queue)
        if owner[small] != small or area != size[small] or not links.get(small):
            continue
        target = max(links[small], key=lambda j: (links[small][j], size[j], -j))
        _join(small, target, owner, size, links)
        if size[target] < least_m2:
            heapq.heappush(queue, (size[target], target))
    roots = np.array([_root(owner, i) for i in range(count + 1)])
    first = np.zeros(count + 1, dtype=np.int32)
    first[labels.ravel()[::-1]] = classed.ravel()[::-1]
    np.copyto(classed, np.where(labels > 0, first[roots[labels]], 0))
    return connected(classed)


def connected(classed: NDArray[np.int32]) -> NDArray[np.int32]:
    """Give each connected area of one class a number from 1; the same surface always gets the same numbers.

    Parameters
    ----------
    classed : array of int, shape (rows, columns)
        Priority 1 to 4, 0 outside.

    Returns
    -------
    array of int, shape (rows, columns)
        0 outside. Cells that touch only by a corner are not connected.
    """
    labels = np.zeros(classed.shape, dtype=np.int32)
    for value in range(1, 5):
        part, _ = ndimage.label(classed == value)
        labels[part > 0] = part[part > 0] + labels.max()
    return labels


def _shared_edges(labels: NDArray[np.int32]) -> dict[int, dict[int, int]]:
    """Count the cell sides that each pair of areas shares."""
    pairs = np.concatenate(
        [
            np.stack([labels[:, :-1].ravel(), labels[:, 1:].ravel()], axis=1),
            np.stack([labels[:-1].ravel(), labels[1:].ravel()], axis=1),
        ]
    )
    pairs = np.sort(pairs[(pairs[:, 0] != pairs[:, 1]) & (pairs.min(axis=1) > 0)], axis=1)
    links: dict[int, dict[int, int]] = {}
    unique, sides = np.unique(pairs, axis=0, return_counts=True)
    for (a, b), n in zip(unique.tolist(), sides.tolist(), strict=True):
        links.setdefault(a, {})[b] = n
        links.setdefault(b, {})[a] = n
    return links


def _join(
    small: int,
    target: int,
    owner: NDArray[np.int64],
    size: NDArray[np.float64],
    links: dict[int, dict[int, int]],
) -> None:
    owner[small] = target
    size[target] += size[small]
    for other, sides in links.pop(small).items():
        del links[other][small]
        if other != target:
            links[target][other] = links[other][target] = links[target].get(other, 0) + sides


def _root(owner: NDArray[np.int64], i: int) -> int:
    while owner[i] != i:
        i = int(owner[i])
    return i


def _faces(parts: NDArray[np.int32], frame: Affine, tolerance_m: float) -> list[tuple[int, Any]]:
    """Trace the areas and take off the stair-steps of the lines between them, keeping the cover whole."""
    with ONE_AT_A_TIME:
        found = [s for s, _ in raster_shapes(parts, mask=parts > 0, transform=frame)]
    traced = [shapely.geometry.shape(s) for s in found]
    lines = shapely.union_all(shapely.boundary(np.array(traced, dtype=object)))
    faces = shapely.get_parts(shapely.polygonize([lines]))
    inner = shapely.point_on_surface(faces)
    col = ((shapely.get_x(inner) - frame.c) // frame.a).astype(int)
    row = ((frame.f - shapely.get_y(inner)) // frame.a).astype(int)
    numbers = parts[row, col]
    keep = numbers > 0
    smooth = shapely.coverage_simplify(faces[keep], tolerance_m, simplify_boundary=False)
    return list(zip(numbers[keep].tolist(), smooth, strict=True))


def _polygonal(shape: Any) -> Any:
    if shape.geom_type in {"Polygon", "MultiPolygon"}:
        return shape
    return shapely.union_all([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])
