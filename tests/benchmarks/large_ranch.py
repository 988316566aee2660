"""A whole large ranch by the real command: seconds, CPU seconds and memory by stage, beside a user's script.

Run by hand, on a quiet machine: ``python tests/benchmarks/large_ranch.py [--blocks 250] [--cell 5]``,
``[--script 1.0]`` for the share of the grid that the script kriges (0 leaves it out), ``[--growth]`` for how
time grows with cells and blocks, ``[--readings]`` for how time and memory grow with readings, ``[--trees 1]``
in each valve zone, ``[--water]`` for a water plan too, ``[--jobs 2]``. Every ratio is of times measured in
the same run.
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
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from drawn_ranch import draw

HERE = Path(__file__).parent
ENVIRONMENT = os.environ | {"PYTHONPATH": str(HERE.parents[1])}
EVERY_S = 0.02
WATER = """
[water]
available = "900 acre-ft"
hours = ["20:00", "06:00"]
mm_per_bar = 15
"""
TICKS = os.sysconf("SC_CLK_TCK")


@dataclass
class Watched:
    """A finished process: samples of (seconds, CPU seconds, MB) since its start."""

    samples: np.ndarray

    @property
    def end(self) -> tuple[float, float, float]:
        return self.samples[-1, 0], self.samples[-1, 1], float(self.samples[:, 2].max())

    def stages(self, seconds: dict[str, float]) -> dict[str, tuple[float, float, float]]:
        """Seconds, CPU seconds and peak MB by stage, the stages lying end to end before the process ends."""
        edges = np.cumsum([0.0, *seconds.values()])
        edges += self.samples[-1, 0] - edges[-1]
        found = {"start": self._between(0.0, edges[0])}
        return found | {name: self._between(*edges[i : i + 2]) for i, name in enumerate(seconds)}

    def _between(self, begin: float, end: float) -> tuple[float, float, float]:
        at = self.samples[:, 0]
        inside = self.samples[(at >= begin) & (at <= end)]
        cpu = np.interp([begin, end], at, self.samples[:, 1])
        return end - begin, float(cpu[1] - cpu[0]), float(inside[:, 2].max()) if len(inside) else 0.0


def watch(*words: object) -> Watched:
    began, samples = time.perf_counter(), [(0.0, 0.0, 0.0)]
    running = subprocess.Popen([sys.executable, *map(str, words)], env=ENVIRONMENT, stdout=subprocess.DEVNULL)
    own = Path(f"/proc/{running.pid}")
    while running.poll() is None:
        try:
            numbers = (own / "stat").read_text().rpartition(")")[2].split()
            pages = int((own / "statm").read_text().split()[1])
        except (OSError, IndexError):
            break
        cpu = (int(numbers[11]) + int(numbers[12])) / TICKS
        samples.append((time.perf_counter() - began, cpu, pages * os.sysconf("SC_PAGE_SIZE") / 1e6))
        time.sleep(EVERY_S)
    if running.wait():
        sys.exit(f"{words} ended with {running.returncode}")
    return Watched(np.array(samples))


def show(title: str, stages: dict[str, tuple[float, float, float]]) -> None:
    print(f"\n{title}\n{'stage':<10}{'s':>8}{'CPU s':>8}{'MB':>7}")
    for name, (seconds, cpu, peak) in stages.items():
        print(f"{name:<10}{seconds:>8.1f}{cpu:>8.1f}{peak:>7.0f}")


def ours(ranch: Path, out: Path, jobs: int) -> tuple[Watched, dict[str, float]]:
    watched = watch("-m", "stressmap.cli", "run", ranch, "--out", out, "--quiet", "--jobs", jobs)
    return watched, json.loads((out / "run.json").read_text())["timings"]


def by_script(ranch: Path, out: Path, share: float) -> dict[str, tuple[float, float, float]]:
    watched = watch(HERE / "by_script.py", ranch, out, share)
    took = json.loads((out / "took.json").read_text())
    found = {name: (seconds, cpu, 0.0) for name, (seconds, cpu) in took.items()}
    total = (sum(s for s, _, _ in found.values()), sum(c for _, c, _ in found.values()), watched.end[2])
    return found | {"in all": total}


def growth(folder: Path, jobs: int) -> None:
    """How time grows over a decade of cells at 125 blocks, and over a decade of blocks at 5 m."""
    decades: dict[str, list[tuple[int, float]]] = {
        "cells": [(125, 10.0), (125, 5.62), (125, 3.162)],
        "blocks": [(50, 5.0), (158, 5.0), (500, 5.0)],
    }
    for what, cases in decades.items():
        sizes, cpu = [], []
        for blocks, cell in cases:
            ranch = draw(folder / f"{what}{blocks}_{cell:.0f}", blocks=blocks, cell_m=cell)
            watched, timings = ours(ranch, folder / "out", jobs)
            sizes.append(blocks if what == "blocks" else blocks * 160_000 / cell**2)
            cpu.append(watched.end[1])
            print(
                f"{what} {sizes[-1]:>10.0f}: {watched.end[0]:.1f} s, {cpu[-1]:.1f} CPU s, {timings}",
                flush=True,
            )
        slope = np.polyfit(np.log(sizes), np.log(cpu), 1)[0]
        last = np.log(cpu[-1] / cpu[-2]) / np.log(sizes[-1] / sizes[-2])
        print(f"{what}: exponent {slope:.2f} over the decade, {last:.2f} over its upper half")


def growth_of_readings(folder: Path, jobs: int) -> None:
    """How time and memory grow from 1,500 to 12,000 readings a visit in one ranch of 250 blocks at 5 m."""
    found = []
    for trees in (1, 2, 4, 8):
        ranch = draw(folder / f"trees{trees}", blocks=250, cell_m=5.0, trees=trees)
        watched, timings = ours(ranch, folder / "out", jobs)
        found.append((1_500 * trees, *watched.end[1:]))
        print("{:>7} readings: {:.1f} CPU s, {:.0f} MB".format(*found[-1]), timings, flush=True)
    readings, cpu, peak = np.log(np.array(found)).T
    for name, values in (("time", cpu), ("memory", peak)):
        last = (values[-1] - values[-2]) / (readings[-1] - readings[-2])
        print(f"{name}: exponent {np.polyfit(readings, values, 1)[0]:.2f} over all, {last:.2f} over the last")


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("--blocks", type=int, default=250)
    asked.add_argument("--cell", type=float, default=5.0)
    asked.add_argument("--jobs", type=int, default=len(os.sched_getaffinity(0)))
    asked.add_argument("--script", type=float, default=1.0)
    asked.add_argument("--growth", action="store_true")
    asked.add_argument("--readings", action="store_true")
    asked.add_argument("--trees", type=int, default=1)
    asked.add_argument("--water", action="store_true")
    chosen = asked.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores, {chosen.jobs} jobs")
    folder = Path(tempfile.mkdtemp(prefix="large-ranch-"))
    try:
        if chosen.growth or chosen.readings:
            (growth if chosen.growth else growth_of_readings)(folder, chosen.jobs)
            return
        more = WATER if chosen.water else ""
        ranch = draw(
            folder / "ranch", blocks=chosen.blocks, cell_m=chosen.cell, more=more, trees=chosen.trees
        )
        watched, timings = ours(ranch, folder / "out", chosen.jobs)
        show(
            f"stressmap run, {chosen.blocks} blocks, {chosen.cell:g} m",
            watched.stages(timings) | {"in all": watched.end},
        )
        if chosen.script:
            theirs = by_script(ranch, folder / "script", chosen.script)
            show(f"a user's script, {chosen.script:.0%} of the grid kriged and scaled up", theirs)
            print(f"\nratio {theirs['in all'][0] / watched.end[0]:.1f} in seconds, "
                  f"{theirs['in all'][1] / watched.end[1]:.1f} in CPU seconds")  # fmt: skip
    finally:
        print(f"load {os.getloadavg()[0]:.1f}")
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
