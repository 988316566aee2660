"""Ranch maps for paper and pictures: where things go on a sheet, and which numbers have room."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import box
from shapely.geometry.base import BaseGeometry

Box = tuple[float, float, float, float]

REACH = 6
"""How far a label may be moved from its spot, in labels."""


@dataclass(frozen=True)
class Frame:
    """How the working CRS is laid into a rectangle of a sheet, north up, its scale the same both ways.

    Parameters
    ----------
    west, north : float
        Corner of what is shown [m].
    left, top : float
        Where that corner lies on the sheet [its unit], y growing downwards.
    scale : float
        Sheet units per metre.
    """

    west: float
    north: float
    left: float
    top: float
    scale: float

    def place(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Put points on the sheet.

        Parameters
        ----------
        xy : array of float, shape (n, 2)
            Easting and northing [m].

        Returns
        -------
        array of float, shape (n, 2)
            Right and down.
        """
        x, y = np.asarray(xy, dtype=float).T
        right = self.left + (x - self.west) * self.scale
        return np.column_stack([right, self.top + (self.north - y) * self.scale])


ASIDE = (0.5, 0.35, 0.65, 0.2, 0.8)
"""Where a label may stand across a shape, as shares of its width; the middle first."""


def fit_frame(bounds: Box, area: Box) -> Frame:
    """Fit what is shown into a rectangle, in its middle.

    Parameters
    ----------
    bounds : tuple of float
        West, south, east, north [m].
    area : tuple of float
        Left, top, width, height on the sheet.

    Returns
    -------
    Frame

    Examples
    --------
    >>> frame = fit_frame((0, 0, 100, 50), (10, 10, 50, 50))
    >>> frame.place([[0, 50], [100, 0]]).tolist()
    [[10.0, 22.5], [60.0, 47.5]]
    """
    west, south, east, north = bounds
    left, top, width, height = area
    scale = min(width / max(east - west, 1.0), height / max(north - south, 1.0))
    spare_x, spare_y = width - (east - west) * scale, height - (north - south) * scale
    return Frame(west, north, left + spare_x / 2, top + spare_y / 2, scale)


def rings(geometry: BaseGeometry) -> list[list[NDArray[np.float64]]]:
    """Split polygons into their rings.

    Parameters
    ----------
    geometry : Polygon or MultiPolygon
        In the working CRS.

    Returns
    -------
    list of list of array, shape (n, 2)
        For each part the outer ring, then the holes [m].
    """
    parts: Any = getattr(geometry, "geoms", [geometry])
    return [[np.asarray(ring.coords)[:, :2] for ring in (part.exterior, *part.interiors)] for part in parts]


def middle(geometry: BaseGeometry) -> Any:
    """Find where to write on a shape: its centroid, or a point inside where that lies outside.

    Parameters
    ----------
    geometry : Polygon or MultiPolygon
        Any.

    Returns
    -------
    Point
    """
    centre = geometry.centroid
    return centre if centre.within(geometry) else geometry.representative_point()


def inside(geometry: BaseGeometry, sizes: list[tuple[float, float]]) -> tuple[Any, int] | None:
    """Find where a label lies wholly inside a shape, and the largest that does.

    Parameters
    ----------
    geometry : Polygon or MultiPolygon
        In the working CRS.
    sizes : list of tuple of float
        Widths and heights of a label [m], the largest first.

    Returns
    -------
    tuple of Point and int, or None
        Its middle and which size; None where no size fits at the shape's middle or where it is widest.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> spot, size = inside(box(0, 0, 30, 90), [(40, 20), (20, 10)])
    >>> spot.x, spot.y, size
    (15.0, 45.0, 1)
    """
    spots = [middle(geometry)]
    for index, (width, height) in enumerate(sizes):
        for spot in spots:
            x, y = spot.x, spot.y
            if geometry.covers(box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)):
                return spot, index
        if index == 0:
            widest = shapely.maximum_inscribed_circle(geometry, tolerance=height / 8)
            spots.append(shapely.get_point(widest, 0))
    return None


def centred(x: Any, y: Any, width: float, height: float) -> tuple[Any, Any, Any, Any]:
    """Give the corners of a rectangle.

    Parameters
    ----------
    x, y : float, or array of float
        Its middle.
    width, height : float
        Its sides.

    Returns
    -------
    tuple of float, or of arrays
        Left, top, right and bottom, y growing downwards.
    """
    return x - width / 2, y - height / 2, x + width / 2, y + height / 2


def free_spot(
    geometry: BaseGeometry, size: tuple[float, float], frame: Frame, taken: list[Box]
) -> Box | None:
    """Find room for a label inside a shape and off what is written already: at the top, if there is.

    Parameters
    ----------
    geometry : Polygon or MultiPolygon
        In the working CRS.
    size : tuple of float
        Width and height of the label [sheet units].
    frame : Frame
        How the working CRS lies on the sheet.
    taken : list of tuple of float
        Left, top, right and bottom of what is written already [sheet units].

    Returns
    -------
    tuple of float or None
        Left, top, right and bottom on the sheet; None where there is no room.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> frame = Frame(0.0, 100.0, 0.0, 0.0, 1.0)
    >>> free_spot(box(0, 0, 100, 100), (40.0, 20.0), frame, [])
    (30.0, 2.0, 70.0, 22.0)
    >>> free_spot(box(0, 0, 100, 100), (40.0, 90.0), frame, [(40.0, 40.0, 60.0, 60.0)])
    (0.0, 2.0, 40.0, 92.0)
    """
    west, south, east, north = geometry.bounds
    left, top = frame.place(np.array([(west, north)]))[0]
    wide, deep = (east - west) * frame.scale, (north - south) * frame.scale
    if wide < size[0] or deep < size[1]:
        return None
    down = np.arange(top + 2 + size[1] / 2, top + deep - size[1] / 2, 4.0)
    across = left + np.clip(np.array(ASIDE) * wide, size[0] / 2, wide - size[0] / 2)
    x, y = np.tile(across, len(down)), np.repeat(down, len(across))
    x0, y0, x1, y1 = centred(x, y, *size)
    e0, e1 = (frame.west + (side - frame.left) / frame.scale for side in (x0, x1))
    n0, n1 = (frame.north - (side - frame.top) / frame.scale for side in (y1, y0))
    free = shapely.covers(geometry, shapely.box(e0, n0, e1, n1))
    for other in taken:
        free &= (x1 <= other[0]) | (x0 >= other[2]) | (y1 <= other[1]) | (y0 >= other[3])
    if not free.any():
        return None
    first = int(np.argmax(free))
    return centred(float(x[first]), float(y[first]), *size)


def room_for(spots: NDArray[np.float64], sizes: NDArray[np.float64] | tuple[float, float]) -> list[int]:
    """Choose which labels to draw so that none covers another, the first ones first.

    Parameters
    ----------
    spots : array of float, shape (n, 2)
        Middles of the labels on the sheet.
    sizes : tuple of float, or array of float, shape (n, 2)
        Width and height of all labels, or of each.

    Returns
    -------
    list of int
        Indices of those with room.

    Examples
    --------
    >>> room_for(np.array([[0.0, 0.0], [1.0, 0.0], [9.0, 0.0]]), (4.0, 2.0))
    [0, 2]
    """
    size = np.broadcast_to(sizes, np.shape(spots))
    taken: list[int] = []
    for index, spot in enumerate(spots):
        apart = np.abs(spots[taken] - spot) >= (size[taken] + size[index]) / 2
        if not taken or bool(np.all(apart.any(axis=1))):
            taken.append(index)
    return taken


def beside(spots: NDArray[np.float64], size: tuple[float, float], area: Box) -> NDArray[np.float64]:
    """Move labels off each other, and off the spots that other labels are for, no farther than needed.

    Parameters
    ----------
    spots : array of float, shape (n, 2)
        What the labels are for, on the sheet; the first ones keep their place.
    size : tuple of float
        Width and height of a label.
    area : tuple of float
        Left, top, width, height within which labels stay.

    Returns
    -------
    array of float, shape (n, 2)
        Middles of the labels; one that finds no room within the area stays on its spot.

    Examples
    --------
    >>> beside(np.array([[5.0, 5.0], [6.0, 5.0]]), (4.0, 2.0), (0.0, 0.0, 20.0, 20.0)).tolist()
    [[5.0, 5.0], [6.0, 7.0]]
    """
    wide = np.asarray(size)
    low, high = np.array(area[:2]) + wide / 2, np.array(area[:2]) + np.array(area[2:]) - wide / 2
    offsets = _offsets() * wide
    middles = np.array(spots, dtype=float)
    for index, spot in enumerate(middles.copy()):
        tried = spot + offsets
        free = ((tried >= low) & (tried <= high)).all(axis=1)
        for other in middles[:index]:
            free &= (np.abs(tried - other) >= wide).any(axis=1)
        for other in spots[index + 1 :]:
            here = (np.abs(tried - other) >= wide / 2).any(axis=1)
            free &= here | (not (np.abs(spot - other) >= wide / 2).any())
        if free.any():
            middles[index] = tried[np.argmax(free)]
    return middles


@cache
def _offsets() -> NDArray[np.float64]:
    """Return shifts by quarters of a label: none, then those of a label or more, the shortest first."""
    steps = np.arange(-4 * REACH, 4 * REACH + 1) / 4
    grid = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    grid = grid[(np.abs(grid) >= 1).any(axis=1)]
    order = np.lexsort((grid[:, 0], -grid[:, 1], np.hypot(*grid.T)))
    return np.vstack([[0.0, 0.0], grid[order]])


def round_length(longest_m: float, *, feet: bool) -> tuple[float, float]:
    """Choose a scale bar: 1, 2 or 5 times a power of ten.

    Parameters
    ----------
    longest_m : float
        The bar may not be longer [m].
    feet : bool
        In feet instead of metres.

    Returns
    -------
    tuple of float
        Its length in the unit shown, and in metres.

    Examples
    --------
    >>> round_length(280.0, feet=False)
    (200.0, 200.0)
    """
    unit = 0.3048 if feet else 1.0
    most = longest_m / unit
    power = 10.0 ** np.floor(np.log10(max(most, 1.0)))
    length = max(step * power for step in (1.0, 2.0, 5.0) if step * power <= max(most, 1.0))
    return float(length), float(length * unit)
