"""GeoJSON from outside: parsed here, so that it can neither name another file or address nor have no end."""

from __future__ import annotations

import json
import re
from typing import Any

from stressmap.core.errors import DataError, Problem

MAX_VALUES = 4_000_000
"""Values of JSON that are read; each takes up to a hundred bytes of memory."""
_CRS = re.compile(
    r"(?:urn:ogc:def:crs:|https?://www\.opengis\.net/def/crs/|epsg:|ogc:)[\w:./-]+", re.IGNORECASE
)
_GEOMETRIES = {"Polygon", "MultiPolygon", "GeometryCollection"}


def parse_json(data: bytes, where: str) -> Any:
    """Parse JSON of a bearable size.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.

    Returns
    -------
    Any

    Raises
    ------
    DataError
        If it holds more than ``MAX_VALUES`` values.
    ValueError
        If it is not JSON.
    RecursionError
        If it nests too deep.
    """
    if sum(data.count(mark) for mark in (b"[", b"{", b",")) > MAX_VALUES:
        what = f"it holds more than {MAX_VALUES:,} values"
        raise DataError(Problem(where, what, "Cut it to what is needed"))
    return json.loads(data.decode("utf-8-sig"))


def plain_geojson(data: bytes, where: str) -> bytes:
    """Write features, geometries and CRS of a GeoJSON file again, and nothing else of it.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.

    Returns
    -------
    bytes
        A FeatureCollection, whatever it was.

    Raises
    ------
    DataError
        If it is not GeoJSON, or its CRS is not named in a way that can be looked up here.
    """
    try:
        tree = parse_json(data, where)
        kind = tree.get("type")
        if kind in _GEOMETRIES:
            tree = {
                "features": [{"type": "Feature", "properties": {}, "geometry": tree}],
                "crs": tree.get("crs"),
            }
        elif kind == "Feature":
            tree = {"features": [tree], "crs": tree.get("crs")}
        elif kind != "FeatureCollection":
            raise ValueError
        plain = {"type": "FeatureCollection", "name": "outlines", "features": tree["features"]}
        for one in plain["features"]:
            _close_rings(one.get("geometry"))
        return json.dumps(_named(tree.get("crs"), where) | plain).encode()
    except DataError:
        raise
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError):
        what = "it is not GeoJSON, or damaged"
        raise DataError(Problem(where, what, "Export it again as GeoJSON or GeoPackage")) from None


def _close_rings(geometry: Any) -> None:
    """Let every ring of a polygon end where it begins, as its writer may have taken for granted."""
    kind = geometry.get("type") if isinstance(geometry, dict) else None
    if kind not in {"Polygon", "MultiPolygon"}:
        return
    held = geometry.get("coordinates") or []
    for polygon in held if kind == "MultiPolygon" else [held]:
        for ring in polygon:
            if len(ring) > 2 and ring[0] != ring[-1]:
                ring.append(ring[0])


def _named(crs: Any, where: str) -> dict[str, Any]:
    if crs is None:
        return {}
    name = crs["properties"]["name"] if crs.get("type") == "name" else crs
    if not isinstance(name, str) or not _CRS.fullmatch(name):
        what = f"its CRS {str(name)[:80]!r} is not known"
        raise DataError(Problem(where, what, "Export it again in WGS 84"))
    return {"crs": {"type": "name", "properties": {"name": name}}}
