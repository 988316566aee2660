"""Simulated seasons in which each block is let down at a pace of its own, known beside everything else.

Built on ``drawn_sets`` and ``drawn_seasons``: soils and valve zones that last, blocks and fields that swing
for weeks, a level that wanders, zones that dry from set to set, trees half of which are read again. What is
planned moves not at all, so that the pace drawn for a block is how far it is ahead. All figures invented.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from threadpoolctl import threadpool_limits

from helpers.drawn_ranches import LEVEL_BAR, lay_out
from helpers.drawn_seasons import BLOCKS, CELL_M, TREES, Season, draw_effects, read_trees
from helpers.drawn_sets import ET_MM, LEAD_DAYS, Watering, draw_sets, dry_down
from stressmap.season.let_down import WINDOW_DAYS, Pace, leads_to, pace_of, standing

PACES = (0.0, 0.0, 0.0, 0.0, 0.0, 0.4, 0.8, -0.5)
"""How much faster than planned a block is let down [bar/week]: as likely each."""
WALK_SD, NOW_SD = 0.5, 0.7
ORDINAL = 739_800


@dataclass(frozen=True)
class LetDown:
    """Readings of a season, the pace of each block, and its true stress without drying at each visit."""

    day: np.ndarray
    visit: np.ndarray
    block: np.ndarray
    tree: np.ndarray
    bar: np.ndarray
    since_water: np.ndarray
    pace: np.ndarray
    truth: np.ndarray

    def told(self, block: int, visits: int) -> Pace:
        """Give the pace of a block as told after so many visits."""
        day = self.day[self.visit]
        last = self.day[visits - 1]
        own = (self.block == block) & (self.visit < visits) & (day >= last - WINDOW_DAYS)
        return pace_of(ORDINAL + day[own], self.bar[own], self.tree[own], self.since_water[own])


def draw_let_down(seed: int, visits: int, water: Watering | None = None) -> LetDown:
    """Draw a season of so many weekly visits."""
    rng, how, water = np.random.default_rng(seed), Season(earlier=visits - 1), water or Watering()
    cells = lay_out(BLOCKS, CELL_M, rng)
    day = 7 * np.arange(float(visits)) + np.round(rng.uniform(-1, 1, visits))
    day -= day[0]
    block = np.zeros(int(cells.valve.max()) + 1, dtype=np.int64)
    block[cells.valve] = cells.block
    blocks = int(block.max()) + 1
    effects = draw_effects(cells, day, how, rng)
    count = LEAD_DAYS + int(day[-1]) + 1
    wave = 0.8 * np.sin(2 * np.pi * np.arange(count) / 40 + rng.uniform(0, 6))
    et = np.maximum(ET_MM + wave + rng.normal(0, 0.8, count), 2.0)
    sets = draw_sets(water, block, count, rng)
    holds = rng.lognormal(np.log(150.0), 0.25, len(block))
    slope = water.slope_bar_mm * rng.lognormal(0, 0.25) * rng.lognormal(0, 0.25, blocks)[block]
    slope = slope * rng.lognormal(0, 0.2, len(block))
    felt = dry_down(et, sets, holds, rng)
    stress = slope * felt * (0.75 + 0.5 * felt / 80.0)
    at = LEAD_DAYS + day.astype(int) - 1
    pace = rng.choice(PACES, blocks)
    steps = rng.normal(0, WALK_SD * np.sqrt(np.diff(day) / 7.0))
    level = LEVEL_BAR + np.concatenate([[0.0], np.cumsum(steps)])
    calm = effects + level[:, None] + pace[cells.block] * day[:, None] / 7.0
    series = read_trees(cells, calm + stress[at][:, cells.valve], day, rng, TREES)
    written = sets * (rng.random(sets.shape) > water.missed)
    since = _since_water(written, at)
    places = series.samples.places
    size = np.bincount(cells.block)
    return LetDown(
        day, series.visit, places.block, series.samples.tree, series.samples.value,
        since[series.visit, places.valve], pace,
        np.stack([np.bincount(cells.block, weights=one) / size for one in calm]),
    )  # fmt: skip


def _since_water(sets: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Give the days since the last set of each zone on some days, shape (visits, zones); NaN for none."""
    day = np.arange(len(sets), dtype=float)[:, None]
    last = np.maximum.accumulate(np.where(sets > 0, day, -np.inf), axis=0)
    since = at[:, None] + 1.0 - last[at]
    return np.where(np.isfinite(since), since, np.nan)


@threadpool_limits.wrap(limits=1)
def standings_told(seeds: range, visits: int, water: Watering | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Give the true pace of every block of some ranches and what is said of it after so many visits."""
    drawn = [draw_let_down(seed, visits, water) for seed in seeds]
    told = [standing(one.told(block, visits), 0.0) for one in drawn for block in range(len(one.pace))]
    return np.concatenate([one.pace for one in drawn]), np.array(told)


@threadpool_limits.wrap(limits=1)
def held_later(seeds: range, visits: int, later: int) -> np.ndarray:
    """Tell of every block whether its stress, so many visits later, is inside of what was told to come."""
    found = []
    for seed in seeds:
        drawn, rng = draw_let_down(seed, visits + later), np.random.default_rng(seed)
        today = dt.date.fromordinal(ORDINAL + int(drawn.day[visits - 1]))
        then = dt.date.fromordinal(ORDINAL + int(drawn.day[-1]))
        for block in range(len(drawn.pace)):
            now = float(drawn.truth[visits - 1, block] + rng.normal(0, NOW_SD))
            on = leads_to((now, NOW_SD), drawn.told(block, visits), today, np.nan, then)
            found.append(on.at_harvest_low <= drawn.truth[-1, block] <= on.at_harvest_high)
    return np.array(found)
