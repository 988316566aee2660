"""All files of a run, and its record."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd

from stressmap.core.progress import Progress, Silent
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.gis.geojson import write_geojson
from stressmap.output.view.content import Content

READING_COLUMNS = (
    "row", "tree_id", "time", "used", "flags", "block", "valve", "lon", "lat", "pressure_bar", "recheck_bar",
    "bag_minutes", "temp_c", "rh_pct", "vpd_kpa", "swp_bar", "tension_bar", "baseline_bar", "target_bar",
    "below_target_bar", "below_baseline_bar", "weather_shift_bar", "too_wet", "stress_bar", "predicted_bar",
    "z_score", "chamber", "crew", "leaf", "note",
)  # fmt: skip
"""Columns of the readings table that leaves the program."""


def write(content: Content, folder: Path, progress: Progress | None = None) -> None:
    """Write every file of a run but its record.

    Parameters
    ----------
    content : Content
        A finished run.
    folder : Path
        An empty folder.
    progress : Progress, optional
        Told of each file written.
    """
    files = _files(content)
    tell = progress or Silent()
    tell.stage("Writing files", len(files))
    for name, make in files.items():
        make(folder / name)
        tell.step()


def _files(content: Content) -> dict[str, Callable[[Path], None]]:
    """Say how each file is made, in the order of writing."""
    # Libraries that draw are slow to load, and a run draws last.
    from stressmap.output.gis.geopackage import write_geopackage
    from stressmap.output.gis.gpx_kml import write_gpx, write_kml
    from stressmap.output.gis.raster import write_raster
    from stressmap.output.paper.crew_sheet import write_crew_sheet
    from stressmap.output.paper.picture import write_picture
    from stressmap.output.web.map_page import write_map

    readings = readings_table(content)
    form, again = content.ranch.spreadsheet, content.look_again
    layers = {
        "blocks": content.blocks,
        "valves": content.valves,
        "zones": content.zones,
        "readings": readings,
    }
    files: dict[str, Callable[[Path], None]] = {
        "readings.csv": lambda path: write_csv(readings, path, form),
        "readings.geojson": lambda path: write_geojson(readings, path),
        "zones.geojson": lambda path: write_geojson(content.zones, path),
        "valves.csv": lambda path: write_csv(content.valves, path, form),
        "valves.geojson": lambda path: write_geojson(content.valves, path),
        "stress.tif": lambda path: write_raster(content.raster, path),
        "ranch.gpkg": lambda path: write_geopackage(layers, path),
        "map.html": lambda path: write_map(content, path),
        "map.png": lambda path: write_picture(content, path),
        "map.kml": lambda path: write_kml(content, path),
        "waypoints.gpx": lambda path: write_gpx(content, path),
        "crew_sheet.pdf": lambda path: write_crew_sheet(content, path),
    }
    if again is not None:
        files["look_again.csv"] = lambda path: write_csv(look_again_table(again), path, form)
    return files


def readings_table(content: Content) -> gpd.GeoDataFrame:
    """Give the readings as they leave: every input row, places in degrees as they were used.

    Parameters
    ----------
    content : Content
        A finished run.

    Returns
    -------
    GeoDataFrame
        With the columns of :data:`READING_COLUMNS` and ``geometry``.
    """
    table = content.readings.copy()
    degrees = table.geometry.to_crs("EPSG:4326")
    placed = ~(degrees.isna() | degrees.is_empty)
    table.loc[placed, "lon"] = degrees[placed].x
    table.loc[placed, "lat"] = degrees[placed].y
    return gpd.GeoDataFrame(table[[*READING_COLUMNS, "geometry"]], crs=table.crs)


def look_again_table(places: gpd.GeoDataFrame) -> pd.DataFrame:
    """Give the places to measure again with their degrees, in walking order.

    Parameters
    ----------
    places : GeoDataFrame
        From :func:`stressmap.zoning.value_of_information.look_again`.

    Returns
    -------
    DataFrame
        ``order``, ``block``, ``valve``, ``tree_id``, ``lon``, ``lat``, ``gain_bar_ha``, ``stress_bar``,
        ``stress_se_bar``.
    """
    degrees = places.geometry.to_crs("EPSG:4326")
    table = pd.DataFrame(places.drop(columns="geometry"))
    table.insert(4, "lon", degrees.x)
    table.insert(5, "lat", degrees.y)
    return table
