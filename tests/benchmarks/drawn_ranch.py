"""A ranch of any size, drawn from a seed: crooked blocks with roads between, six valves each, two visits."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.affinity import rotate

CRS = "EPSG:32610"
CORNER = (600_000.0, 4_100_000.0)
SIDE_M, ROAD_M, TURN_DEGREES = 400.0, 12.0, 7.0
VALVES = 6
ROW_OF_BLOCKS = 25
CROPS = ("prune", "almond", "walnut")
SEED = 20260714
VISITS = ("2026-07-02", "2026-07-14")
SETTINGS = """
[ranch]
name = "{name}"
timezone = "America/Los_Angeles"

[files]
readings = "readings.csv"
blocks = "blocks.geojson"
valves = "valves.gpkg"
weather = "weather.csv"
irrigation = "irrigation.csv"

[map]
cell_m = {cell_m}
"""


@dataclass(frozen=True)
class Kind:
    """Which ranch is drawn, how far from the usual place [m], and when it was visited."""

    name: str = "Long Ditch Ranch"
    seed: int = SEED
    moved_m: tuple[float, float] = (0.0, 0.0)
    visits: tuple[str, ...] = VISITS


def outlines(blocks: int, rng: np.random.Generator) -> gpd.GeoDataFrame:
    pitch = SIDE_M + ROAD_M
    drawn = []
    for i in range(blocks):
        x, y = CORNER[0] + pitch * (i % ROW_OF_BLOCKS), CORNER[1] + pitch * (i // ROW_OF_BLOCKS)
        corners = np.array([(x, y), (x + SIDE_M, y), (x + SIDE_M, y + SIDE_M), (x, y + SIDE_M)])
        drawn.append(shapely.Polygon(corners + rng.uniform(-5, 5, (4, 2))))
    turned = [rotate(shape, TURN_DEGREES, origin=CORNER) for shape in drawn]
    names = [f"B{i + 1:03d}" for i in range(blocks)]
    crops = [CROPS[i % len(CROPS)] for i in range(blocks)]
    return gpd.GeoDataFrame({"block": names, "crop": crops}, geometry=turned, crs=CRS)


def zones(blocks: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Cut every block into strips."""
    rows = []
    for block in blocks.itertuples():
        level = rotate(block.geometry, -TURN_DEGREES, origin=CORNER)
        west, south, east, north = level.bounds
        edges = np.linspace(west, east, VALVES + 1)
        for k in range(VALVES):
            strip = shapely.box(edges[k], south, edges[k + 1], north).intersection(level)
            rows.append((f"{block.block}-{k + 1}", block.block, rotate(strip, TURN_DEGREES, origin=CORNER)))
    table = pd.DataFrame(rows, columns=["valve", "block", "geometry"])
    return gpd.GeoDataFrame(table, geometry="geometry", crs=CRS)


def readings(
    valves: gpd.GeoDataFrame, rng: np.random.Generator, trees: int = 1, visits: tuple[str, ...] = VISITS
) -> pd.DataFrame:
    """So many trees in every valve zone at every visit."""
    valves = valves.loc[valves.index.repeat(trees)].reset_index(drop=True)
    blocks = valves["block"].drop_duplicates().tolist()
    of_block = dict(zip(blocks, rng.normal(0, 2, len(blocks)), strict=True))
    of_valve = rng.normal(0, 1.2, len(valves) // trees).repeat(trees)
    at = np.array([_inside(shape, rng) for shape in valves.geometry])
    places = gpd.GeoSeries(gpd.points_from_xy(*at.T), crs=CRS).to_crs("EPSG:4326")
    wave = 1.2 * np.sin(at[:, 0] / 90) * np.cos(at[:, 1] / 70)
    level = 13 + valves["block"].map(of_block).to_numpy() + of_valve + wave
    tables = []
    for number, day in enumerate(visits):
        clock = pd.Timestamp(f"{day} 13:02") + pd.to_timedelta(rng.integers(0, 115, len(valves)), unit="min")
        table = {
            "tree_id": [f"T{i + 1}" for i in range(len(valves))],
            "time": clock.strftime("%Y-%m-%d %H:%M"),
            "lon": places.x.round(7),
            "lat": places.y.round(7),
            "pressure_bar": np.clip(level + number + rng.normal(0, 1.0, len(valves)), 3, 40).round(1),
            "bag_minutes": 15,
        }
        tables.append(pd.DataFrame(table))
    return pd.concat(tables, ignore_index=True)


def _inside(shape: shapely.Polygon, rng: np.random.Generator) -> tuple[float, float]:
    west, south, east, north = shape.bounds
    inner = shape.buffer(-8)
    while True:
        x, y = rng.uniform((west, south), (east, north))
        if shapely.contains_xy(inner, x, y):
            return x, y


def weather() -> pd.DataFrame:
    hours = pd.date_range("2026-06-01 00:00", "2026-07-15 23:00", freq="h")
    warm = 26.0 + 9.0 * np.sin((hours.hour - 9) * np.pi / 12)
    table = {
        "time": hours.strftime("%Y-%m-%d %H:%M"),
        "temp_c": warm.round(1),
        "rh_pct": (95 - 2 * warm).round(),
    }
    return pd.DataFrame(table)


def irrigation(valves: gpd.GeoDataFrame, rng: np.random.Generator) -> pd.DataFrame:
    start = pd.Timestamp("2026-06-15 18:00") + pd.to_timedelta(rng.integers(0, 26, len(valves)), unit="D")
    return pd.DataFrame({"valve": valves["valve"], "start": start.strftime("%Y-%m-%d %H:%M"), "hours": 12})


def draw(
    folder: Path, *, blocks: int, cell_m: float, more: str = "", trees: int = 1, kind: Kind | None = None
) -> Path:
    """Write the ranch and return its settings file."""
    kind = kind or Kind()
    rng = np.random.default_rng(kind.seed)
    folder.mkdir(parents=True, exist_ok=True)
    areas = outlines(blocks, rng)
    valves = zones(areas)
    for layer in (areas, valves):
        layer.geometry = layer.translate(*kind.moved_m)
    areas.to_crs("EPSG:4326").to_file(folder / "blocks.geojson", driver="GeoJSON")
    valves.to_file(folder / "valves.gpkg", driver="GPKG")
    readings(valves, rng, trees, kind.visits).to_csv(folder / "readings.csv", index=False)
    weather().to_csv(folder / "weather.csv", index=False)
    irrigation(valves, rng).to_csv(folder / "irrigation.csv", index=False)
    settings = SETTINGS.format(cell_m=cell_m, name=kind.name) + more
    (folder / "ranch.toml").write_text(settings, encoding="utf-8")
    return folder / "ranch.toml"
