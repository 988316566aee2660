"""A year of a large ranch by ``stressmap season``: seconds, CPU seconds and memory.

Run by hand, on a quiet machine: ``python tests/benchmarks/season_large.py [--blocks 250] [--visits 30]``.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from pathlib import Path

import drawn_ranch
import numpy as np
import pandas as pd
from large_ranch import watch

FIRST, TREES_A_BLOCK = pd.Timestamp("2026-03-10"), 2


def draw(folder: Path, blocks: int, visits: int) -> Path:
    """Write a ranch that is read every week, two trees a block, and watered every week."""
    source = drawn_ranch.draw(folder, blocks=blocks, cell_m=5.0)
    rng = np.random.default_rng(5)
    once = pd.read_csv(folder / "readings.csv")
    once = once[once["time"].str.startswith(drawn_ranch.VISITS[0])]
    valve = np.arange(len(once)) % drawn_ranch.VALVES
    tables, sets = [], []
    for week in range(visits):
        day = FIRST + pd.Timedelta(days=7 * week)
        here = once[(valve == week % 6) | (valve == (week // 2 + 3) % 6)].head(TREES_A_BLOCK * blocks)
        moved = day + (pd.to_datetime(here["time"]) - pd.Timestamp(drawn_ranch.VISITS[0]))
        pressure = (here["pressure_bar"] + 0.1 * week + rng.normal(0, 0.8, len(here))).round(1)
        tables.append(here.assign(time=moved.dt.strftime("%Y-%m-%d %H:%M"), pressure_bar=pressure))
        names = [f"B{b + 1:03d}-{k + 1}" for b in range(blocks) for k in range(drawn_ranch.VALVES)]
        start = day - pd.Timedelta(hours=20) + pd.to_timedelta(24 * (np.arange(len(names)) % 6), unit="h")
        sets.append(pd.DataFrame({"valve": names, "start": start.strftime("%Y-%m-%d %H:%M"), "hours": 12}))
    pd.concat(tables).to_csv(folder / "readings.csv", index=False)
    pd.concat(sets).to_csv(folder / "irrigation.csv", index=False)
    hours = pd.date_range(FIRST - pd.Timedelta(days=50), periods=24 * (60 + 7 * visits), freq="h")
    warm = 26.0 + 9.0 * np.sin((hours.hour - 9) * np.pi / 12)
    pd.DataFrame(
        {"time": hours.strftime("%Y-%m-%d %H:%M"), "temp_c": warm.round(1), "rh_pct": (95 - 2 * warm).round()}
    ).to_csv(folder / "weather.csv", index=False)
    return source


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--blocks", type=int, default=250)
    parser.add_argument("--visits", type=int, default=30)
    asked = parser.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    with tempfile.TemporaryDirectory(prefix="season-large-") as folder:
        source = draw(Path(folder) / "ranch", asked.blocks, asked.visits)
        out = Path(folder) / "out"
        seconds, cpu, peak = watch("-m", "stressmap.cli", "season", source, "--out", out, "--quiet").end
        size = (out / "season.html").stat().st_size / 1e6
        print(
            f"{asked.blocks} blocks, {asked.visits} visits: {seconds:.0f} s, {cpu:.0f} CPU s, {peak:.0f} MB"
        )
        print(f"season.html {size:.1f} MB")


if __name__ == "__main__":
    main()
