"""Ranch maps for paper and pictures: where things go on a sheet, and which numbers have room."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

Box = tuple[float, float, float, float]


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


def room_for(spots: NDArray[np.float64], size: tuple[float, float]) -> list[int]:
    """Choose which labels to draw so that none covers another, the first ones first.

    Parameters
    ----------
    spots : array of float, shape (n, 2)
        Middles of the labels on the sheet.
    size : tuple of float
        Width and height of a label.

    Returns
    -------
    list of int
        Indices of those with room.

    Examples
    --------
    >>> room_for(np.array([[0.0, 0.0], [1.0, 0.0], [9.0, 0.0]]), (4.0, 2.0))
    [0, 2]
    """
    taken: list[int] = []
    for index, spot in enumerate(spots):
        apart = np.abs(spots[taken] - spot) >= size
        if not taken or bool(np.all(apart.any(axis=1))):
            taken.append(index)
    return taken


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
