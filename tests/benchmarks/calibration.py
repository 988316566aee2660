"""How true the intervals of zone means are, and how large their errors, on simulated ranches.

Run by hand: ``python tests/benchmarks/calibration.py [--ranches 60]``; prints tables of docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.drawn_ranches import tally


def table(title: str, ranches: int, **options: object) -> None:
    with threadpool_limits(1):
        results = tally(range(ranches), best_fit_too=True, **options)
    best = results["structured"].rmse
    print(f"\n{title}, {ranches} ranches, {sum(map(len, results['structured'].miss))} zones\n")
    print(
        "| method | RMSE, bar | structured against it | 50 % covers | 90 % covers | 90 %, unmeasured zones |"
    )
    print("| --- | --- | --- | --- | --- | --- |")
    for name, one in results.items():
        shares = [one.covered(w) for w in ("inside_50", "inside_90", "inside_unmeasured")]
        told = ["-"] * 3 if name == "block averages" else [f"{s:.3f}" for s in shares]
        against = f"{100 * (best / one.rmse - 1):+.1f} %"
        print(f"| {name} | {one.rmse:.3f} | {against} | {' | '.join(told)} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ranches", type=int, default=60)
    asked = parser.parse_args()
    table("24 blocks, 2 to 10 readings a block", asked.ranches)
    table("6 blocks, 2 to 4 readings a block", asked.ranches, blocks=6, most=4)


if __name__ == "__main__":
    main()
