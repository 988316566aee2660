"""A small invented ranch, written to a folder for whole-run tests: two prune blocks, four valve zones."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

CRS = "EPSG:32610"
WEST, SOUTH = 620_000.0, 4_100_000.0

SETTINGS = """
[ranch]
name = "Two Sheds"
timezone = "America/Los_Angeles"

[files]
readings = "readings.csv"
blocks = "blocks.geojson"
valves = "valves.gpkg"
weather = "weather.csv"
irrigation = "irrigation.csv"

[map]
cell_m = 10
"""


def blocks() -> gpd.GeoDataFrame:
    shapes = [shapely.box(0, 0, 300, 400), shapely.box(320, 0, 620, 400)]
    moved = [shapely.affinity.translate(s, WEST, SOUTH) for s in shapes]
    return gpd.GeoDataFrame(
        {"block": ["North Shed", "South Shed"], "crop": ["prune"] * 2}, geometry=moved, crs=CRS
    )


def valves() -> gpd.GeoDataFrame:
    shapes = [
        shapely.box(0, 0, 150, 400), shapely.box(150, 0, 300, 400),
        shapely.box(320, 0, 470, 400), shapely.box(470, 0, 620, 400),
    ]  # fmt: skip
    table = {"valve": ["N1", "N2", "S1", "S2"], "block": ["North Shed"] * 2 + ["South Shed"] * 2}
    moved = [shapely.affinity.translate(s, WEST, SOUTH) for s in shapes]
    return gpd.GeoDataFrame(table, geometry=moved, crs=CRS)


def readings(count: int = 24) -> pd.DataFrame:
    """Readings of 14 July 2026; the valve zone S2 is 5 bar drier than the others."""
    rng = np.random.default_rng(20260714)
    x = rng.uniform(5, 615, 4 * count)
    x = x[(x < 295) | (x > 325)][:count]
    y = rng.uniform(5, 395, count)
    places = gpd.GeoSeries(gpd.points_from_xy(WEST + x, SOUTH + y), crs=CRS).to_crs("EPSG:4326")
    pressure = 13.0 + 5.0 * (x > 470) + rng.normal(0, 0.6, count)
    minutes = (np.arange(count) * 4) % 110
    times = pd.Timestamp("2026-07-14 13:03") + pd.to_timedelta(minutes, unit="min")
    return pd.DataFrame(
        {
            "tree_id": [f"T{i + 1}" for i in range(count)],
            "time": times.strftime("%Y-%m-%d %H:%M"),
            "lon": places.x.round(7),
            "lat": places.y.round(7),
            "pressure_bar": pressure.round(1),
            "bag_minutes": 15,
        }
    )


def weather() -> pd.DataFrame:
    hours = pd.date_range("2026-07-14 00:00", "2026-07-15 23:00", freq="h")
    warm = 26.0 + 9.0 * np.sin((hours.hour - 9) * np.pi / 12)
    return pd.DataFrame(
        {
            "time": hours.strftime("%Y-%m-%d %H:%M"),
            "temp_c": warm.round(1),
            "rh_pct": (95 - 2 * warm).round(0),
        }
    )


def irrigation() -> pd.DataFrame:
    return pd.DataFrame(
        {"valve": ["N1", "S2"], "start": ["2026-07-10 20:00", "2026-06-20 20:00"], "hours": [10, 8]}
    )


def write(folder: Path, settings: str = SETTINGS) -> Path:
    """Write the ranch and return its settings file."""
    folder.mkdir(parents=True, exist_ok=True)
    blocks().to_crs("EPSG:4326").to_file(folder / "blocks.geojson", driver="GeoJSON")
    valves().to_file(folder / "valves.gpkg", driver="GPKG")
    readings().to_csv(folder / "readings.csv", index=False)
    weather().to_csv(folder / "weather.csv", index=False)
    irrigation().to_csv(folder / "irrigation.csv", index=False)
    (folder / "ranch.toml").write_text(settings, encoding="utf-8")
    return folder / "ranch.toml"
