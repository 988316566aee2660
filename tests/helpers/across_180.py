"""A drawn ranch on both sides of the meridian of 180 degrees."""

from __future__ import annotations

import dataclasses

import geopandas as gpd
from pyproj import Transformer

from helpers.drawn_content import EAST, NORTH, full
from stressmap.output.view.content import Content

TABLES = ("blocks", "valves", "zones", "readings", "look_again")


def across(zone: str) -> Content:
    """The full ranch of three blocks in a row, 1.3 km, moved so that 180 degrees go through the second."""
    content = full()
    x, y = Transformer.from_crs("EPSG:4326", zone, always_xy=True).transform(180.0, -16.8)
    right, up = round(x - EAST - 670.0, -1), round(y - NORTH, -1)

    def moved(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        return table.set_geometry(table.geometry.translate(right, up).set_crs(zone, allow_override=True))

    raster = content.raster
    raster = dataclasses.replace(raster, crs=zone, west=raster.west + right, north=raster.north + up)
    tables = {name: moved(getattr(content, name)) for name in TABLES}
    return dataclasses.replace(content, raster=raster, **tables)
