"""Invented ranches as the folders that ``run`` leaves, drawn without running it."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from helpers.drawn_content import ranch
from stressmap.core import schemas
from stressmap.core.errors import Problem
from stressmap.core.ranch_result import RanchResult
from stressmap.output.gis.geojson import write_geojson
from stressmap.output.gis.geopackage import write_geopackage
from stressmap.output.gis.raster import write_raster
from stressmap.output.view.content import Content

VISIT = (dt.date(2026, 7, 14), dt.date(2026, 7, 15))


def drawn(
    blocks: int, *, east: float = 0.0, crs: str | None = None, valves: int = 2, across: int = 3
) -> Content:
    """Draw a ranch of so many blocks, moved east [m], in another CRS where one is named."""
    content = ranch([(f"B{i + 1}", "prune", valves) for i in range(blocks)], across=across)
    valved = content.valves.copy()
    edges = np.array([0.0, 2.0, 4.0])
    valved["urgency"] = 1.0 + (valved["stress_bar"] - edges[0]) / 2.0
    valved["past_limit"] = valved["stress_bar"] > 5.5
    valved = valved.assign(allowance_bar=5.8, visits_used=1, tied_group=0, tied_ranks="")
    columns = [*schemas.columns_of(schemas.RANKED_VALVES), "geometry"]
    moved = dataclasses.replace(content, valves=valved[columns])
    tables = {name: _shifted(getattr(moved, name), east, crs) for name in ("valves", "blocks")}
    raster = dataclasses.replace(moved.raster, west=moved.raster.west + east, crs=crs or moved.raster.crs)
    return dataclasses.replace(moved, raster=raster, **tables)


def _shifted(table: gpd.GeoDataFrame, east: float, crs: str | None) -> gpd.GeoDataFrame:
    shapes = [shapely.affinity.translate(shape, east, 0.0) for shape in table.geometry]
    return gpd.GeoDataFrame(table.drop(columns="geometry"), geometry=shapes, crs=crs or table.crs)


def folder_of(content: Content, folder: Path, name: str, *, rank_by: str = "below_target") -> RanchResult:
    """Write the files that the overview reads."""
    folder.mkdir(parents=True)
    write_geojson(content.valves, folder / "valves.geojson")
    write_geopackage({"blocks": content.blocks, "valves": content.valves}, folder / "ranch.gpkg")
    write_raster(content.raster, folder / "stress.tif")
    record = {
        "job": "run", "crs": content.raster.crs, "rank_by": rank_by, "edges_bar": content.edges_bar,
        "settings": {"ranch": {"name": name, "units": "metric", "languages": ["en", "es"]}},
        "counts": {"readings": 20, "used": 15, "blocks": len(content.blocks)}, "notes": [],
        "files": ["run.json"], "versions": {"stressmap": "x"},
    }  # fmt: skip
    (folder / "run.json").write_text(json.dumps(record), encoding="utf-8")
    return RanchResult(folder.name, folder / "ranch.toml", name, folder, "mapped", VISIT)


def failed(slug: str, name: str) -> RanchResult:
    """A ranch that could not be mapped, with a text in it that a spreadsheet would run."""
    problem = Problem("readings.csv", "=HYPERLINK(1) is not a number", "Write bar as a number", 4, "pressure")
    return RanchResult(slug, Path(slug) / "ranch.toml", name, None, "failed", None, (problem,))


@dataclasses.dataclass(frozen=True)
class Named:
    """What the overview asks of a district's settings."""

    name: str = "Valley <of> Ten & Co"
    languages: tuple[str, ...] = ("en", "es")
