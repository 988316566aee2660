"""Is the ranch's time zone that of its place? The sun tells roughly, the map of time zones exactly."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
from pyproj import Transformer

from stressmap.core.notes import Note

USUAL_HOURS = (-1.0, 2.0)
"""How far legal clocks stand from the sun, summer time included; only beyond them are zones looked up."""
LEAST_HOURS = 1.0


def check_ranch_clock(blocks: gpd.GeoDataFrame, times: pd.Series, zone: str) -> tuple[Note, ...]:
    """Say so when the ranch's clock is hours away from that of the place of its blocks.

    Parameters
    ----------
    blocks : GeoDataFrame
        In the working CRS.
    times : Series of datetime
        Of the readings; the offsets of their middle one are compared.
    zone : str
        ``[ranch] timezone``.

    Returns
    -------
    tuple of Note
        One, or none.
    """
    known = times.dropna()
    if known.empty or blocks.empty:
        return ()
    moment = pd.Timestamp(known.sort_values().iloc[len(known) // 2])
    west, south, east, north = blocks.total_bounds
    to_degrees = Transformer.from_crs(blocks.crs, "EPSG:4326", always_xy=True)
    lon, lat = to_degrees.transform((west + east) / 2, (south + north) / 2)
    offset = _hours(moment, zone)
    if USUAL_HOURS[0] <= offset - lon / 15.0 <= USUAL_HOURS[1]:
        return ()
    from timezonefinder import TimezoneFinder  # slow to load; asked only where the sun disagrees

    suggested = TimezoneFinder().timezone_at(lng=lon, lat=lat)
    if suggested is None or suggested.startswith("Etc/"):
        return ()
    ahead = offset - _hours(moment, suggested)
    if abs(ahead) < LEAST_HOURS:
        return ()
    side = "ahead" if ahead > 0 else "behind"
    told = {"zone": zone, "hours": abs(ahead), "side": side, "suggested": suggested}
    return (Note.of("zone_elsewhere", "warning", **told),)


def _hours(moment: pd.Timestamp, zone: str) -> float:
    """Give the offset of a zone from UTC at a moment [h]."""
    offset = moment.tz_convert(zone).utcoffset()
    return 0.0 if offset is None else offset.total_seconds() / 3600.0
