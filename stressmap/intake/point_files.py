"""Any kind of readings file -> a sheet of text; the content decides the kind, never the name."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.sources import SQLITE, InputSource
from stressmap.core.text import first_line
from stressmap.intake.coordinates import degrees
from stressmap.intake.geojson_files import parse_json
from stressmap.intake.geopackage_files import refuse_computed
from stressmap.intake.gpx_files import read_waypoints
from stressmap.intake.heading_recognition import recognise
from stressmap.intake.spellings import PLACE
from stressmap.intake.table_files import read_sheets, refuse_web_page
from stressmap.intake.table_limits import most_rows
from stressmap.intake.tabular import Known, Sheet, sheet_of


def read_points(
    given: Path | InputSource, known: Known, fits: Callable[[Sequence[str]], bool]
) -> Noted[tuple[Sheet, ...]]:
    """Read a file of points as tables: one, or those sheets of a workbook that are of the kind.

    Parameters
    ----------
    given : Path or InputSource
        CSV, XLSX, GeoJSON, GeoPackage or GPX.
    known : callable
        Whether a heading is recognised.
    fits : callable
        Whether a row of cells has the headings of such a table.

    Returns
    -------
    Noted of tuple of Sheet
        Of a GIS file or GPX one: the first feature is row 2, as if a header stood above it.

    Raises
    ------
    DataError
        If it is none of these, or cannot be used.
    """
    source = InputSource.of(given)
    head = source.head().removeprefix(b"\xef\xbb\xbf").lstrip()
    if head.startswith(SQLITE):
        layer = _read_geopackage(source, known)
        return Noted((layer.value,), layer.notes)
    if head.startswith(b"{"):
        return Noted((read_geojson(source.filled(), source.name),))
    refuse_web_page(head, source.name)
    if head.startswith(b"<"):
        return Noted((read_waypoints(source.filled(), source.name, known),))
    return read_sheets(source, known, fits)


def read_geojson(data: bytes, where: str) -> Sheet:
    """Read a GeoJSON FeatureCollection of points.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.

    Returns
    -------
    Sheet
        Properties, and ``lon``, ``lat`` of the geometry.

    Raises
    ------
    DataError
        If it is no such thing.
    """
    try:
        tree = parse_json(data, where)
        features = tree["features"]
        crs = (tree.get("crs") or {}).get("properties", {}).get("name", "EPSG:4326")
        properties = [dict(feature.get("properties") or {}) for feature in features]
        places = [_point(feature.get("geometry"), row, where) for row, feature in enumerate(features, 2)]
        return sheet_of(_with_place(properties, places, str(crs), where), where)
    except DataError:
        raise
    except (ValueError, LookupError, TypeError, AttributeError, OverflowError, RecursionError):
        what = "it is not a GeoJSON FeatureCollection"
        raise DataError(Problem(where, what, "Export the readings again as GeoJSON")) from None


def _point(geometry: Any, row: int, where: str) -> tuple[float, float]:
    if geometry is None:
        return (np.nan, np.nan)
    kind, coordinates = geometry.get("type"), geometry.get("coordinates")
    if kind == "MultiPoint" and coordinates and len(coordinates) == 1:
        coordinates = coordinates[0]
    elif kind != "Point":
        what = f"the geometry is a {kind}, not a point"
        raise DataError(Problem(where, what, "Give each reading a point", row=row))
    return (float(coordinates[0]), float(coordinates[1])) if coordinates else (np.nan, np.nan)


def _with_place(
    properties: list[dict[str, Any]], places: list[tuple[float, float]], crs: str, where: str
) -> list[dict[str, Any]]:
    """Put the geometry's degrees in the place of whatever coordinates the properties repeat."""
    xy = np.array(places, dtype=float).reshape(-1, 2)
    lon, lat = degrees(xy[:, 0], xy[:, 1], crs, where, "crs")
    if not np.isfinite(lon).any():
        return properties
    records = []
    for record, x, y in zip(properties, lon, lat, strict=True):
        kept = {name: value for name, value in record.items() if not recognise(str(name), PLACE)}
        records.append({**kept, "lon": repr(float(x)), "lat": repr(float(y))} if np.isfinite(x) else kept)
    return records


def _read_geopackage(source: InputSource, known: Known) -> Noted[Sheet]:
    import pyogrio

    where, notes = source.name, NoteList()
    try:
        with warnings.catch_warnings(), source.on_disk() as path:
            refuse_computed(path, where)
            # GDAL remarks on times that it hands over as text all the same, and on odd file names
            warnings.simplefilter("ignore")
            layer = notes.keep(_layer(path, where, known))
            most = most_rows(len(pyogrio.read_info(path, layer=layer)["fields"]), where)
            table = pyogrio.read_dataframe(path, layer=layer, datetime_as_string=True, max_features=most + 1)
    except DataError:
        raise
    except Exception as error:  # GDAL's errors have no common kind
        what = f"it cannot be read as a GeoPackage ({first_line(error)})"
        raise DataError(Problem(where, what, "Export it again")) from None
    shapes = table.geometry if hasattr(table, "crs") else pd.Series([None] * len(table), dtype=object)
    if shapes.notna().any() and table.crs is None:
        remedy = "Export it again with its CRS"
        raise DataError(Problem(where, "it has no coordinate reference system (CRS)", remedy))
    plain = pd.DataFrame(table.drop(columns=[c for c in ("geometry",) if c in table.columns]))
    properties = [
        dict(zip(plain.columns, row, strict=True)) for row in plain.itertuples(index=False, name=None)
    ]
    places = [_shape_point(shape, row, where) for row, shape in enumerate(shapes, 2)]
    crs = table.crs.to_wkt() if shapes.notna().any() else "EPSG:4326"
    return notes.beside(sheet_of(_with_place(properties, places, crs, where), where))


def _shape_point(shape: Any, row: int, where: str) -> tuple[float, float]:
    if shape is None or shape.is_empty:
        return (np.nan, np.nan)
    points = list(getattr(shape, "geoms", [shape]))
    if len(points) != 1 or points[0].geom_type != "Point":
        what = f"the geometry is a {shape.geom_type}, not a point"
        raise DataError(Problem(where, what, "Give each reading a point", row=row))
    return (points[0].x, points[0].y)


def _layer(path: Path, where: str, known: Known) -> Noted[str]:
    """Find the layer of a GeoPackage whose columns are recognised best."""
    import pyogrio

    layers = [str(name) for name, _ in pyogrio.list_layers(path)]
    scores = {
        name: sum(known(str(f)) for f in pyogrio.read_info(path, layer=name)["fields"]) for name in layers
    }
    best = max(scores.values(), default=0)
    likely = [name for name in layers if scores[name] == best]
    if not likely:
        raise DataError(Problem(where, "it has no layer", "Export the readings again"))
    if len(likely) > 1:
        shown = " and ".join(repr(name) for name in likely[:3])
        what = f"the layers {shown} could each be the readings"
        raise DataError(Problem(where, what, "Save the one that counts as a file of its own"))
    notes = NoteList()
    if len(layers) > 1:
        notes.say("layer_chosen", file=where, layer=likely[0])
    return notes.beside(likely[0])
