"""Simulated ranches whose truth is known, drawn otherwise than the model under test believes.

Two soils at once (a short spherical and a long exponential pattern, both stretched in a direction of their
own) instead of one round Matérn; valve zones of which some run short by a step instead of a normal spread;
blocks of unequal size; 2 to 10 readings a block, some trees measured twice. All figures invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.spatial.distance import cdist

from stressmap.geostat.hierarchical import HierarchicalSurface, variance_components
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.options import Priors, SurfaceOptions
from stressmap.geostat.samples import Places, Samples

WIDTH_M, HEIGHT_M = 1800.0, 1200.0
BLOCK_SD, SHORT_SD, LONG_SD = 1.2, 0.8, 0.8
VALVE_SD, SHORT_VALVE_SHARE, SHORT_VALVE_BAR = 0.5, 0.15, 2.5
TREE_SD, ERROR_SD = 0.9, 0.5
LEVEL_BAR = 3.0


@dataclass(frozen=True)
class Soil:
    """Two patterns, each with its range along and across a direction [m] and the direction [rad]."""

    short: tuple[float, float, float]
    long: tuple[float, float, float]

    def covariance(self, a: np.ndarray, b: np.ndarray) -> np.ndarray:
        u = np.minimum(cdist(stretch(a, *self.short), stretch(b, *self.short)), 1.0)
        near = SHORT_SD**2 * (1 - 1.5 * u + 0.5 * u**3)
        return near + LONG_SD**2 * np.exp(-cdist(stretch(a, *self.long), stretch(b, *self.long)))


@dataclass(frozen=True)
class Ranch:
    """Readings, the cells of its valve zones, and the truth in each cell and zone [bar]."""

    samples: Samples
    cells: Places
    truth: np.ndarray
    soil: Soil

    @property
    def zone(self) -> np.ndarray:
        return self.cells.valve

    @property
    def zones(self) -> int:
        return int(self.cells.valve.max()) + 1

    @property
    def zone_truth(self) -> np.ndarray:
        return np.bincount(self.zone, weights=self.truth) / np.bincount(self.zone)


def stretch(xy: np.ndarray, along: float, across: float, angle: float) -> np.ndarray:
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return (xy @ turn) / [along, across]


Box = tuple[float, float, float, float]


def cut(box: Box, pieces: int, rng: np.random.Generator) -> list[Box]:
    """Cut a rectangle into unequal ones, now along one side, now along the other."""
    if pieces == 1:
        return [box]
    x0, y0, x1, y1 = box
    low, high = (1, pieces) if pieces < 4 else (pieces // 3, pieces - pieces // 3)
    first = int(rng.integers(low, high))
    share = float(np.clip(first / pieces + rng.normal(0, 0.06), 0.2, 0.8))
    if x1 - x0 > y1 - y0:
        x = x0 + share * (x1 - x0)
        return cut((x0, y0, x, y1), first, rng) + cut((x, y0, x1, y1), pieces - first, rng)
    y = y0 + share * (y1 - y0)
    return cut((x0, y0, x1, y), first, rng) + cut((x0, y, x1, y1), pieces - first, rng)


def lay_out(blocks: int, cell_m: float, rng: np.random.Generator) -> Places:
    """Lay cells over blocks of unequal size, each cut into one to five valve zones side by side."""
    xy, block, valve = [], [], []
    valves = 0
    for b, (x0, y0, x1, y1) in enumerate(cut((0.0, 0.0, WIDTH_M, HEIGHT_M), blocks, rng)):
        x, y = (np.arange(lo + cell_m / 2, hi - cell_m / 4, cell_m) for lo, hi in ((x0, x1), (y0, y1)))
        at = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        count = int(np.clip(round((x1 - x0) * (y1 - y0) / 25_000), 1, 5))
        axis = 0 if x1 - x0 > y1 - y0 else 1
        strip = np.minimum((at[:, axis] - (x0, y0)[axis]) / ((x1 - x0, y1 - y0)[axis] / count), count - 1)
        _, strip = np.unique(strip.astype(np.int64), return_inverse=True)
        xy.append(at)
        block.append(np.full(len(at), b))
        valve.append(valves + strip)
        valves += int(strip.max()) + 1
    block_of = np.concatenate(block)
    return Places(np.concatenate(xy), block_of, np.concatenate(valve), np.zeros_like(block_of))


def draw_ranch(seed: int, *, blocks: int = 24, cell_m: float = 25.0, most: int = 10) -> Ranch:
    """Draw a ranch: readings of 2 to ``most`` trees a block, one tree in ten measured twice."""
    rng = np.random.default_rng(seed)
    cells = lay_out(blocks, cell_m, rng)
    soil = Soil(
        (rng.uniform(70, 140), rng.uniform(35, 70), rng.uniform(0, np.pi)),
        (rng.uniform(250, 500), rng.uniform(100, 200), rng.uniform(0, np.pi)),
    )
    covariance = soil.covariance(cells.xy, cells.xy)
    covariance[np.diag_indices(len(cells))] += 1e-9
    pattern = np.linalg.cholesky(covariance) @ rng.normal(size=len(cells))
    zones = int(cells.valve.max()) + 1
    step = rng.normal(0, VALVE_SD, zones) + SHORT_VALVE_BAR * (rng.random(zones) < SHORT_VALVE_SHARE)
    truth = LEVEL_BAR + rng.normal(0, BLOCK_SD, blocks)[cells.block] + step[cells.valve] + pattern
    chosen = [
        rng.choice(np.flatnonzero(cells.block == b), int(rng.integers(2, most + 1)), replace=False)
        for b in range(blocks)
    ]
    trees = np.concatenate(chosen)
    twice = rng.random(len(trees)) < 0.1
    tree = np.concatenate([np.arange(len(trees)), np.flatnonzero(twice)])
    at = trees[tree]
    value = truth[at] + rng.normal(0, TREE_SD, len(trees))[tree] + rng.normal(0, ERROR_SD, len(tree))
    return Ranch(Samples(cells.take(at), value, tree), cells, truth, soil)


def true_parameters(ranch: Ranch) -> tuple[np.ndarray, np.ndarray]:
    """Krige zone means with the covariance the ranch was drawn from: means and variances."""
    s, c = ranch.samples, ranch.cells
    valve = VALVE_SD**2 + SHORT_VALVE_BAR**2 * SHORT_VALVE_SHARE * (1 - SHORT_VALVE_SHARE)

    def shared(a: Places, b: Places) -> np.ndarray:
        return (
            ranch.soil.covariance(a.xy, b.xy)
            + BLOCK_SD**2 * (a.block[:, None] == b.block)
            + valve * (a.valve[:, None] == b.valve)
        )

    readings = shared(s.places, s.places) + ERROR_SD**2 * np.eye(len(s))
    readings += TREE_SD**2 * (s.tree[:, None] == s.tree)
    factor = cho_factor(readings)
    ones = cho_solve(factor, np.ones(len(s)))
    level = (ones @ s.value) / ones.sum()
    mean, variance = np.empty(ranch.zones), np.empty(ranch.zones)
    for zone in range(ranch.zones):
        inside = c.take(ranch.zone == zone)
        right = shared(inside, s.places).mean(axis=0)
        weights = cho_solve(factor, right)
        mean[zone] = level + weights @ (s.value - level)
        own = shared(inside, inside).mean()
        variance[zone] = own - weights @ right + (1 - right @ ones) ** 2 / ones.sum()
    return mean, variance


def predict_zones(ranch: Ranch, *, best_fit_too: bool = False) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Estimate zone means and their variances by every method; plain block averages state no variance."""
    asked = {"structured": SurfaceOptions(), "ordinary": SurfaceOptions()}
    found = {}
    for method, options in asked.items():
        surface = fit_surface(ranch.samples, method=method, options=options)
        assert surface.method == method, surface.notes
        assert not surface.notes
        found[method] = surface.predict_zones(ranch.cells, ranch.zone, ranch.zones)
    if best_fit_too:
        surface = fit_surface(ranch.samples, method="structured", options=SurfaceOptions(average=False))
        found["structured, best fit alone"] = surface.predict_zones(ranch.cells, ranch.zone, ranch.zones)
    drawn = HierarchicalSurface(ranch.samples, variance_components(ranch.samples, Priors()))
    found["block averages, drawn together"] = drawn.predict_zones(ranch.cells, ranch.zone, ranch.zones)
    result = {name: (e.mean, e.variance) for name, e in found.items()}
    block, value = ranch.samples.places.block, ranch.samples.value
    plain = np.bincount(block, weights=value) / np.bincount(block)
    of_zone = np.zeros(ranch.zones, dtype=np.int64)
    of_zone[ranch.zone] = ranch.cells.block
    result["block averages"] = (plain[of_zone], np.full(ranch.zones, np.nan))
    result["true parameters"] = true_parameters(ranch)
    return result


@dataclass
class Tally:
    """What many ranches have shown of one method: misses of zone means and of their 50 and 90 % intervals."""

    miss: list[np.ndarray]
    inside_50: list[np.ndarray]
    inside_90: list[np.ndarray]
    inside_unmeasured: list[np.ndarray]

    @property
    def rmse(self) -> float:
        return float(np.sqrt(np.mean(np.concatenate(self.miss) ** 2)))

    def covered(self, which: str) -> float:
        return float(np.mean(np.concatenate(getattr(self, which))))


def tally(seeds: range, **ranch_options: object) -> dict[str, Tally]:
    """Draw ranches and sum up how every method did on their zones."""
    table: dict[str, Tally] = {}
    best_fit_too = bool(ranch_options.pop("best_fit_too", False))
    for seed in seeds:
        ranch = draw_ranch(seed, **ranch_options)  # type: ignore[arg-type]
        unmeasured = ~np.isin(np.arange(ranch.zones), ranch.samples.places.valve)
        for name, (mean, variance) in predict_zones(ranch, best_fit_too=best_fit_too).items():
            one = table.setdefault(name, Tally([], [], [], []))
            miss = mean - ranch.zone_truth
            z = np.abs(miss) / np.sqrt(variance)
            one.miss.append(miss)
            one.inside_50.append(z < 0.6745)
            one.inside_90.append(z < 1.6449)
            one.inside_unmeasured.append(z[unmeasured] < 1.6449)
    return table
