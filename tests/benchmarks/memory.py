"""Peak memory of whole runs that once grew without bound: many readings a block, and blocks far apart.

Run by hand: ``python tests/benchmarks/memory.py [dense_500] [far_200] ...``. Each case is one process of the
real command; its peak is what the system counted for it and may not be over ``MOST_MB``. A refusal must come
within ``REFUSED_S`` of processor time.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import drawn_ranch
import geopandas as gpd
from shapely.affinity import translate

MOST_MB = 2_000
REFUSED_S = 2.0
ENVIRONMENT = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])}


@dataclass
class Ended:
    """How a process ended: exit code, wall and processor seconds, peak MB, its last words."""

    code: int
    wall_s: float
    cpu_s: float
    peak_mb: float
    words: str


def run(ranch: Path, out: Path, jobs: int) -> Ended:
    words = [
        sys.executable,
        "-m",
        "stressmap.cli",
        "run",
        ranch,
        "--out",
        out,
        "--quiet",
        "--jobs",
        str(jobs),
    ]
    began = time.perf_counter()
    with (out.parent / "said.txt").open("wb") as said:
        running = subprocess.Popen(list(map(str, words)), env=ENVIRONMENT, stdout=said, stderr=said)
        _, status, used = os.wait4(running.pid, 0)
    seconds, cpu = time.perf_counter() - began, used.ru_utime + used.ru_stime
    last = (out.parent / "said.txt").read_text().strip().splitlines()[-1:]
    return Ended(os.waitstatus_to_exitcode(status), seconds, cpu, used.ru_maxrss / 1e3, "".join(last))


def dense(blocks: int, trees: int) -> Callable[[Path], Path]:
    return lambda folder: drawn_ranch.draw(folder, blocks=blocks, cell_m=5.0, trees=trees)


def far(apart_m: float) -> Callable[[Path], Path]:
    """Two groups of blocks so far apart, corner to corner."""

    def draw(folder: Path) -> Path:
        ranch = drawn_ranch.draw(folder, blocks=4, cell_m=5.0, trees=3)
        blocks = gpd.read_file(folder / "blocks.geojson").to_crs(drawn_ranch.CRS)
        moved = set(blocks["block"].iloc[2:])
        readings = gpd.pd.read_csv(folder / "readings.csv")
        at = gpd.GeoSeries(gpd.points_from_xy(readings["lon"], readings["lat"]), crs="EPSG:4326")
        at = at.to_crs(drawn_ranch.CRS)
        valves = gpd.read_file(folder / "valves.gpkg")
        far_ones = valves[valves["block"].isin(moved)].union_all().buffer(20)
        shift = apart_m / 2**0.5
        at = at.where(~at.within(far_ones), at.translate(shift, shift)).to_crs("EPSG:4326")
        readings.assign(lon=at.x.round(7), lat=at.y.round(7)).to_csv(folder / "readings.csv", index=False)
        for table, name in ((blocks, "blocks.geojson"), (valves, "valves.gpkg")):
            shapes = [
                translate(shape, shift, shift) if block in moved else shape
                for shape, block in zip(table.geometry, table["block"], strict=True)
            ]
            (folder / name).unlink()
            table.set_geometry(shapes, crs=drawn_ranch.CRS).to_crs("EPSG:4326").to_file(folder / name)
        return ranch

    return draw


CASES = {
    "dense_500": dense(2, 42),
    "dense_5000": dense(20, 42),
    "far_68": far(68_000),
    "far_60": far(60_000),
    "far_200": far(200_000),
    "far_600": far(600_000),
}


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("cases", nargs="*", default=list(CASES))
    asked.add_argument("--jobs", type=int, default=len(os.sched_getaffinity(0)))
    asked.add_argument("--keep", type=Path)
    chosen = asked.parse_args()
    print(f"{chosen.jobs} jobs, load {os.getloadavg()[0]:.1f}")
    folder = chosen.keep or Path(tempfile.mkdtemp(prefix="memory-"))
    over = []
    for case in chosen.cases:
        ranch = CASES[case](folder / case)
        ended = run(ranch, folder / case / "out", chosen.jobs)
        print(
            f"{case:<12}exit {ended.code}  {ended.wall_s:6.1f} s  {ended.cpu_s:6.1f} CPU s  "
            f"{ended.peak_mb:6.0f} MB  {ended.words}",
            flush=True,
        )
        if ended.code == 0:
            print("  ", json.loads((folder / case / "out" / "run.json").read_text())["timings"])
        if ended.peak_mb > MOST_MB or (ended.code and ended.cpu_s > REFUSED_S):
            over.append(case)
    if chosen.keep is None:
        shutil.rmtree(folder)
    if over:
        sys.exit(f"over the bound: {', '.join(over)}")


if __name__ == "__main__":
    main()
