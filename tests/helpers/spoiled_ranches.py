"""Drawn ranches with gross errors among their readings: how the map fares that believes all, and ours."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from helpers.drawn_ranches import Ranch, draw_ranch
from stressmap.geostat.methods import doubts_of, fit_surface
from stressmap.geostat.samples import Samples
from stressmap.geostat.surface import Surface

BLOCKS = {44: 7, 110: 17}
"""Blocks of 2 to 10 trees, by about how many readings they come to."""
CELL_M = 30.0
LEAST_BAR, MOST_BAR = 3.0, 8.0
WATERED = 0.25
METHODS = ("all in full", "doubted less", "wrong ones known")


@dataclass(frozen=True)
class Outcome:
    """What one map came to: squared misses of zone means, those inside 90 %, relief [1]."""

    squares: float
    inside: int
    zones: int
    relief: float


def spoil(samples: Samples, share: float, seed: int) -> tuple[Samples, np.ndarray]:
    """Put 3 to 8 bar, up or down, on some readings: the readings, and which were spoilt."""
    rng = np.random.default_rng([seed, 11])
    bad = rng.random(len(samples)) < share
    error = rng.uniform(LEAST_BAR, MOST_BAR, len(samples)) * rng.choice([-1, 1], len(samples))
    return replace(samples, value=samples.value + bad * error), bad


def with_heavy_tails(samples: Samples, seed: int) -> Samples:
    """Give trees further differences of Student's t with three degrees of freedom, sd 0.9 bar."""
    rng = np.random.default_rng([seed, 5])
    further = rng.standard_t(3, samples.tree.max() + 1) * 0.9 / np.sqrt(3)
    return replace(samples, value=samples.value + further[samples.tree])


def relief(ranch: Ranch, order_by: np.ndarray) -> float:
    """Stress that water on a quarter of the area relieves, as a share of the best choice's."""
    area, truth = np.bincount(ranch.zone).astype(float), np.maximum(ranch.zone_truth, 0.0)

    def got(order: np.ndarray) -> float:
        zones = np.argsort(-order, kind="stable")
        left = np.clip(WATERED * area.sum() - (np.cumsum(area[zones]) - area[zones]), 0.0, None)
        return float((np.minimum(area[zones], left) * truth[zones]).sum())

    return got(order_by) / got(ranch.zone_truth)


def outcome(ranch: Ranch, surface: Surface) -> Outcome:
    found = surface.predict_zones(ranch.cells, ranch.zone, ranch.zones)
    miss = found.mean - ranch.zone_truth
    inside = np.abs(miss) < 1.6449 * np.sqrt(found.variance)
    return Outcome(float((miss**2).sum()), int(inside.sum()), len(miss), relief(ranch, found.mean))


def robust(samples: Samples, first: Surface) -> Surface:
    """Fit as a run does: again, where readings are doubted."""
    doubts = doubts_of(first)
    if doubts is None:
        return first
    kept = ~doubts.aside
    return fit_surface(samples.take(kept), method="structured", doubts=doubts.take(kept))


def outcomes(readings: int, share: float, seed: int, *, tails: bool = False) -> dict[str, Outcome]:
    """Draw a ranch, spoil some readings and map it: believing all, doubting, and knowing which are wrong."""
    ranch = draw_ranch(seed, blocks=BLOCKS[readings], cell_m=CELL_M)
    samples = with_heavy_tails(ranch.samples, seed) if tails else ranch.samples
    spoilt, bad = spoil(samples, share, seed)
    plain = fit_surface(spoilt, method="structured")
    known = fit_surface(spoilt.take(~bad), method="structured") if bad.any() else plain
    maps = dict(zip(METHODS, (plain, robust(spoilt, plain), known), strict=True))
    return {name: outcome(ranch, surface) for name, surface in maps.items()}


def rmse(found: Iterable[Outcome]) -> float:
    """Root mean square miss of all zones [bar]."""
    all_of = list(found)
    return float(np.sqrt(sum(o.squares for o in all_of) / sum(o.zones for o in all_of)))
