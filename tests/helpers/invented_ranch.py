"""A small ranch of our own for tests of intake and quality: square blocks, two valve zones each."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from pyproj import Transformer
from shapely.geometry import box

from stressmap.core.notes import Noted
from stressmap.core.schemas import BLOCKS, READINGS, VALVES, conform
from stressmap.core.settings import Settings

CRS = "EPSG:32610"
ZONE = "America/Los_Angeles"
WEST, SOUTH, SIDE, LANE = 600_000.0, 4_300_000.0, 200.0, 20.0
VISIT = (dt.date(2026, 7, 14), dt.date(2026, 7, 14))
TO_DEGREES = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def corner(at: int, wide: int) -> tuple[float, float]:
    return WEST + (at % wide) * (SIDE + LANE), SOUTH + (at // wide) * (SIDE + LANE)


def blocks(count: int = 4, crop: str = "prune") -> gpd.GeoDataFrame:
    wide = int(np.ceil(np.sqrt(count)))
    shapes = [box(x, y, x + SIDE, y + SIDE) for x, y in (corner(i, wide) for i in range(count))]
    table = gpd.GeoDataFrame(
        {"block": [f"B{i + 1}" for i in range(count)], "crop": crop, "weight": 1.0}, geometry=shapes, crs=CRS
    )
    return gpd.GeoDataFrame(conform(table, BLOCKS, "blocks"), crs=CRS)


def valves(of: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    rows: list[dict[str, Any]] = []
    for name, shape in zip(of["block"], of.geometry, strict=True):
        west, south, east, north = shape.bounds
        middle = (west + east) / 2
        rows.append({"valve": f"{name}W", "block": name, "geometry": box(west, south, middle, north)})
        rows.append({"valve": f"{name}E", "block": name, "geometry": box(middle, south, east, north)})
    return gpd.GeoDataFrame(conform(gpd.GeoDataFrame(rows, crs=CRS), VALVES, "valves"), crs=CRS)


def readings(
    of: gpd.GeoDataFrame, per_block: int = 5, seed: int = 1, day: str = "2026-07-14"
) -> pd.DataFrame:
    """Clean readings, well inside valve zones; tension falls from block to block, 8 to 20 bar."""
    rng = np.random.default_rng(seed)
    rows = []
    for at, (name, shape) in enumerate(zip(of["block"], of.geometry, strict=True)):
        west, south, east, north = shape.bounds
        level = rng.uniform(8.0, 20.0)
        for tree in range(per_block):
            x = rng.uniform(west + 10, (west + east) / 2 - 10) + (SIDE / 2 if tree % 2 else 0.0)
            lon, lat = TO_DEGREES.transform(x, rng.uniform(south + 10, north - 10))
            minute = int(rng.integers(0, 120))
            bar = round(float(np.clip(level + rng.normal(0, 1.2), 4.5, 35)), 1)
            rows.append(
                {
                    "row": len(rows) + 2,
                    "tree_id": f"{name}-T{tree + 1}",
                    "time": pd.Timestamp(f"{day} 13:00", tz=ZONE) + pd.Timedelta(minutes=minute),
                    "lon": round(lon, 7),
                    "lat": round(lat, 7),
                    "pressure_bar": bar,
                    "recheck_bar": round(bar + float(rng.uniform(0, 0.6)), 1) if at % 2 else np.nan,
                    "bag_minutes": float(rng.integers(10, 40)),
                    "file": "readings.csv",
                }
            )
    return conform(pd.DataFrame(rows), READINGS, "readings")


def settings(**reading: Any) -> Settings:
    return Settings.model_validate(
        {
            "ranch": {"name": "Invented", "timezone": ZONE},
            "files": {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")},
            "reading": reading,
        }
    )


def assess(
    table: pd.DataFrame,
    of: gpd.GeoDataFrame,
    *,
    visit: Any = VISIT,
    **reading: Any,
) -> gpd.GeoDataFrame:
    return assess_noted(table, of, visit=visit, **reading).value


def assess_noted(
    table: pd.DataFrame,
    of: gpd.GeoDataFrame,
    *,
    visit: Any = VISIT,
    **reading: Any,
) -> Noted[gpd.GeoDataFrame]:
    from stressmap.quality.checks import assess as check

    return check(table, of, valves(of), settings(**reading), visit, CRS)
