"""Shapes in degrees on both sides of the meridian of 180 degrees: cut there, and their middle."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

HALF, WHOLE = 180.0, 360.0


def cut(degrees: Any) -> Any:
    """Cut polygons at the meridian of 180 degrees, so that none crosses it (RFC 7946, section 3.1.9).

    Parameters
    ----------
    degrees : array of Geometry or None
        Longitude and latitude; a shape more than half the world wide is taken to cross the meridian, as is
        one that reaches beyond 180 degrees.

    Returns
    -------
    array of Geometry or None
        Longitudes from -180 to 180.

    Examples
    --------
    >>> one = cut([shapely.box(179, 0, 181, 1)])[0]
    >>> [part.bounds for part in one.geoms]
    [(179.0, 0.0, 180.0, 1.0), (-180.0, 0.0, -179.0, 1.0)]
    """
    shapes = np.asarray(degrees, dtype=object).copy()
    bounds = shapely.bounds(shapes)
    wide = (bounds[:, 2] - bounds[:, 0] > HALF) | (bounds[:, 2] > HALF)
    for at in np.flatnonzero(wide):
        shapes[at] = _cut_one(shapely.transform(shapes[at], _eastward))
    return shapes


def middle_longitude(west: float, east: float) -> float:
    """Give the longitude in the middle of a ranch whose degrees run from west to east [degrees].

    Examples
    --------
    >>> middle_longitude(-122.0, -121.0), middle_longitude(-179.5, 179.0)
    (-121.5, 179.75)
    """
    middle = (west + east) / 2
    if east - west <= HALF:
        return middle
    return middle + HALF if middle <= 0 else middle - HALF


def around(longitudes: Any, middle: float) -> Any:
    """Move longitudes by whole turns until they lie within half a turn of a middle [degrees].

    Parameters
    ----------
    longitudes : array of float
        NaN stays.
    middle : float
        Of the ranch.

    Returns
    -------
    array of float
        Continuous across the meridian of 180 degrees; what lies there already is not changed.

    Examples
    --------
    >>> around(np.array([-179.5, 179.5, 178.0]), 179.75).tolist()
    [180.5, 179.5, 178.0]
    >>> around(np.array([-122.0]), -121.5).tolist()
    [-122.0]
    """
    return longitudes - WHOLE * np.round((longitudes - middle) / WHOLE)


def _eastward(places: NDArray[np.float64]) -> NDArray[np.float64]:
    moved = places.copy()
    moved[:, 0] = np.where(moved[:, 0] < 0, moved[:, 0] + WHOLE, moved[:, 0])
    return moved


def _cut_one(shape: Any) -> Any:
    """Cut a polygon of longitudes from 0 to 360 into its parts east and west of the meridian."""
    west, south, east, north = shapely.bounds(shape)
    sides = []
    for left, right, turn in ((min(west, 0.0), HALF, 0.0), (HALF, max(east, WHOLE), WHOLE)):
        part = shapely.intersection(shape, shapely.box(left, south, right, north))
        whole = [p for p in shapely.get_parts(part) if p.geom_type == "Polygon"]
        sides += [shapely.affinity.translate(p, -turn) for p in whole]
    return sides[0] if len(sides) == 1 else shapely.MultiPolygon(sides)
