"""Any polygon file -> its attributes as a sheet of text, and its outlines.

GeoJSON, GeoPackage and Shapefile are opened by GDAL; a zip is read in place and never unpacked; KML and KMZ
are parsed here, entities refused. The first feature is row 2, as if a header stood above it.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from stressmap.errors import DataError, Problem
from stressmap.intake.tabular import MAX_BYTES, Sheet, read_bytes, sheet_of
from stressmap.intake.waypoints import parse_xml
from stressmap.intake.workbook import refuse_bomb


@dataclass(frozen=True)
class Outlines:
    """What a polygon file holds.

    Parameters
    ----------
    sheet : Sheet
        Attributes, a row per feature.
    shapes : array of Geometry or None
        Outlines, in the same order.
    crs : pyproj.CRS
        Theirs.
    """

    sheet: Sheet
    shapes: Any
    crs: CRS


def read_outlines(path: Path) -> Outlines:
    """Read a polygon file.

    Parameters
    ----------
    path : Path
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.

    Returns
    -------
    Outlines

    Raises
    ------
    DataError
        If it cannot be read, holds no polygons or has no CRS.
    """
    where = str(path)
    if not path.exists():
        raise DataError(Problem(where, "there is no such file", "Correct the path"))
    if path.is_dir():
        raise DataError(Problem(where, "it is a folder", "Give the path of a file"))
    if path.stat().st_size == 0:
        raise DataError(Problem(where, "it is empty", "Export the polygons again"))
    with path.open("rb") as opened:
        head = opened.read(64).removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith(b"<"):
        return _from_kml(read_bytes(path), where)
    if head.startswith(b"PK\x03\x04"):
        return _from_zip(path)
    return _from_gdal(path, where)


def _from_zip(path: Path) -> Outlines:
    where = str(path)
    data = read_bytes(path)
    refuse_bomb(data, where)
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        names = packed.namelist()
        outside = [n for n in names if ".." in re.split(r"[/\\]", n) or n.startswith(("/", "\\")) or ":" in n]
        if outside:
            what = f"it holds a path that leads out of it ({outside[0]!r})"
            raise DataError(Problem(where, what, "Zip the shapefile again"))
        kml = [n for n in names if n.lower().endswith(".kml")]
        if kml:
            return _from_kml(packed.read(kml[0]), where)
    layers = [n for n in names if n.lower().endswith((".shp", ".gpkg", ".geojson"))]
    layers = [n for n in layers if not n.startswith("__MACOSX")]
    if len(layers) != 1:
        what = (
            "it holds no shapefile" if not layers else f"it holds {len(layers)} layers ({', '.join(layers)})"
        )
        raise DataError(Problem(where, what, "Zip one shapefile with its .shx, .dbf and .prj"))
    return _from_gdal(f"/vsizip/{path}/{layers[0]}", where)


def _from_gdal(source: Path | str, where: str) -> Outlines:
    import pyogrio

    try:
        with warnings.catch_warnings():
            # GDAL remarks on what it mends by itself, such as rings that are not closed
            warnings.simplefilter("ignore")
            layer = _polygon_layer(source, where)
            table = pyogrio.read_dataframe(source, layer=layer, datetime_as_string=True)
    except DataError:
        raise
    except Exception as error:  # GDAL's errors have no common kind
        what = f"it cannot be read as a polygon file ({str(error).splitlines()[0]})"
        remedy = "Export it again as GeoJSON or GeoPackage"
        raise DataError(Problem(where, what.replace(str(source), where), remedy)) from None
    if not hasattr(table, "crs") or len(table) == 0:
        raise DataError(Problem(where, "it holds no polygons", "Export the polygons again"))
    if table.crs is None:
        remedy = "Export it again with its CRS (a shapefile needs its .prj)"
        raise DataError(Problem(where, "it has no coordinate reference system (CRS)", remedy))
    crs = CRS(table.crs)
    _refuse_false_degrees(table.total_bounds, crs, where)
    plain = pd.DataFrame(table.drop(columns=[table.geometry.name]))
    rows = plain.itertuples(index=False, name=None)
    sheet = sheet_of((dict(zip(plain.columns, row, strict=True)) for row in rows), where)
    return Outlines(sheet, table.geometry.to_numpy(), crs)


def _refuse_false_degrees(bounds: Any, crs: CRS, where: str) -> None:
    west, south, east, north = bounds
    if crs.is_geographic and (max(abs(south), abs(north)) > 90 or max(abs(west), abs(east)) > 360):
        what = f"its coordinates are no longitudes and latitudes (they reach {east:.0f}, {north:.0f})"
        raise DataError(Problem(where, what, "Export it again in WGS 84, longitude first, or with its CRS"))


def _polygon_layer(source: Path | str, where: str) -> str:
    import pyogrio

    layers = pyogrio.list_layers(source)
    named = [str(name) for name, kind in layers if kind is not None and "Polygon" in str(kind)]
    usable = named or [str(name) for name, kind in layers if kind in {"Unknown", "GeometryCollection"}]
    if len(usable) == 1:
        return usable[0]
    if not usable:
        raise DataError(Problem(where, "it holds no polygons", "Export the polygons again"))
    what = f"it has {len(usable)} polygon layers ({', '.join(usable)})"
    raise DataError(Problem(where, what, "Save the one that counts as a file of its own"))


def _from_kml(data: bytes, where: str) -> Outlines:
    if len(data) > MAX_BYTES:
        raise DataError(Problem(where, "it is too large", "Export only the polygons"))
    root = parse_xml(data, where)
    if _local(root) != "kml":
        what = f"it is XML, but not KML (its root is {_local(root)!r})"
        raise DataError(Problem(where, what, "Export the polygons as KML or GeoJSON"))
    marks = [node for node in root.iter() if _local(node) == "Placemark"]
    shapes = [_kml_shape(mark, row, where) for row, mark in enumerate(marks, 2)]
    kept = [(mark, shape) for mark, shape in zip(marks, shapes, strict=True) if shape is not None]
    if not kept:
        raise DataError(Problem(where, "it holds no polygons", "Export the polygons again"))
    sheet = sheet_of((_kml_attributes(mark) for mark, _ in kept), where)
    return Outlines(sheet, np.array([shape for _, shape in kept], dtype=object), CRS("EPSG:4326"))


def _local(node: Any) -> str:
    return str(node.tag).rpartition("}")[2]


def _kml_attributes(mark: Any) -> dict[str, str]:
    """Collect a placemark's name, extended data, and ``name=value`` pairs of its description."""
    found = {}
    for node in mark.iter():
        kind, text = _local(node), (node.text or "").strip()
        if kind == "SimpleData":
            found[node.get("name", "")] = text
        elif kind == "Data":
            value = next((child for child in node if _local(child) == "value"), None)
            found[node.get("name", "")] = (value.text or "").strip() if value is not None else ""
        elif kind == "description":
            pairs = re.findall(r"(?:^|[;\n|,])\s*([\w #]+?)\s*[=:]\s*([^;\n|,<]+)", text)
            found = {**{name: value.strip() for name, value in pairs}, **found}
        elif kind == "name" and node in list(mark):
            found.setdefault("name", text)
    return {name: value for name, value in found.items() if name}


def _kml_shape(mark: Any, row: int, where: str) -> Any:
    polygons = [_kml_polygon(node, row, where) for node in mark.iter() if _local(node) == "Polygon"]
    if not polygons:
        return None
    return polygons[0] if len(polygons) == 1 else shapely.MultiPolygon(polygons)


def _kml_polygon(node: Any, row: int, where: str) -> Any:
    rings: dict[str, list[Any]] = {"outerBoundaryIs": [], "innerBoundaryIs": []}
    try:
        for side in node:
            if _local(side) in rings:
                texts = [c.text or "" for c in side.iter() if _local(c) == "coordinates"]
                rings[_local(side)] += [[_pair(word) for word in text.split()] for text in texts]
        return shapely.Polygon(rings["outerBoundaryIs"][0], rings["innerBoundaryIs"])
    except (ValueError, IndexError, shapely.errors.GEOSException):
        raise DataError(Problem(where, "the outline cannot be read", "Draw it again", row=row)) from None


def _pair(word: str) -> tuple[float, float]:
    lon, lat = (float(part) for part in word.split(",")[:2])
    return lon, lat
