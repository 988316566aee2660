"""The same job as a user would script it: PyKrige by itself over the whole grid, rasterio shapes, folium.

``python tests/benchmarks/by_script.py RANCH.toml OUT SHARE`` leaves seconds and CPU seconds by stage in
``OUT/took.json``. With a share under 1 only so much of the grid is kriged, and those seconds are scaled up.
"""

from __future__ import annotations

import json
import sys
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import folium
import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
from pykrige.ok import OrdinaryKriging
from rasterio.features import rasterize, shapes
from rasterio.transform import from_origin
from shapely.geometry import shape

CHUNK = 10_000
EDGES = (0.0, 2.0, 4.0)
TARGET_BAR = 12.0
took: dict[str, list[float]] = {}


@contextmanager
def stage(name: str, scale: float = 1.0) -> Iterator[None]:
    began, cpu = time.perf_counter(), time.process_time()
    yield
    took[name] = [(time.perf_counter() - began) * scale, (time.process_time() - cpu) * scale]


def main(source: Path, out: Path, share: float) -> None:
    settings = tomllib.loads(source.read_text(encoding="utf-8"))
    cell = settings["map"]["cell_m"]
    out.mkdir(parents=True, exist_ok=True)
    with stage("read"):
        blocks = gpd.read_file(source.parent / "blocks.geojson").to_crs("EPSG:32610")
        valves = gpd.read_file(source.parent / "valves.gpkg")
        table = pd.read_csv(source.parent / "readings.csv", parse_dates=["time"])
        table = table[table["time"].dt.date == table["time"].dt.date.max()]
        places = gpd.points_from_xy(table["lon"], table["lat"], crs="EPSG:4326").to_crs(blocks.crs)
        stress = table["pressure_bar"].to_numpy() - TARGET_BAR
    with stage("fit"):
        kriger = OrdinaryKriging(places.x, places.y, stress, variogram_model="spherical")
    west, south, east, north = blocks.total_bounds
    size = int(np.ceil((north - south) / cell)), int(np.ceil((east - west) / cell))
    frame = from_origin(west, north, cell, cell)
    inside = rasterize(blocks.geometry, out_shape=size, transform=frame).astype(bool)
    row, col = np.nonzero(inside)
    x, y = west + (col + 0.5) * cell, north - (row + 0.5) * cell
    mean, variance = np.zeros(len(x)), np.zeros(len(x))
    starts = range(0, len(x), CHUNK)
    asked = starts[:: max(1, round(1 / share))]
    with stage("krige", len(starts) / len(asked)):
        for start in asked:
            part = slice(start, start + CHUNK)
            mean[part], variance[part] = kriger.execute("points", x[part], y[part], backend="vectorized")
    with stage("zones"):
        level = np.zeros(size, dtype=np.uint8)
        level[row, col] = 4 - np.searchsorted(EDGES, mean)
        found = [(shape(s), v) for s, v in shapes(level, mask=inside, transform=frame)]
        zones = gpd.GeoDataFrame(
            {"priority": [v for _, v in found]}, geometry=[s for s, _ in found], crs=blocks.crs
        )
        zones = gpd.overlay(zones, blocks, keep_geom_type=True)
    with stage("valves"):
        number = rasterize(
            zip(valves.geometry, range(1, len(valves) + 1), strict=True), out_shape=size, transform=frame
        )
        own = number[row, col]
        total, count = (np.bincount(own, w, len(valves) + 1)[1:] for w in (mean, None))
        ranked = valves.assign(stress_bar=total / np.maximum(count, 1)).sort_values(
            "stress_bar", ascending=False
        )
    with stage("write"):
        ranked.drop(columns="geometry").to_csv(out / "valves.csv")
        zones.to_crs("EPSG:4326").to_file(out / "zones.geojson", driver="GeoJSON")
        grid = {"height": size[0], "width": size[1], "count": 2, "dtype": "float32", "transform": frame}
        look = {"driver": "GTiff", "crs": blocks.crs, "nodata": float("nan"), "compress": "deflate"}
        with rasterio.open(out / "stress.tif", "w", **grid, **look) as opened:
            for band, values in enumerate((mean, np.sqrt(np.maximum(variance, 0))), start=1):
                filled = np.full(size, np.nan, dtype=np.float32)
                filled[row, col] = values
                opened.write(filled, band)
        page = folium.Map()
        folium.GeoJson(zones.to_crs("EPSG:4326")[["priority", "geometry"]]).add_to(page)
        folium.GeoJson(ranked.to_crs("EPSG:4326")).add_to(page)
        page.save(out / "map.html")
    (out / "took.json").write_text(json.dumps(took))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), float(sys.argv[3]))
