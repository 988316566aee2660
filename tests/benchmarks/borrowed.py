"""What a ranch with 10 to 20 readings gains from the other ranches of its district, on drawn districts.

Run by hand: ``python tests/benchmarks/borrowed.py [--districts 60] [--first 100] [--soils]``; its tables are
in docs/benchmarks.md. Fits are made on arrays directly. With ``--soils`` drying and water per bar alone.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.borrowing import Z_90, Row, drying_by_soil, first_visit_with_log, one_visit_each


def table(title: str, made: list[tuple[Row, int, float]], seconds: float) -> None:
    """Print error against alone over all zones with its jackknife error, and of single districts."""
    zones = sum(count for _, count, _ in made)
    weight = np.mean([share for *_, share in made])
    print(
        f"\n{title}: {len(made)} districts, {zones} zones, weight {weight:.2f}, processor {seconds:.0f} s\n"
    )
    print("| map | error, bar | against alone | 90 % covers | over 5 % worse | worst |")
    print("| --- " * 6 + "|")
    alone = np.array([row["alone"][0] for row, *_ in made])
    for name in made[0][0]:
        square = np.array([row[name][0] for row, *_ in made])
        ratio = np.sqrt(square.sum() / alone.sum())
        left = np.sqrt((square.sum() - square) / (alone.sum() - alone))
        error = np.sqrt((len(made) - 1) * left.var())
        covers = sum(row[name][1] for row, *_ in made) / zones
        each = np.sqrt(square / alone)
        print(
            f"| {name} | {np.sqrt(square.sum() / zones):.3f} | {ratio:.3f} ± {error:.3f} | {covers:.3f} "
            f"| {100 * (each > 1.05).mean():.0f} % | {each.max():.2f} |",
            flush=True,
        )


def soils(seeds: range) -> None:
    """Print the errors of drying and of water per bar, by soil, with their jackknife errors."""
    began = time.process_time()
    with threadpool_limits(1):
        made = [drying_by_soil(seed) for seed in seeds]
    print(f"\n{len(made)} districts, processor {time.process_time() - began:.0f} s\n")
    print("| figure | error of the logarithm | against as usual | 90 % covers |\n" + "| --- " * 4 + "|")
    square = {name: np.array([np.square(one[name]).sum() for one in made]) for name in made[0]}
    count = sum(len(one["one visit, as usual"]) for one in made)
    for name, own in square.items():
        if name.endswith(" z"):
            inside = np.abs(np.concatenate([one[name] for one in made])) < Z_90
            print(f"| {name} | | | {inside.mean():.3f} |")
            continue
        usual = square[name.partition(",")[0] + ", as usual"]
        left = np.sqrt((own.sum() - own) / (usual.sum() - usual))
        error = np.sqrt((len(made) - 1) * left.var())
        ratio = np.sqrt(own.sum() / usual.sum())
        print(f"| {name} | {np.sqrt(own.sum() / count):.3f} | {ratio:.3f} ± {error:.3f} | |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--districts", type=int, default=60)
    parser.add_argument("--first", type=int, default=100)
    parser.add_argument("--soils", action="store_true")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.districts)
    if asked.soils:
        soils(seeds)
        return
    kinds = {
        "one visit each, no logs": one_visit_each,
        "logs, the small ranch at its first visit": first_visit_with_log,
    }
    for name, draw in kinds.items():
        for unlike in (False, True):
            began = time.process_time()
            with threadpool_limits(1):
                made = [draw(seed, unlike=unlike) for seed in seeds]
            table(name + (", small ranch unlike" if unlike else ""), made, time.process_time() - began)


if __name__ == "__main__":
    main()
