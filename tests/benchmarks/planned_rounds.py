"""Maps made from planned rounds against other choices of the same number of trees, on simulated seasons.

Run by hand: ``python tests/benchmarks/planned_rounds.py [--ranches 40] [--first 0]``; prints a line a ranch,
then a table of docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.drawn_rounds import CHOICES, shown
from helpers.drawn_seasons import Season

FIRST_SEED = 9000
EARLIER = 2


def told(figures: np.ndarray) -> str:
    """Give a mean with its standard error."""
    return f"{figures.mean():.4f} ± {figures.std(ddof=1) / len(figures) ** 0.5:.4f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ranches", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    asked = parser.parse_args()
    rows = []
    with threadpool_limits(1):
        for seed in range(FIRST_SEED + asked.first, FIRST_SEED + asked.first + asked.ranches):
            found = shown(seed, Season(earlier=EARLIER))
            rows.append([found[name] for name in CHOICES])
            print(seed, np.round(rows[-1], 4).tolist(), f"{time.process_time():.0f} s", flush=True)
    figures = np.array(rows)
    print("| trees of the last round | relief | planned ahead by | zone error, bar | change, bar |")
    print("| --- | --- | --- | --- | --- |")
    for i, name in enumerate(CHOICES):
        ahead = "" if i == 0 else told(figures[:, 0, 0] - figures[:, i, 0])
        zone, change = (np.sqrt(figures[:, i, k].mean()) for k in (1, 2))
        print(f"| {name} | {told(figures[:, i, 0])} | {ahead} | {zone:.3f} | {change:.3f} |")
    less = figures[:, 2, 2] - figures[:, 0, 2]
    print(f"squared error of the change, random less planned: {told(less)}")


if __name__ == "__main__":
    main()
