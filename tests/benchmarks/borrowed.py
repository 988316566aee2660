"""What a ranch with 10 to 20 readings gains from the other ranches of its district, on drawn districts.

Run by hand: ``python tests/benchmarks/borrowed.py [--districts 60] [--first 100]``; its tables are in
docs/benchmarks.md. Fits are made on arrays directly.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.drawn_districts import draw_district, draw_logged, krige_by_truth
from helpers.drawn_seasons import DrawnSeason

from stressmap.geostat.borrowed_model import lent_slopes
from stressmap.geostat.borrowed_priors import BorrowedPriors, OwnEvidence
from stressmap.geostat.drying_slopes import USUAL_SLOPES, SlopePriors
from stressmap.geostat.memory_mixture import one_visit, remember
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.persistence import USUAL_PERSISTENCE
from stressmap.geostat.pooled_priors import pool
from stressmap.geostat.samples import Estimate, Samples
from stressmap.geostat.series_evidence import series_evidence

Z_90 = 1.6449
Row = dict[str, tuple[float, int]]


def fitted(samples: Samples, lent: BorrowedPriors | None) -> StructuredSurface:
    surface = fit_surface(samples, method="structured", options=SurfaceOptions(lent=lent))
    assert isinstance(surface, StructuredSurface)
    return surface


def told(surface: StructuredSurface) -> OwnEvidence:
    assert surface.fit.told is not None
    return surface.fit.told


def judged(found: Estimate, truth: np.ndarray) -> tuple[float, int]:
    """Sum the squared misses of zones, and count those inside their 90 % intervals."""
    miss = found.mean - truth
    return float((miss**2).sum()), int((np.abs(miss) < Z_90 * np.sqrt(found.variance)).sum())


def one_visit_each(seed: int, *, unlike: bool) -> tuple[Row, int, float]:
    """Map the small ranch of a district without logs."""
    *others, small = draw_district(seed, unlike=unlike)
    lent = pool([told(fitted(one.samples, BorrowedPriors())) for one in others])
    asked = small.cells, small.cells.valve, small.zones
    borrowing = fitted(small.samples, lent)
    found = {
        "alone": fitted(small.samples, None).predict_zones(*asked),
        "borrowed": borrowing.predict_zones(*asked),
        "true covariance": Estimate(*krige_by_truth(small)),
    }
    row = {name: judged(one, small.zone_truth) for name, one in found.items()}
    return row, small.zones, told(borrowing).borrowed


def evidence_of(season: DrawnSeason) -> OwnEvidence:
    today = fitted(season.today, BorrowedPriors())
    both = remember(today, season.logged)
    assert both is not None
    return replace(told(today), series=series_evidence(both, USUAL_PERSISTENCE))


def with_log(season: DrawnSeason, surface: StructuredSurface, slopes: SlopePriors) -> Estimate:
    """Map a first visit with its log."""
    dryness = season.logged.dryness
    assert dryness is not None
    series = replace(season.logged, dryness=replace(dryness, slopes=slopes))
    return one_visit(series, surface).predict_zones(season.cells, season.cells.valve, season.zones)


def first_visit_with_log(seed: int, *, unlike: bool) -> tuple[Row, int, float]:
    """Map the small ranch of a district with logs."""
    district = draw_logged(seed, unlike=unlike)
    small, lent = district.small, pool([evidence_of(one) for one in district.lenders])
    asked = small.cells, small.cells.valve, small.zones
    alone, borrowing = fitted(small.today, None), fitted(small.today, lent)
    found = {
        "alone": alone.predict_zones(*asked),
        "borrowed": with_log(small, borrowing, lent_slopes(lent)),
        "borrowed without log": borrowing.predict_zones(*asked),
        "log with the slope of a ranch alone": with_log(small, alone, USUAL_SLOPES),
    }
    row = {name: judged(one, small.zone_truth[-1]) for name, one in found.items()}
    return row, small.zones, told(borrowing).borrowed


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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--districts", type=int, default=60)
    parser.add_argument("--first", type=int, default=100)
    asked = parser.parse_args()
    seeds = range(asked.first, asked.first + asked.districts)
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
