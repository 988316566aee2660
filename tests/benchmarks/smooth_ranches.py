"""What the model without unit effects brings where there are none, and costs where there are.

Run by hand: ``python tests/benchmarks/smooth_ranches.py [--ranches 12]``; its table is in docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.drawn_ranches import draw_ranch, true_parameters
from helpers.smooth_ranches import KINDS, draw_smooth, krige_by_truth

from stressmap.geostat import without_units
from stressmap.geostat.methods import fit_surface

CHANCES = {"unit effects always": 1e-300, "as it is": without_units.CHANCE}
UNITS = "with unit effects"


def misses(kind: str, blocks: int, seed: int) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Sum squared misses of the truth's kriging and of both fits; their covered zones, zones and seconds."""
    if kind == UNITS:
        ranch = draw_ranch(seed, blocks=blocks, cell_m=40.0)
        cells, zone, samples, best = ranch.cells, ranch.zone_truth, ranch.samples, true_parameters(ranch)[0]
    else:
        cells, zone, samples = draw_smooth(seed, kind, blocks)
        best = krige_by_truth(cells, samples, kind)
    squares, told = [((best - zone) ** 2).sum()], {}
    for name, chance in CHANCES.items():
        without_units.CHANCE = chance
        start = time.process_time()
        surface = fit_surface(samples, method="structured")
        taken = time.process_time() - start
        found = surface.predict_zones(cells, cells.valve, len(zone))
        squares.append(((found.mean - zone) ** 2).sum())
        inside = np.abs(found.mean - zone) < 1.6449 * np.sqrt(found.variance)
        told[name] = np.array([inside.sum(), len(zone), taken])
    return np.array(squares), told


def row(kind: str, blocks: int, seeds: range) -> None:
    with threadpool_limits(1):
        found = [misses(kind, blocks, seed) for seed in seeds]
    squares = np.array([one for one, _ in found])
    told = {name: sum(one[name] for _, one in found) for name in CHANCES}
    total = squares.sum(axis=0)
    left = total - squares
    error = np.sqrt((len(left) - 1) * np.sqrt(left[:, 2] / left[:, 1]).var())
    zones = next(iter(told.values()))[1]
    truth, before, after = np.sqrt(total / zones)
    covers = " / ".join(f"{t[0] / t[1]:.3f}" for t in told.values())
    seconds = " / ".join(f"{t[2] / len(seeds):.2f}" for t in told.values())
    print(
        f"| {kind} | {blocks} | {truth:.3f} | {before:.3f} | {after:.3f} "
        f"| {after / before:.3f} ± {error:.3f} | {covers} | {seconds} |",
        flush=True,
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ranches", type=int, default=12)
    parser.add_argument("--first", type=int, default=700)
    asked = parser.parse_args()
    print("| ranch | blocks | true model | before | after | after by before | 90 % covers | fit, s |")
    print("| --- " * 8 + "|")
    for kind in (*KINDS, UNITS):
        for blocks in (7, 24):
            row(kind, blocks, range(asked.first, asked.first + asked.ranches))


if __name__ == "__main__":
    main()
