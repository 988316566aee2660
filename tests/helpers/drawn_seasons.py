"""Simulated seasons whose truth is known at every visit, drawn otherwise than the model under test believes.

What lasts comes of two soils and of valve zones that run short by a step (``drawn_ranches``); what does not
last swings (a sine of its own period for each block, fields that turn into each other) where the model has
an exponential; departures and new blocks come at once. Each valve zone dries by a bucket of its own from set
to set, convexly, and recovers over days (:mod:`helpers.drawn_sets`); the log misses sets and is wrong about
depths. Half of the trees are read again at the next visit. All figures invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from helpers.drawn_ranches import LEVEL_BAR, Soil, lay_out
from helpers.drawn_sets import Watering, draw_watering
from stressmap.geostat.drying_slopes import Dryness
from stressmap.geostat.memory_mixture import MemorySurface, remember
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Estimate, Places, Samples
from stressmap.geostat.visit_series import VisitSeries

TREE_SD, ERROR_SD = 0.7, 0.5
BLOCK_SD, VALVE_SD, PATTERN_SHARE = 1.2, 0.6, 1.0
SHORT_SHARE, SHORT_BAR = 0.15, 2.0
BLOCKS, CELL_M, TREES = 12, 40.0, 44


@dataclass(frozen=True)
class Season:
    """How a season is drawn: visits, how much of the differences lasts, what goes wrong at the last visit."""

    earlier: int = 4
    lasting: float = 0.65
    days: int = 7
    water: Watering = field(default_factory=Watering)
    departures: float = 0.0
    new_blocks: float = 0.0
    broken: float = 0.0
    blocks: int = BLOCKS
    trees: int = TREES
    spread: float = 1.0


SEASONS = {
    "typical": Season(),
    "one earlier visit": Season(earlier=1),
    "eight earlier visits": Season(earlier=8),
    "mostly lasting": Season(lasting=0.9),
    "weekly departures": Season(departures=0.15),
    "long cycles": Season(water=Watering(cycle_days=(14.0, 24.0))),
    "uneven sets": Season(water=Watering(uneven=0.5)),
    "valves broken": Season(broken=0.1),
    "half the blocks new": Season(new_blocks=0.5),
    "nothing lasts": Season(lasting=0.0, days=60),
    "nothing lasts, one earlier visit": Season(earlier=1, lasting=0.0, days=60),
    "sets do not matter": Season(water=Watering(slope_bar_mm=0.0)),
}


@dataclass(frozen=True)
class DrawnSeason:
    """Readings of all visits, with and without the log, cells, truth of each zone at each visit [bar]."""

    series: VisitSeries
    logged: VisitSeries
    cells: Places
    zone_truth: np.ndarray
    changed: np.ndarray
    weight: np.ndarray = field(repr=False)
    slope_bar_mm: np.ndarray = field(repr=False)

    @property
    def zones(self) -> int:
        return len(self.weight)

    @property
    def today(self) -> Samples:
        return self.series.samples.take(self.series.today)

    def visit(self, number: int) -> Samples:
        return self.series.samples.take(self.series.visit == number)


def swinging(count: int, days: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Draw sines of mean square one, shape (visits, count), with periods of 25 to 70 days."""
    period, phase = rng.uniform(25, 70, count), rng.uniform(0, 2 * np.pi, count)
    return np.sqrt(2) * np.sin(2 * np.pi * days[:, None] / period + phase)


def draw_effects(cells: Places, days: np.ndarray, how: Season, rng: np.random.Generator) -> np.ndarray:
    """Draw what is true of each cell at each visit about the level, shape (visits, cells)."""
    blocks, zones = int(cells.block.max()) + 1, int(cells.valve.max()) + 1
    soil = Soil(
        (rng.uniform(70, 140), rng.uniform(35, 70), rng.uniform(0, np.pi)),
        (rng.uniform(250, 500), rng.uniform(100, 200), rng.uniform(0, np.pi)),
    )
    covariance = soil.covariance(cells.xy, cells.xy)
    covariance[np.diag_indices(len(cells))] += 1e-9
    fields = (np.linalg.cholesky(covariance) @ rng.normal(size=(len(cells), 3 + len(days)))).T
    stays, goes = np.sqrt(how.lasting), np.sqrt(1 - how.lasting)
    if how.lasting == 0.0:
        block, valve = rng.normal(0, 1, (len(days), blocks)), rng.normal(0, 1, (len(days), zones))
        pattern = fields[3:]
    else:
        turn = 2 * np.pi * days[:, None] / rng.uniform(40, 90) + rng.uniform(0, 6)
        pattern = stays * fields[0] + goes * (np.sin(turn) * fields[1] + np.cos(turn) * fields[2])
        block = stays * rng.normal(0, 1, blocks) + goes * swinging(blocks, days, rng)
        valve = stays * rng.normal(0, 1, zones) + goes * swinging(zones, days, rng)
    step = SHORT_BAR * (rng.random(zones) < SHORT_SHARE) * (how.lasting > 0)
    valve = VALVE_SD * valve + step
    return BLOCK_SD * block[:, cells.block] + valve[:, cells.valve] + PATTERN_SHARE * pattern


def draw_season(seed: int, how: Season) -> DrawnSeason:
    """Draw a season: the ranch, its truth at every visit, and the readings of half old, half new trees."""
    rng = np.random.default_rng(seed)
    cells = lay_out(how.blocks, CELL_M, rng)
    days = how.days * np.arange(how.earlier + 1.0) + np.round(rng.uniform(-1, 1, how.earlier + 1))
    truth = how.spread * draw_effects(cells, days, how, rng)
    zones = int(cells.valve.max()) + 1
    block_of = np.zeros(zones, dtype=np.int64)
    block_of[cells.valve] = cells.block
    sets = draw_watering(how.water, block_of, days, rng)
    truth += sets.stress_bar[:, cells.valve]
    for visit in range(len(days)):
        away = rng.random(zones) < how.departures
        truth[visit] += (away * rng.choice([-1.5, 2.0], zones))[cells.valve]
    broken = rng.random(zones) < how.broken
    truth[-1] += 3.0 * broken[cells.valve]
    fresh = rng.permutation(how.blocks) < round(how.new_blocks * how.blocks)
    if fresh.any():
        other = draw_effects(cells, days, how, rng)[-1] + sets.stress_bar[-1, cells.valve]
        truth[-1] = np.where(fresh[cells.block], other, truth[-1])
    truth += (LEVEL_BAR + np.cumsum(rng.normal(0.2, 0.5, len(days))))[:, None]
    count = np.bincount(cells.valve, minlength=zones)
    zone_truth = np.stack([np.bincount(cells.valve, weights=t, minlength=zones) / count for t in truth])
    series = read_trees(cells, truth, days, rng, how.trees)
    dry = Dryness(sets.dryness_mm[series.visit, series.samples.places.valve], sets.dryness_mm)
    logged = replace(series, dryness=dry)
    changed, size = broken | fresh[block_of], count.astype(float)
    return DrawnSeason(series, logged, cells, zone_truth, changed, size, sets.slope_bar_mm)


def read_trees(
    cells: Places, truth: np.ndarray, days: np.ndarray, rng: np.random.Generator, trees: int = TREES
) -> VisitSeries:
    """Read so many trees at each visit, at least two a block, half of them read at the visit before."""
    tree_effect = rng.normal(0, TREE_SD, len(cells))
    at: list[np.ndarray] = []
    for _ in days:
        chosen = []
        blocks = int(cells.block.max()) + 1
        for block in range(blocks):
            mine = np.flatnonzero(cells.block == block)
            wanted = trees // blocks + int(block < trees % blocks)
            old = np.intersect1d(at[-1], mine) if at else mine[:0]
            kept = rng.permutation(old)[: (wanted + int(rng.random() < 0.5)) // 2]
            new = rng.choice(np.setdiff1d(mine, kept), wanted - len(kept), replace=False)
            chosen.append(np.concatenate([kept, new]))
        at.append(np.concatenate(chosen))
    visit = np.repeat(np.arange(len(days)), [len(one) for one in at])
    tree = np.concatenate(at)
    value = truth[visit, tree] + tree_effect[tree] + rng.normal(0, ERROR_SD, len(tree))
    return VisitSeries.of(Samples(cells.take(tree), value, tree), visit, days)


@dataclass(frozen=True)
class Shown:
    """What one season has shown: misses and standard errors of zone means and of changes [bar]."""

    miss: dict[str, np.ndarray]
    se: dict[str, np.ndarray]
    relief: dict[str, float]
    changed: np.ndarray

    def ratio(self, name: str = "memory", other: str = "today") -> float:
        """Root mean square error of one against another."""
        return float(np.sqrt(np.mean(self.miss[name] ** 2) / np.mean(self.miss[other] ** 2)))


def relief_of(mean: np.ndarray, truth: np.ndarray, weight: np.ndarray) -> float:
    """Give the stress met by watering the driest quarter by ``mean``, of what the truth would have met."""

    def met(by: np.ndarray) -> float:
        order = np.argsort(-by, kind="stable")
        room, level = 0.25 * weight.sum(), weight @ truth / weight.sum()
        share = np.clip(room - np.concatenate([[0], np.cumsum(weight[order])[:-1]]), 0, weight[order])
        return float(share @ (truth[order] - level))

    return met(mean) / met(truth)


def show(season: DrawnSeason, *, log: bool = False) -> tuple[Shown, MemorySurface]:
    """Map the last visit of a season with memory and without, and the change since the visit before."""
    last = len(season.series) - 1
    today = fit_surface(season.today, method="structured", options=SurfaceOptions())
    before = fit_surface(season.visit(last - 1), method="structured", options=SurfaceOptions())
    surface = remember(today, season.logged if log else season.series)
    assert surface is not None
    asked = season.cells, season.cells.valve, season.zones
    first, now = before.predict_zones(*asked), today.predict_zones(*asked)
    found = {
        "today": now,
        "apart": surface.apart.predict_zones(*asked),
        "memory": surface.predict_zones(*asked),
        "unmixed": surface.memory.predict_zones(*asked),
        "change": surface.since_before().predict_zones(*asked),
        "change unmixed": surface.memory.predict_change(*asked),
        "change apart": Estimate(now.mean - first.mean, now.variance + first.variance),
    }
    truth = season.zone_truth[-1]
    true_change = truth - season.zone_truth[-2]
    miss = {n: e.mean - (true_change if n.startswith("change") else truth) for n, e in found.items()}
    se = {n: np.sqrt(e.variance) for n, e in found.items()}
    relief = {n: relief_of(found[n].mean, truth, season.weight) for n in ("today", "apart", "memory")}
    return Shown(miss, se, relief, season.changed), surface
