"""Any polygon file -> its attributes as a sheet of text, and its outlines.

GeoJSON, GeoPackage and Shapefile are opened by GDAL; a zip is read in place and never unpacked; KML and KMZ
are parsed here, entities refused. The first feature is row 2, as if a header stood above it.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from stressmap.core.errors import DataError, Problem
from stressmap.core.row_counts import ToldRow
from stressmap.core.safe_read import MAX_BYTES
from stressmap.core.sources import SQLITE, InputSource
from stressmap.core.text import first_line
from stressmap.intake.geojson_files import plain_geojson
from stressmap.intake.geopackage_files import refuse_computed
from stressmap.intake.gpx_files import parse_xml
from stressmap.intake.table_limits import MAX_OUTLINES, most_rows
from stressmap.intake.tabular import Sheet, sheet_of
from stressmap.intake.zip_files import open_zip, unpack

SHAPEFILE = b"\x00\x00\x27\x0a"
"""How the main file of every Shapefile begins."""
_UTF_16 = (b"\xff\xfe<\x00", b"\xfe\xff\x00<")
"""How XML in UTF-16 begins."""


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


def read_outlines(given: Path | InputSource) -> Outlines:
    """Read a polygon file.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.

    Returns
    -------
    Outlines

    Raises
    ------
    DataError
        If it cannot be read, holds no polygons or has no CRS.
    """
    source = InputSource.of(given)
    where = source.name
    start = source.head()
    if not start:
        raise DataError(Problem(where, "it is empty", "Export the polygons again"))
    if start.startswith(_UTF_16) or start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
        found = _from_kml(source.filled(), where)
    else:
        with source.on_disk() as path:
            found = _from_file(start, path, source)
    _refuse_false_degrees(found, where)
    return found


def _from_file(start: bytes, path: Path, source: InputSource) -> Outlines:
    """Read what GDAL opens, or a zip of such."""
    if start.startswith(b"PK\x03\x04"):
        return _from_zip(path, source)
    if start.startswith(SHAPEFILE):
        return _from_gdal(path, source.name)
    return _from_content(start, path, source.filled, source.name)


def _from_content(start: bytes, source: Path | str, content: Callable[[], bytes], where: str) -> Outlines:
    """Read GeoJSON or a GeoPackage; what else GDAL opens may send it to other files or to the network."""
    if start.startswith(SQLITE):
        refuse_computed(source if isinstance(source, Path) else content(), where)
        return _from_gdal(source, where)
    if start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
        return _from_gdal(plain_geojson(content(), where), where)
    what = "it is neither GeoJSON, GeoPackage, Shapefile, KML nor a zip of such"
    raise DataError(Problem(where, what, "Export the polygons as GeoJSON or GeoPackage"))


def _from_zip(path: Path, source: InputSource) -> Outlines:
    where = source.name
    with open_zip(source.filled(), where) as packed:
        names = packed.namelist()
        outside = [n for n in names if ".." in re.split(r"[/\\]", n) or n.startswith(("/", "\\")) or ":" in n]
        if outside:
            what = f"it holds a path that leads out of it ({outside[0]!r})"
            raise DataError(Problem(where, what, "Zip the shapefile again"))
        kml = [n for n in names if n.lower().endswith(".kml")]
        if kml:
            return _from_kml(unpack(packed, kml[0], where), where)
        layers = [n for n in names if n.lower().endswith((".shp", ".gpkg", ".geojson"))]
        layers = [n for n in layers if not n.startswith("__MACOSX")]
        if len(layers) != 1:
            what = (
                "it holds no shapefile"
                if not layers
                else f"it holds {len(layers)} layers ({', '.join(layers)})"
            )
            raise DataError(Problem(where, what, "Zip one shapefile with its .shx, .dbf and .prj"))
        content = unpack(packed, layers[0], where)
    # the braces tell GDAL where the path of the zip ends, whatever it is called
    inside = f"/vsizip/{path if path.suffix.lower() == '.zip' else f'{{{path}}}'}/{layers[0]}"
    if content.startswith(SHAPEFILE):
        return _from_gdal(inside, where)
    return _from_content(content[:64], inside, lambda: content, where)


def _from_gdal(source: Path | str | bytes, where: str) -> Outlines:
    import pyogrio

    try:
        with warnings.catch_warnings():
            # GDAL remarks on what it mends by itself, such as rings that are not closed
            warnings.simplefilter("ignore")
            layer = _polygon_layer(source, where)
            most = min(MAX_OUTLINES, most_rows(len(pyogrio.read_info(source, layer=layer)["fields"]), where))
            table = pyogrio.read_dataframe(
                source, layer=layer, datetime_as_string=True, max_features=most + 1
            )
    except DataError:
        raise
    except Exception as error:  # GDAL's errors have no common kind
        what = f"it cannot be read as a polygon file ({first_line(error)})"
        remedy = "Export it again as GeoJSON or GeoPackage"
        raise DataError(Problem(where, what.replace(str(source), where), remedy)) from None
    if not hasattr(table, "crs") or len(table) == 0:
        raise DataError(Problem(where, "it holds no polygons", "Export the polygons again"))
    if table.crs is None:
        remedy = "Export it again with its CRS (a shapefile needs its .prj)"
        raise DataError(Problem(where, "it has no coordinate reference system (CRS)", remedy))
    if len(table) > most:
        raise DataError(Problem(where, f"it has more than {most:,} polygons", "Keep those of the ranch"))
    plain = pd.DataFrame(table.drop(columns=[table.geometry.name]))
    # pandas before 3.1 makes no rows of a table without columns
    rows = plain.itertuples(index=False, name=None) if len(plain.columns) else [()] * len(plain)
    sheet = sheet_of((dict(zip(plain.columns, row, strict=True)) for row in rows), where)
    return Outlines(sheet, table.geometry.to_numpy(), CRS(table.crs))


def _refuse_false_degrees(found: Outlines, where: str) -> None:
    _, _, east, north = reach = shapely.total_bounds(found.shapes)
    degrees = np.abs(reach) <= [360, 90, 360, 90]
    if found.crs.is_geographic and not (degrees | np.isnan(reach)).all():
        what = f"its coordinates are no longitudes and latitudes (they reach {east:.10g}, {north:.10g})"
        raise DataError(Problem(where, what, "Export it again in WGS 84, longitude first, or with its CRS"))


def _polygon_layer(source: Path | str | bytes, where: str) -> str:
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
    kept = [one for one in zip(range(2, len(marks) + 2), marks, shapes, strict=True) if one[2] is not None]
    if not kept:
        raise DataError(Problem(where, "it holds no polygons", "Export the polygons again"))
    if len(kept) > MAX_OUTLINES:
        what = f"it has more than {MAX_OUTLINES:,} polygons"
        raise DataError(Problem(where, what, "Keep those of the ranch"))
    sheet = sheet_of((_kml_attributes(mark) for _, mark, _ in kept), where)
    index = pd.Index([row for row, _, _ in kept], name="row")
    told = tuple(
        ToldRow.of(row, "no_outline", name=_kml_attributes(mark).get("name", ""))
        for row, (mark, shape) in enumerate(zip(marks, shapes, strict=True), 2)
        if shape is None
    )
    sheet = replace(sheet, frame=sheet.frame.set_axis(index), told=told)
    return Outlines(sheet, np.array([shape for _, _, shape in kept], dtype=object), CRS("EPSG:4326"))


def _local(node: Any) -> str:
    return str(node.tag).rpartition("}")[2]


def _kml_attributes(mark: Any) -> dict[str, str]:
    """Collect a placemark's name, extended data, and ``name=value`` pairs of its description."""
    found: dict[str, str] = {}
    own = {id(child) for child in mark}
    for node in mark.iter():
        kind, text = _local(node), (node.text or "").strip()
        if kind == "SimpleData":
            found[node.get("name", "")] = text
        elif kind == "Data":
            value = next((child for child in node if _local(child) == "value"), None)
            found[node.get("name", "")] = (value.text or "").strip() if value is not None else ""
        elif kind == "description":
            found = {**_pairs(text), **found}
        elif kind == "name" and id(node) in own:
            found.setdefault("name", text)
    return {name: value for name, value in found.items() if name}


def _pairs(text: str) -> dict[str, str]:
    """Read ``name=value`` and ``name: value`` between semicolons, commas, bars or lines."""
    pairs = {}
    for chunk in re.split(r"[;\n|,]", text):
        name, mark, value = re.match(r"([^=:]*)([=:]?)(.*)", chunk, re.DOTALL).groups()  # type: ignore[union-attr]
        value = value.partition("<")[0].strip()
        if mark and value and re.fullmatch(r"[\w #]+", name.strip()):
            pairs[name.strip()] = value
    return pairs


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
