"""GeoJSON by RFC 7946: WGS 84, right-hand rule, seven decimals, no ``crs`` member."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from stressmap.core.antimeridian import cut
from stressmap.output.gis.csv_tables import tidy
from stressmap.output.view.rows import rows

DEGREE_STEP = 1e-7
"""Seven decimals of a degree: about a centimetre."""


def to_wgs84(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Bring geometry to longitude and latitude, as RFC 7946 asks.

    Rounded, wound (section 3.1.6) and cut at the meridian of 180 degrees (section 3.1.9).

    Parameters
    ----------
    table : GeoDataFrame
        In the working CRS; missing and empty geometry becomes None.

    Returns
    -------
    GeoDataFrame
        In WGS 84, valid, outer rings counter-clockwise.
    """
    degrees = table.to_crs("EPSG:4326")
    shapes: Any = np.asarray(degrees.geometry.array, dtype=object).copy()
    shapes[shapely.is_empty(shapes)] = None
    degrees.geometry = shapely.orient_polygons(_rounded_shapes(cut(shapes)), exterior_cw=False)
    return degrees


def _rounded_shapes(shapes: Any) -> Any:
    """Snap shapes to seven decimals; where noding fails, round point by point and mend what that breaks."""
    try:
        return shapely.set_precision(shapes, DEGREE_STEP)
    except shapely.errors.GEOSException:
        return np.array([_rounded_shape(shape) for shape in shapes], dtype=object)


def _rounded_shape(shape: Any) -> Any:
    try:
        return shapely.set_precision(shape, DEGREE_STEP)
    except shapely.errors.GEOSException:
        rounded = shapely.set_precision(shape, DEGREE_STEP, mode="pointwise")
        mended = shapely.make_valid(rounded, method="structure", keep_collapsed=False)
        whole = [p for p in shapely.get_parts(mended) if p.area > 0]
        return shapely.union_all(whole) if whole else None


def feature_text(table: gpd.GeoDataFrame) -> str:
    """Write a table as the text of a FeatureCollection.

    Parameters
    ----------
    table : GeoDataFrame
        In the working CRS, with the columns of ``core.schemas``.

    Returns
    -------
    str
        JSON, one feature a line; NaN is null.
    """
    lines = [_feature(row) for row in rows(to_wgs84(tidy(table)))]
    return '{"type": "FeatureCollection", "features": [\n' + ",\n".join(lines) + "\n]}\n"


def _feature(row: dict[str, Any]) -> str:
    shape = row.pop("geometry")
    place = None if shape is None else _round_numbers(shapely.geometry.mapping(shape))
    feature = {"type": "Feature", "properties": row, "geometry": place}
    return json.dumps(feature, ensure_ascii=False, allow_nan=False)


def _round_numbers(node: object) -> object:
    if isinstance(node, float):
        return round(node, 7)
    if isinstance(node, list | tuple):
        return [_round_numbers(n) for n in node]
    if isinstance(node, dict):
        return {k: _round_numbers(v) for k, v in node.items()}
    return node


def write_geojson(table: gpd.GeoDataFrame, path: Path) -> None:
    """Write a table as a GeoJSON file.

    Parameters
    ----------
    table : GeoDataFrame
        In the working CRS.
    path : Path
        File to write.
    """
    path.write_text(feature_text(table), encoding="utf-8", newline="\n")
