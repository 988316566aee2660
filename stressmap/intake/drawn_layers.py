"""Points and lines of a file that GIS programs write: of roads, and of risers beside the zones of valves."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from stressmap.core.errors import DataError, Problem
from stressmap.core.sources import SQLITE, InputSource
from stressmap.core.text import first_line
from stressmap.intake.geojson_files import plain_geojson
from stressmap.intake.geopackage_files import refuse_computed
from stressmap.intake.polygon_files import SHAPEFILE
from stressmap.intake.tabular import Sheet, sheet_of

MOST = 20_000
"""Shapes of one layer that are read."""
_ANY = {"Unknown", "GeometryCollection"}


class DrawnLayer(NamedTuple):
    """The shapes of one kind in a layer.

    Parameters
    ----------
    sheet : Sheet
        Their attributes, a row each.
    shapes : array of Geometry
        In the same order.
    crs : pyproj.CRS
        Theirs.
    """

    sheet: Sheet
    shapes: Any
    crs: CRS


def drawn_layers(given: Path | InputSource, kind: str) -> list[DrawnLayer]:
    """Read the shapes of one kind from every layer of a file.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage or Shapefile.
    kind : {"Point", "Line"}
        What is wanted; what else is in the file is passed over.

    Returns
    -------
    list of DrawnLayer
        Those that hold any.

    Raises
    ------
    DataError
        If the file cannot be read or a layer has no CRS.
    """
    source = InputSource.of(given)
    where, start = source.name, source.head()
    with source.on_disk() as path:
        if start.startswith(SHAPEFILE):
            return _layers(path, kind, where)
        if start.startswith(SQLITE):
            refuse_computed(path, where)
            return _layers(path, kind, where)
        if start.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
            return _layers(plain_geojson(source.filled(), where), kind, where)
    what = "it is neither GeoJSON, GeoPackage, Shapefile nor KML"
    raise DataError(Problem(where, what, "Export it again as GeoJSON or GeoPackage"))


def _layers(opened: Path | bytes, kind: str, where: str) -> list[DrawnLayer]:
    import pyogrio

    try:
        names = [
            str(name)
            for name, held in pyogrio.list_layers(opened)
            if held is not None and (kind in str(held) or str(held) in _ANY)
        ]
        with warnings.catch_warnings():
            # GDAL remarks on what it mends by itself
            warnings.simplefilter("ignore")
            tables = [
                pyogrio.read_dataframe(opened, layer=name, datetime_as_string=True, max_features=MOST + 1)
                for name in names
            ]
    except Exception as error:  # GDAL's errors have no common kind
        what = f"it cannot be read ({first_line(error)})".replace(str(opened), where)
        raise DataError(Problem(where, what, "Export it again as GeoJSON or GeoPackage")) from None
    return [layer for table in tables if (layer := _layer(table, kind, where)) is not None]


def _layer(table: Any, kind: str, where: str) -> DrawnLayer | None:
    """Keep the shapes of one kind that have a place."""
    if not hasattr(table, "crs") or len(table) == 0:
        return None
    if len(table) > MOST:
        raise DataError(Problem(where, f"it has more than {MOST:,} shapes", "Keep those of the ranch"))
    shapes = table.geometry.to_numpy()
    held = np.array([kind in (shape.geom_type if shape is not None else "") for shape in shapes])
    held &= np.array([_is_finite(shape) for shape in shapes])
    if not held.any():
        return None
    if table.crs is None:
        remedy = "Export it again with its CRS (a shapefile needs its .prj)"
        raise DataError(Problem(where, "it has no coordinate reference system (CRS)", remedy))
    plain = pd.DataFrame(table.drop(columns=[table.geometry.name]))[held]
    rows = plain.itertuples(index=False, name=None) if len(plain.columns) else [()] * len(plain)
    sheet = sheet_of((dict(zip(plain.columns, row, strict=True)) for row in rows), where)
    return DrawnLayer(sheet, shapes[held], CRS(table.crs))


def _is_finite(shape: Any) -> bool:
    known = shape is not None and not shape.is_empty
    return known and bool(np.isfinite(shapely.get_coordinates(shape)).all())
