"""What one weather within a visit is worth: zone errors with and without it, on simulated ranches.

Two hours of readings in walking order while the air dries, so that the fully watered line drifts; the true
line's slope differs from the one taken (a fifth of it, one standard deviation), and the station's record has
an error of its own. Run by hand: ``python tests/benchmarks/weather_drift.py [--ranches 40]``; prints the
table of docs/benchmarks.md.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.drawn_ranches import Ranch, draw_ranch

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.visit_weather import (
    SLOPE_ERROR,
    middle_deficit_kpa,
    shift_error_bar,
    weather_shift_bar,
)
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.options import SurfaceOptions

READING_ERROR_BAR = 0.5
STATION_ERROR_KPA = 0.05
MIDDLE_KPA = 3.6


def walked(ranch: Ranch) -> np.ndarray:
    """Give each reading's place in the round, 0 to 1: block after block, from the west."""
    places = ranch.samples.places
    middle = np.array([places.xy[places.block == b, 0].mean() for b in range(places.block.max() + 1)])
    order = np.lexsort((places.xy[:, 1], middle[places.block]))
    at = np.empty(len(order))
    at[order] = np.linspace(0.0, 1.0, len(order))
    return at


def squares(ranch: Ranch, values: np.ndarray, error_bar: float) -> np.ndarray:
    samples = replace(ranch.samples, value=values)
    surface = fit_surface(samples, method="structured", options=SurfaceOptions(reading_error_bar=error_bar))
    found = surface.predict_zones(ranch.cells, ranch.zone, ranch.zones)
    return (found.mean - ranch.zone_truth) ** 2


def compared(seed: int, drift_bar: float) -> tuple[np.ndarray, np.ndarray]:
    """Return squared errors of zone means, as read and carried to the middle weather."""
    ranch, rng = draw_ranch(seed), np.random.default_rng(10_000 + seed)
    line = load_profiles({}, "ranch.toml")["prune"].baseline
    slope = line.slope_bar_per_kpa * (1.0 + SLOPE_ERROR * rng.normal())
    vpd = MIDDLE_KPA + (walked(ranch) - 0.5) * drift_bar / -line.slope_bar_per_kpa
    as_read = ranch.samples.value - slope * (vpd - vpd.mean())
    recorded = vpd + rng.normal(0.0, STATION_ERROR_KPA, len(vpd))
    shift = weather_shift_bar(recorded, line, middle_deficit_kpa(recorded))
    carried_error = float(np.hypot(READING_ERROR_BAR, shift_error_bar(shift)))
    return squares(ranch, as_read, READING_ERROR_BAR), squares(ranch, as_read - shift, carried_error)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--ranches", type=int, default=40)
    ranches = parser.parse_args().ranches
    print("| drift of the line in the window, bar | as read, RMSE bar | carried to one weather | change |")
    print("| --- | --- | --- | --- |")
    for drift in (0.0, 1.3, 2.0):
        with threadpool_limits(1):
            pairs = [compared(seed, drift) for seed in range(ranches)]
        bare, carried = (float(np.sqrt(np.mean(np.concatenate(one)))) for one in zip(*pairs, strict=True))
        print(
            f"| {drift:.1f} | {bare:.3f} | {carried:.3f} | {100 * (carried / bare - 1):+.1f} % |", flush=True
        )


if __name__ == "__main__":
    main()
