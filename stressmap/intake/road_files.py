"""Lines that one drives or walks: they tell at which corner of its zone a valve is reached."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from stressmap.core.errors import DataError, Problem
from stressmap.core.safe_read import MAX_BYTES
from stressmap.core.sources import InputSource
from stressmap.intake.drawn_layers import drawn_layers
from stressmap.intake.drawn_outlines import workable
from stressmap.intake.gpx_files import parse_xml

WGS84 = CRS("EPSG:4326")


def read_roads(given: Path | InputSource, crs: CRS) -> Any:
    """Read the roads of a ranch.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile or KML with lines; what else it holds is passed over.
    crs : pyproj.CRS
        Working CRS.

    Returns
    -------
    MultiLineString
        In the working CRS.

    Raises
    ------
    DataError
        If it cannot be read or holds no lines.
    """
    source = InputSource.of(given)
    start = source.head()
    if not start:
        raise DataError(Problem(source.name, "it is empty", "Export the roads again, as lines"))
    if start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        drawn = [(_of_kml(source), WGS84)]
    else:
        drawn = [(layer.shapes, layer.crs) for layer in drawn_layers(source, "Line")]
    with workable(source.name):
        placed = [shape for shapes, own in drawn for shape in gpd.GeoSeries(shapes, crs=own).to_crs(crs)]
    lines = [part for shape in placed for part in shapely.get_parts(shape) if part.length > 0]
    if not lines:
        raise DataError(Problem(source.name, "it holds no lines", "Draw the roads as lines, or leave it out"))
    if not np.isfinite(shapely.get_coordinates(lines)).all():
        what = f"a road lies where {crs.name} does not reach"
        raise DataError(Problem(source.name, what, "Correct its coordinates or its CRS"))
    return shapely.MultiLineString(lines)


def _of_kml(source: InputSource) -> Any:
    data = source.filled()
    if len(data) > MAX_BYTES:
        raise DataError(Problem(source.name, "it is too large", "Export only the roads"))
    found = []
    for node in parse_xml(data, source.name).iter():
        if str(node.tag).rpartition("}")[2] != "LineString":
            continue
        texts = [child.text or "" for child in node if str(child.tag).rpartition("}")[2] == "coordinates"]
        try:
            found.append(shapely.LineString([_pair(word) for text in texts for word in text.split()]))
        except (ValueError, IndexError, shapely.errors.GEOSException):
            raise DataError(Problem(source.name, "a line cannot be read", "Draw it again")) from None
    return np.array(found, dtype=object)


def _pair(word: str) -> tuple[float, float]:
    lon, lat = (float(part) for part in word.split(",")[:2])
    return lon, lat
