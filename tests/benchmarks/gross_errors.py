"""What gross errors do to the map, and what doubting them brings, on simulated ranches.

Run by hand: ``python tests/benchmarks/gross_errors.py [--ranches 40] [--bound]``; prints a table of
docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.error_bound import squares
from helpers.spoiled_ranches import METHODS, Outcome, outcomes, rmse

CASES = [(n, share, False) for share in (0.0, 0.05, 0.10) for n in (110, 44)] + [
    (110, 0.0, True),
    (44, 0.0, True),
]


def ratio_error(plain: list[Outcome], other: list[Outcome]) -> float:
    """Standard error of the ratio of two errors, ranches left out one at a time (jackknife)."""
    ratios = [rmse(other[:i] + other[i + 1 :]) / rmse(plain[:i] + plain[i + 1 :]) for i in range(len(plain))]
    return float(np.sqrt((len(ratios) - 1) * np.var(ratios)))


def row(readings: int, share: float, tails: bool, seeds: range) -> None:  # noqa: FBT001
    with threadpool_limits(1):
        found = [outcomes(readings, share, seed, tails=tails) for seed in seeds]
    plain = [one[METHODS[0]] for one in found]
    case = f"{readings} | {'heavy-tailed trees' if tails else f'{100 * share:.0f} %'}"
    for name in METHODS[: 3 if share else 2]:
        own = [one[name] for one in found]
        inside = sum(o.inside for o in own) / sum(o.zones for o in own)
        gain = np.array([o.relief - p.relief for o, p in zip(own, plain, strict=True)])
        told = f"{rmse(own) / rmse(plain):.3f} ± {ratio_error(plain, own):.3f}" if name != METHODS[0] else ""
        gained = f"{gain.mean():+.4f} ± {gain.std() / np.sqrt(len(gain)):.4f}" if told else ""
        relief = np.mean([o.relief for o in own])
        print(
            f"| {case} | {name} | {rmse(own):.3f} | {told} | {inside:.3f} | {relief:.3f} | {gained} |",
            flush=True,
        )


def bound(seeds: range) -> None:
    """Print what could be done at best, were all known but which readings are wrong."""
    print("| readings | gross errors | judged, by all in full | wrong ones known, by all in full |")
    print("| --- | --- | --- | --- |")
    for readings, share, _ in [case for case in CASES if case[1]]:
        with threadpool_limits(1):
            found = np.array([squares(readings, share, seed) for seed in seeds])
        ratio = np.sqrt(found.sum(axis=0) / found[:, 0].sum())
        without = np.sqrt((found.sum(axis=0) - found) / (found[:, :1].sum(axis=0) - found[:, :1]))
        error = np.sqrt((len(found) - 1) * without.var(axis=0))
        told = " | ".join(f"{ratio[i]:.3f} ± {error[i]:.3f}" for i in (1, 2))
        print(f"| {readings} | {100 * share:.0f} % | {told} |", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ranches", type=int, default=40)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--bound", action="store_true", help="only what could be done at best")
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.ranches)
    if asked.bound:
        bound(seeds)
        return
    print(
        "| readings | gross errors | map | error, bar | against all in full | 90 % covers | relief | more |"
    )
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    for case in CASES:
        row(*case, seeds)


if __name__ == "__main__":
    main()
