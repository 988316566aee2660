"""The CRS in metres that a ranch is worked with: the UTM zone of its blocks, or the settings' own."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Proj
from pyproj.exceptions import CRSError

from stressmap.core.antimeridian import HALF, middle_longitude
from stressmap.core.errors import DataError, Problem, SettingsError

MOST_STRETCH = 0.02
"""So much may a projection stretch lengths; a UTM zone stays under 0.001 within itself, 0.005 in the next."""


def working_crs(table: gpd.GeoDataFrame, crs: str | None, where: str, settings_file: str) -> CRS:
    """Choose the CRS in metres that a ranch is worked with.

    Parameters
    ----------
    table : GeoDataFrame
        The blocks, in the CRS of their file.
    crs : str or None
        ``[ranch] crs``; None for the UTM zone of the blocks.
    where, settings_file : str
        Their file and the ``ranch.toml``, for messages.

    Returns
    -------
    pyproj.CRS

    Raises
    ------
    DataError
        If no UTM zone holds the blocks.
    SettingsError
        If ``crs`` is none, is not in metres, or stretches lengths there.
    """
    if crs is None:
        try:
            return CRS(_near_middle(table).estimate_utm_crs())
        except (RuntimeError, ValueError):
            what = "no UTM zone holds its polygons, which would lie at a pole or off the earth"
            remedy = "Correct their coordinates or their CRS"
            raise DataError(Problem(where, what, remedy)) from None
    try:
        chosen = CRS.from_user_input(crs)
    except CRSError:
        remedy = "Write an EPSG code such as EPSG:32610"
        raise SettingsError(
            Problem(settings_file, f"{crs!r} is not a CRS", remedy, column="ranch.crs")
        ) from None
    if not chosen.is_projected or any(axis.unit_name != "metre" for axis in chosen.axis_info[:2]):
        what = f"{crs!r} is not a projected CRS in metres"
        remedy = "Leave it out, or name the UTM zone"
        raise SettingsError(Problem(settings_file, what, remedy, column="ranch.crs"))
    west, south, east, north = table.to_crs("EPSG:4326").total_bounds
    scale = _scale(chosen, middle_longitude(west, east), (south + north) / 2)
    if not abs(scale - 1.0) <= MOST_STRETCH:
        what = f"a metre in {crs!r} is not one on this ranch: lengths are {scale:.3g} times as long"
        remedy = "Leave it out, or name the UTM zone of the ranch"
        raise SettingsError(Problem(settings_file, what, remedy, column="ranch.crs"))
    return chosen


def _near_middle(table: gpd.GeoDataFrame) -> gpd.GeoSeries:
    """Give what the UTM zone is chosen by: the outlines, or their middle at the antimeridian."""
    west, south, east, north = table.total_bounds
    if not table.crs.is_geographic or east - west <= HALF:
        return table.geometry
    middle = shapely.Point(middle_longitude(west, east), (south + north) / 2)
    return gpd.GeoSeries([middle], crs=table.crs)


def _scale(crs: CRS, lon: float, lat: float) -> float:
    """Give the scale of a projection at a place, of both directions the one that is further off."""
    found = Proj(crs).get_factors(lon, lat)
    scales = (float(found.meridional_scale), float(found.parallel_scale))
    return max(scales, key=lambda scale: abs(scale - 1.0) if np.isfinite(scale) else np.inf)
