"""Points in the file of roads: gates, and places that crews start from."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from stressmap.core.sources import InputSource
from stressmap.core.text import without_accents
from stressmap.intake.drawn_layers import drawn_layers
from stressmap.intake.gpx_files import parse_xml

WGS84 = CRS("EPSG:4326")
GATE = re.compile(r"\b(gates?|puertas?|port[oó]n(es)?|entradas?)\b")
"""What a cell says of a point that is a gate."""
NAMES = ("name", "nombre", "label", "etiqueta", "gate", "puerta")
"""Headings of a point's name."""


class RoadPoint(NamedTuple):
    """A point beside the roads.

    Parameters
    ----------
    name : str
        As the file has it, ``""`` for none.
    gate : bool
        Whether anything written of it says that it is a gate.
    x, y : float
        In the working CRS [m].
    """

    name: str
    gate: bool
    x: float
    y: float


def read_road_points(given: Path | InputSource, crs: CRS) -> tuple[RoadPoint, ...]:
    """Read the points of a file of roads; one that cannot be placed is passed over.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile or KML.
    crs : pyproj.CRS
        Working CRS.

    Returns
    -------
    tuple of RoadPoint
        In the order of the file.

    Raises
    ------
    DataError
        If it cannot be read.
    """
    source = InputSource.of(given)
    if source.head().lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        return _placed(*_of_kml(source), WGS84, crs)
    found: list[RoadPoint] = []
    for layer in drawn_layers(source, "Point"):
        heads = [heading.casefold() for heading in layer.sheet.headings]
        cells = layer.sheet.frame.to_numpy(dtype=object).tolist()
        told = [dict(zip(heads, row, strict=True)) for row in cells]
        # A point of which nothing is written has no row in the sheet
        told = told if len(told) == len(layer.shapes) else [{}] * len(layer.shapes)
        found += _placed(list(layer.shapes), told, layer.crs, crs)
    return tuple(found)


def _placed(shapes: list[Any], told: list[dict[str, str]], own: CRS, crs: CRS) -> tuple[RoadPoint, ...]:
    found = []
    for shape, says in zip(gpd.GeoSeries(shapes, crs=own).to_crs(crs), told, strict=True):
        for x, y in shapely.get_coordinates(shape):
            if np.isfinite(x) and np.isfinite(y):
                words = without_accents(" ".join([*says, *says.values()]) if says else "").casefold()
                name = next((says[heading] for heading in NAMES if says.get(heading)), "")
                found.append(RoadPoint(name, bool(GATE.search(words)), float(x), float(y)))
    return tuple(found)


def _of_kml(source: InputSource) -> tuple[list[Any], list[dict[str, str]]]:
    shapes: list[Any] = []
    told: list[dict[str, str]] = []
    for mark in parse_xml(source.filled(), source.name).iter():
        if str(mark.tag).rpartition("}")[2] != "Placemark":
            continue
        held = {str(node.tag).rpartition("}")[2]: node for node in mark.iter()}
        try:
            lon, lat = (float(part) for part in held["Point"][-1].text.split(",")[:2])
        except (KeyError, IndexError, ValueError, AttributeError):
            continue
        shapes.append(shapely.Point(lon, lat))
        told.append({"name": (held["name"].text or "").strip()} if "name" in held else {})
    return shapes, told
