"""Simulated seasons that go on for three weeks without water, and seasons in which water does not arrive.

Built on ``drawn_sets`` (buckets, convex response, recovery over days, a log with gaps) and ``drawn_seasons``
(what lasts, what swings, departures). From some day on the sets of a few valve zones may not arrive (missed),
arrive in part (clogged), or stand in the log under another zone of the block (swapped). All figures invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from helpers.drawn_ranches import LEVEL_BAR, lay_out
from helpers.drawn_seasons import BLOCKS, CELL_M, TREES, Season, draw_effects, read_trees
from helpers.drawn_sets import ET_MM, LEAD_DAYS, Watering, draw_sets, dry_down
from stressmap.geostat.drying_by_soil import CLAY, SANDY
from stressmap.geostat.drying_slopes import Dryness
from stressmap.geostat.samples import Places
from stressmap.geostat.visit_series import VisitSeries
from stressmap.season.dryness import WaterDays, felt_dryness, usual_gap_days

AHEAD = 21
QUICK = Watering(cycle_days=(7.0, 14.0), slope_bar_mm=0.06, spread=(0.25, 0.25, 0.12))
"""Zones that dry by some 0.4 bar a day at 6.5 mm, on turns of one to two weeks."""
FAULTS = ("none", "missed", "clogged", "swapped")
CLOGGED_SHARE = 0.35
ORDINAL = 739_800
"""Day 0 of a season, as an ordinal of the calendar."""


@dataclass(frozen=True)
class DryDown:
    """A season drawn up to its last visit and three weeks on without water.

    ``stress`` is what drying alone adds on the days from the last visit on.

    Days count from the first visit, on the calendar from :data:`ORDINAL`; ``lead`` is how many days the water
    tables begin before it.
    """

    series: VisitSeries
    cells: Places
    visits: np.ndarray
    water: WaterDays
    holds: np.ndarray
    gaps: np.ndarray
    truth: np.ndarray
    slope: np.ndarray
    block: np.ndarray
    soil: np.ndarray
    faulty: np.ndarray
    since: float
    lead: int = LEAD_DAYS
    real_sets: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)
    stress: np.ndarray = field(default_factory=lambda: np.zeros(0), repr=False)

    @property
    def zones(self) -> int:
        return len(self.block)

    def dryness(self, water: WaterDays) -> np.ndarray:
        """Work out the dryness felt at the end of each day, shape (D, zones)."""
        return felt_dryness(water, self.holds, self.gaps, self.soil)

    def followed(self, et_mm: float) -> np.ndarray:
        """Give the dryness of each day up to three weeks after the last visit, without water."""
        on = self.water.followed_by(np.full(AHEAD, et_mm), np.zeros((AHEAD, self.zones)))
        return self.dryness(on)


def _spoiled(
    sets: np.ndarray, block: np.ndarray, fault: tuple[str, int], rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Let a fault begin on a day in a zone of every third block: what arrived, what is written, which."""
    kind, day = fault
    real, written, faulty = sets.copy(), sets.copy(), np.zeros(len(block), dtype=bool)
    if kind == "none":
        return real, written, faulty
    for b in range(0, block.max() + 1, 3):
        zones = rng.permutation(np.flatnonzero(block == b))
        if len(zones) < 2:
            continue
        zone = zones[0]
        faulty[zone] = True
        if kind == "swapped":
            # the crew opens another valve of the block, and writes this one down
            real[day:, zones[1]] += real[day:, zone]
            real[day:, zone] = 0.0
        else:
            real[day:, zone] *= CLOGGED_SHARE if kind == "clogged" else 0.0
    return real, written, faulty


def draw_dry_down(
    seed: int, how: Season | None = None, *, fault: str = "none", since: float = 0.5, trees: int = TREES
) -> DryDown:
    """Draw a season; ``since`` is the share of it after which the fault begins."""
    how, rng = how or Season(earlier=8), np.random.default_rng(seed)
    cells = lay_out(BLOCKS, CELL_M, rng)
    visits = how.days * np.arange(how.earlier + 1.0) + np.round(rng.uniform(-1, 1, how.earlier + 1))
    visits = visits - visits[0]
    days = np.concatenate([visits, visits[-1] + 1.0 + np.arange(AHEAD)])
    block = np.zeros(int(cells.valve.max()) + 1, dtype=np.int64)
    block[cells.valve] = cells.block
    effects = draw_effects(cells, days, how, rng)
    count, total = LEAD_DAYS + int(visits[-1]), LEAD_DAYS + int(visits[-1]) + AHEAD
    wave = 0.8 * np.sin(2 * np.pi * np.arange(total) / 40 + rng.uniform(0, 6))
    et = np.maximum(ET_MM + wave + rng.normal(0, 0.8, total), 2.0)
    sets = draw_sets(how.water, block, total, rng)
    sets[count:] = 0.0
    begins = int(since * visits[-1])
    real, written, faulty = _spoiled(sets, block, (fault, LEAD_DAYS + begins), rng)
    holds = rng.lognormal(np.log(150.0), 0.25, len(block))
    soil = rng.choice([SANDY, 1.0, CLAY], block.max() + 1)[block]
    water = how.water
    of_ranch, of_block, of_zone = water.spread
    blocks = rng.lognormal(0, of_block, block.max() + 1)
    slope = soil * water.slope_bar_mm * rng.lognormal(0, of_ranch) * blocks[block]
    slope = slope * rng.lognormal(0, of_zone, len(block))
    felt = dry_down(et, real, holds, rng)
    stress = slope * felt * (0.75 + 0.5 * felt / 80.0)
    written = written * rng.lognormal(0, 0.1, sets.shape) * (rng.random(sets.shape) > water.missed)
    believed = holds * rng.lognormal(0, 0.25, len(block))
    known = WaterDays(et[:count] * rng.normal(1, 0.04), written[:count], count)
    # readings of a day feel what was at the end of the day before
    at = LEAD_DAYS + days.astype(int) - 1
    truth = effects + stress[at][:, cells.valve]
    for visit in range(len(visits)):
        away = rng.random(len(block)) < how.departures
        truth[visit] += (away * rng.choice([-1.5, 2.0], len(block)))[cells.valve]
    weekly = LEVEL_BAR + np.cumsum(rng.normal(0.2, 0.5, len(visits) + AHEAD // 7))
    level = np.interp(days, np.append(visits, visits[-1] + 7.0 * np.arange(1, AHEAD // 7 + 1)), weekly)
    truth = truth + level[:, None]
    size = np.bincount(cells.valve)
    zone_truth = np.stack([np.bincount(cells.valve, weights=one) / size for one in truth])
    series = read_trees(cells, truth[: len(visits)], ORDINAL + visits, rng, trees)
    gaps = usual_gap_days(written[:count], block)
    dry = felt_dryness(known, believed, gaps, soil)[LEAD_DAYS + visits.astype(int) - 1]
    logged = VisitSeries(
        series.samples, series.visit, series.day, Dryness(dry[series.visit, series.samples.places.valve], dry)
    )
    return DryDown(
        logged, cells, visits, known, believed, gaps, zone_truth, slope, block, soil, faulty, float(begins),
        real_sets=real[:count], stress=stress[at][len(visits) - 1 :],
    )  # fmt: skip
