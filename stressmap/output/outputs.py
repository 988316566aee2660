"""All files of a run, and its record."""

from __future__ import annotations

import hashlib
import json
import platform
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.progress import Progress, Silent
from stressmap.core.settings import Settings
from stressmap.output.view.content import Content
from stressmap.output.staging.output_folder import MARK
from stressmap.output.gis.geojson import write_geojson
from stressmap.output.gis.csv_tables import write_csv

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
    from stressmap.output.paper.crew_sheet import write_crew_sheet
    from stressmap.output.gis.geopackage import write_geopackage
    from stressmap.output.paper.picture import write_picture
    from stressmap.output.gis.raster import write_raster
    from stressmap.output.gis.gpx_kml import write_gpx, write_kml
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
    shown = {key: record.settings.shown(file) for key, file in record.settings.inputs().items()}
    settings = record.settings.model_dump(mode="json", by_alias=True)
    settings["map"]["covariate"] = shown.pop("covariate", None)
    settings["files"] = shown
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
    return {name: _hash(file) for name, file in {"settings": source, **settings.inputs()}.items()}


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
