"""All files of a run, and its record."""

from __future__ import annotations

import hashlib
import json
import os
import platform
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from stressmap.errors import DataError, Problem
from stressmap.settings import Settings
from stressmap.share.content import Content
from stressmap.share.crew_sheet import write_crew_sheet
from stressmap.share.folder import MARK
from stressmap.share.geojson import write_geojson
from stressmap.share.geopackage import write_geopackage
from stressmap.share.picture import write_picture
from stressmap.share.raster import write_raster
from stressmap.share.tables import write_csv
from stressmap.share.waypoints import write_gpx, write_kml
from stressmap.share.webmap import write_map

LIBRARIES = (
    "stressmap", "folium", "fpdf2", "geopandas", "matplotlib", "numpy", "pandas", "pykrige",
    "pyogrio", "pyproj", "rasterio", "scipy", "shapely",
)  # fmt: skip
READING_COLUMNS = (
    "row", "tree_id", "time", "used", "flags", "block", "valve", "lon", "lat", "pressure_bar", "recheck_bar",
    "bag_minutes", "temp_c", "rh_pct", "vpd_kpa", "swp_bar", "tension_bar", "baseline_bar", "target_bar",
    "below_target_bar", "below_baseline_bar", "weather_shift_bar", "too_wet", "stress_bar", "predicted_bar",
    "z_score", "chamber", "crew", "leaf", "note",
)  # fmt: skip
"""Columns of the readings table that leaves the program."""


@dataclass(frozen=True)
class Record:
    """What ``run.json`` says beside the results.

    Parameters
    ----------
    source : Path
        The ``ranch.toml``.
    settings : Settings
        In full.
    fit : dict
        The surface's own summary.
    reading_error : dict
        What rechecks and repeats told.
    seconds : dict
        By stage; the only part of a run that differs between equal runs.
    sha256 : dict
        Of the settings and every input, from :func:`fingerprints`.
    """

    source: Path
    settings: Settings
    fit: dict[str, Any]
    reading_error: dict[str, Any]
    seconds: dict[str, float]
    sha256: dict[str, str]


def writers(content: Content, folder: Path) -> list[Callable[[], None]]:
    """Give what writes the files of a run, all but its report and record, one after the other.

    Parameters
    ----------
    content : Content
        A finished run.
    folder : Path
        An empty folder.

    Returns
    -------
    list of callable
        Each writes a file or two.
    """
    readings = readings_table(content)
    again = None if content.look_again is None else look_again_table(content.look_again)
    layers = {
        "blocks": content.blocks,
        "valves": content.valves,
        "zones": content.zones,
        "readings": readings,
    }

    def tables() -> None:
        for name, table in (("readings", readings), ("valves", content.valves), ("look_again", again)):
            if table is not None:
                write_csv(table, folder / f"{name}.csv", content.ranch.spreadsheet)

    def features() -> None:
        for name in ("readings", "zones", "valves"):
            write_geojson(layers[name], folder / f"{name}.geojson")

    return [
        tables,
        features,
        lambda: write_raster(content.raster, folder / "stress.tif"),
        lambda: write_geopackage(layers, folder / "ranch.gpkg"),
        lambda: write_map(content, folder / "map.html"),
        lambda: write_picture(content, folder / "map.png"),
        lambda: write_kml(content, folder / "map.kml"),
        lambda: write_gpx(content, folder / "waypoints.gpx"),
        lambda: write_crew_sheet(content, folder / "crew_sheet.pdf"),
    ]


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
        From :func:`stressmap.zoning.look_again.look_again`.

    Returns
    -------
    DataFrame
        ``order``, ``block``, ``valve``, ``lon``, ``lat``, ``gain_bar_ha``, ``stress_bar``, ``stress_se_bar``.
    """
    degrees = places.geometry.to_crs("EPSG:4326")
    table = pd.DataFrame(places.drop(columns="geometry"))
    table.insert(3, "lon", degrees.x)
    table.insert(4, "lat", degrees.y)
    return table


def write_run(page: dict[str, Any], folder: Path) -> None:
    """Write the record of a run, the last of its files, with the names of them all.

    Parameters
    ----------
    page : dict
        From :func:`run_page`.
    folder : Path
        That holds all other files of the run.
    """
    files = sorted([*(p.name for p in folder.iterdir()), MARK])
    text = json.dumps(page | {"files": files}, indent=2, ensure_ascii=False, allow_nan=False)
    (folder / MARK).write_text(text + "\n", encoding="utf-8")


def run_page(content: Content, record: Record) -> dict[str, Any]:
    """Gather the record of a run.

    Parameters
    ----------
    content : Content
        A finished run.
    record : Record
        Settings, fit and timings.

    Returns
    -------
    dict
        Plain numbers and text.
    """
    readings = content.readings
    flags = Counter(code for codes in readings["flags"] for code in codes)
    base = record.source.resolve().parent
    files = {k: v for k, v in record.settings.files.model_dump().items() if v is not None}
    settings = record.settings.model_dump(mode="json", by_alias=True)
    settings["files"] = {name: _relative(file, base) for name, file in files.items()}
    return {
        "visit": [day.isoformat() for day in content.visit],
        "method": content.method,
        "rank_by": content.rank_by,
        "edges_bar": content.edges_bar,
        "crs": content.raster.crs,
        "settings": settings,
        "sha256": record.sha256,
        "versions": _versions(),
        "counts": {
            "readings": len(readings),
            "used": int(readings["used"].sum()),
            "flags": dict(sorted(flags.items())),
            "blocks": len(content.blocks),
            "blocks_without_readings": int((content.blocks["readings"] == 0).sum()),
            "valves": len(content.valves),
            "zones": len(content.zones),
            "cells": len(content.raster.row),
        },
        "fit": record.fit,
        "reading_error": record.reading_error,
        "warnings": list(content.notes),
        "timings": record.seconds,
    }


def _relative(file: Path, base: Path) -> str:
    return Path(os.path.relpath(file.resolve(), base)).as_posix()


def fingerprints(source: Path, settings: Settings) -> dict[str, str]:
    """Take the fingerprint of every input, as soon as it has been read.

    Parameters
    ----------
    source : Path
        The ``ranch.toml``.
    settings : Settings
        What it says.

    Returns
    -------
    dict
        SHA-256 of ``settings`` and of each file by its name in ``[files]``.

    Raises
    ------
    DataError
        If one is no longer there.
    """
    files = settings.files.model_dump() | {"covariate": settings.map.covariate}
    return {name: _hash(file) for name, file in {"settings": source, **files}.items() if file is not None}


def _hash(file: Path) -> str:
    try:
        with file.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        what = f"it could be read, and then no more ({error.strerror})"
        raise DataError(Problem(str(file), what, "Put it back and run again")) from None


def _versions() -> dict[str, str]:
    found = {"python": platform.python_version()}
    for name in LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            found[name] = "not installed"
    return found
