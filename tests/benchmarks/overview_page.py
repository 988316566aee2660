"""The overview of a large district: size, time to write it, time to the first view in Chromium.

``python tests/benchmarks/overview_page.py [BLOCKS] [FOLDER]``: 10,000 blocks of six zones on 40 ranches,
their borders bent. The first view is the mark ``district-ready``, set once map and list are drawn, counted
from the beginning of the navigation by the clock; beside it the processor time of the page's thread.
Nothing is judged here: what it prints goes into ``docs/benchmarks.md``.
"""

from __future__ import annotations

import dataclasses
import json
import resource
import shutil
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.chromium_pages import DESK, PHONE, chromium
from helpers.drawn_district import Named, drawn, folder_of

from stressmap.output.district_outputs import write_overview
from stressmap.output.view.content import Content

EACH = 250
"""Blocks of a ranch."""
APART_M = 12_000.0


def bent(content: Content, east: float, north: float, phase: float) -> Content:
    """Move a ranch and bend its borders, so that none has four corners only."""

    def wavy(xy: np.ndarray) -> np.ndarray:
        x, y = xy.T
        return np.column_stack(
            [x + 9 * np.sin(y / 130 + phase) + east, y + 9 * np.sin(x / 150 - phase) + north]
        )

    def moved(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        shapes = shapely.transform(shapely.segmentize(table.geometry.to_numpy(), 60.0), wavy)
        return gpd.GeoDataFrame(table.drop(columns="geometry"), geometry=shapes, crs=table.crs)

    raster = dataclasses.replace(
        content.raster, west=content.raster.west + east, north=content.raster.north + north
    )
    return dataclasses.replace(
        content, blocks=moved(content.blocks), valves=moved(content.valves), raster=raster
    )


def main() -> None:
    """Draw, write, look."""
    blocks = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    folder = Path(sys.argv[2]) if len(sys.argv) > 2 else Path(tempfile.mkdtemp())
    shutil.rmtree(folder, ignore_errors=True)
    drawn_once = drawn(EACH, valves=6, across=16)
    results = [
        folder_of(
            bent(drawn_once, APART_M * (i % 8), APART_M * (i // 8), i),
            folder / f"r{i:02d}",
            f"Ranch {i:02d}",
        )
        for i in range(blocks // EACH)
    ]
    begun = time.process_time()
    write_overview(Named(), results, None, folder)
    spent = time.process_time() - begun
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    page = folder / "district.html"
    told = {
        "blocks": blocks,
        "valves": blocks * 6,
        "page_kb": round(page.stat().st_size / 1e3),
        "tif_kb": round((folder / "district.tif").stat().st_size / 1e3),
        "write_s": round(spent, 1),
        "peak_mb": round(peak),
    }
    with chromium() as opened:
        opened.cdp("Performance.enable", timeDomain="threadTicks")
        for name, size in (("phone", PHONE), ("desk", DESK)):
            opened.open(page, size)
            mark = opened.js("return performance.getEntriesByName('district-ready')[0].startTime")
            metrics = {one["name"]: one["value"] for one in opened.cdp("Performance.getMetrics")["metrics"]}
            told[f"{name}_ready_ms"] = round(mark)
            told[f"{name}_processor_ms"] = round(1000 * metrics["TaskDuration"])
    sys.stdout.write(json.dumps(told, indent=2) + "\n")


if __name__ == "__main__":
    main()
