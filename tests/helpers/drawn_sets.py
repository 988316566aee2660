"""Sets, buckets and the log of drawn seasons: how zones dry in truth, and what the log tells about it.

In truth each zone has a bucket of its own size, the response to what it lacks is convex with a slope of its
own (log-normal over ranch, blocks and zones), and trees come back over one to three days. The log misses one
set in thirty and is ten per cent wrong about depths; evapotranspiration is known within some per cent, and
what buckets hold within a quarter. All figures invented.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.season.dryness import WaterDays, felt_dryness, usual_gap_days

ET_MM, LEAD_DAYS = 6.5, 70


@dataclass(frozen=True)
class Watering:
    """How a season is watered: days between sets, how uneven depths are, what trees make of it.

    ``spread`` is that of the logarithm of slopes over ranches, blocks and zones where zones dry down;
    ``soils`` holds factors on slopes, block after block in turn.
    """

    cycle_days: tuple[float, float] = (6.0, 12.0)
    uneven: float = 0.15
    slope_bar_mm: float = 0.04
    missed: float = 1 / 30
    spread: tuple[float, float, float] = (0.25, 0.25, 0.2)
    soils: tuple[float, ...] = (1.0,)


@dataclass(frozen=True)
class DrawnWatering:
    """Stress by drying, and dryness by the log, of each zone at each visit, shape (visits, zones).

    ``slope_bar_mm`` is what stress rises by with that dryness, zone by zone, as a straight line.
    """

    stress_bar: np.ndarray
    dryness_mm: np.ndarray
    slope_bar_mm: np.ndarray


def draw_sets(how: Watering, block: np.ndarray, days: int, rng: np.random.Generator) -> np.ndarray:
    """Draw what sets bring on each day, shape (days, zones) [mm]: a turn for each block, zone after zone."""
    found = np.zeros((days, len(block)))
    for b in np.unique(block):
        cycle = rng.uniform(*how.cycle_days)
        for zone in np.flatnonzero(block == b):
            at = rng.uniform(0, cycle)
            while at < days:
                found[int(at), zone] = cycle * ET_MM * 1.05 * rng.lognormal(0, how.uneven)
                at += cycle * rng.uniform(0.8, 1.2)
    return found


def dry_down(et: np.ndarray, sets: np.ndarray, holds: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Run the buckets: what trees feel that each zone lacks at the end of each day [mm]."""
    lacks, felt = 0.3 * holds, 0.3 * holds
    back = rng.uniform(0.35, 0.8, len(holds))
    found = np.empty(sets.shape)
    for day in range(len(et)):
        lacks = np.clip(lacks + et[day] * (1 - 0.5 * (lacks / holds) ** 3) - sets[day], 0, holds)
        felt = np.where(lacks < felt, felt + back * (lacks - felt), lacks)
        found[day] = felt
    return found


def draw_watering(
    how: Watering, block: np.ndarray, days: np.ndarray, rng: np.random.Generator
) -> DrawnWatering:
    """Draw the sets of a season; stress and what the log makes of it, at each of some visits' days."""
    at = (days - days[0]).astype(int) + LEAD_DAYS
    count = at[-1] + 1
    wave = 0.8 * np.sin(2 * np.pi * np.arange(count) / 40 + rng.uniform(0, 6))
    et = np.maximum(ET_MM + wave + rng.normal(0, 0.8, count), 2.0)
    sets = draw_sets(how, block, count, rng)
    holds = rng.lognormal(np.log(150.0), 0.25, len(block))
    of_block = rng.lognormal(0, 0.3, block.max() + 1)
    slope = how.slope_bar_mm * rng.lognormal(0, 0.25) * of_block[block] * rng.lognormal(0, 0.2, len(block))
    slope *= np.resize(how.soils, block.max() + 1)[block]
    felt = dry_down(et, sets, holds, rng)
    bent = 0.75 + 0.5 * felt / 80.0
    stress = slope * felt * bent
    written = sets * rng.lognormal(0, 0.1, sets.shape) * (rng.random(sets.shape) > how.missed)
    known = WaterDays(et * rng.normal(1, 0.04), written, count)
    believed = holds * rng.lognormal(0, 0.25, len(block))
    one = np.ones(len(block))
    dry = felt_dryness(known, believed, usual_gap_days(written, block), one)
    late, rise = dry[LEAD_DAYS // 2 :], (felt * bent)[LEAD_DAYS // 2 :]
    line = float(np.sum((late - late.mean()) * rise) / np.sum((late - late.mean()) ** 2))
    return DrawnWatering(stress[at], dry[at], slope * line)
