"""Drawn districts: ranches of one crop whose variances and ranges scatter about those of their district.

Each ranch is drawn as ``drawn_ranches`` draws one, otherwise than the model under test believes (two
stretched soils, valve zones that run short by a step), with its own factors on spreads and ranges.
A district's factors scatter by :data:`DISTRICT_SPREAD` in the logarithm, those of its ranches about them by
:data:`RANCH_SPREAD`; the last ranch is the small one, with 10 to 20 readings. All figures invented.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from helpers import drawn_ranches as drawn
from helpers.drawn_seasons import DrawnSeason, Season, draw_season
from helpers.drawn_sets import Watering
from stressmap.geostat.drying_by_soil import MEASURES, SOILS, SoilZones
from stressmap.geostat.samples import Places, Samples

RANCHES = 8
DISTRICT_SPREAD, RANCH_SPREAD = 0.4, 0.2
UNLIKE_FACTOR = 2.5
CELL_M = 50.0


@dataclass(frozen=True)
class Scales:
    """Factors of a ranch on what ``drawn_ranches`` takes as standard deviations and ranges."""

    block: float = 1.0
    valve: float = 1.0
    pattern: float = 1.0
    noise: float = 1.0
    range: float = 1.0


@dataclass(frozen=True)
class DrawnRanch:
    """A ranch, its factors, and the true mean of each valve zone [bar]."""

    samples: Samples
    cells: Places
    truth: np.ndarray
    soil: drawn.Soil
    scales: Scales

    @property
    def zones(self) -> int:
        return int(self.cells.valve.max()) + 1

    @property
    def zone_truth(self) -> np.ndarray:
        return np.bincount(self.cells.valve, weights=self.truth) / np.bincount(self.cells.valve)


def draw_ranch(
    rng: np.random.Generator, scales: Scales, *, blocks: int, readings: int, level: float = 3.0
) -> DrawnRanch:
    """Draw a ranch with so many trees read, each block at least once where they suffice, one in ten twice."""
    cells = drawn.lay_out(blocks, CELL_M, rng)
    r = scales.range
    soil = drawn.Soil(
        (r * rng.uniform(70, 140), r * rng.uniform(35, 70), rng.uniform(0, np.pi)),
        (r * rng.uniform(250, 500), r * rng.uniform(100, 200), rng.uniform(0, np.pi)),
    )
    covariance = soil.covariance(cells.xy, cells.xy)
    covariance[np.diag_indices(len(cells))] += 1e-9
    pattern = scales.pattern * (np.linalg.cholesky(covariance) @ rng.normal(size=len(cells)))
    zones = int(cells.valve.max()) + 1
    short = drawn.SHORT_VALVE_BAR * (rng.random(zones) < drawn.SHORT_VALVE_SHARE)
    step = scales.valve * (rng.normal(0, drawn.VALVE_SD, zones) + short)
    of_block = scales.block * rng.normal(0, drawn.BLOCK_SD, blocks)
    truth = level + of_block[cells.block] + step[cells.valve] + pattern
    order = np.argsort(rng.random(len(cells)), kind="stable")
    _, first = np.unique(cells.block[order], return_index=True)
    ahead = np.concatenate([order[first], np.delete(order, first)])
    twice = max(readings // 11, 0)
    trees = ahead[: readings - twice]
    tree = np.concatenate([np.arange(len(trees)), rng.choice(len(trees), twice, replace=False)])
    at = trees[tree]
    noise = rng.normal(0, drawn.TREE_SD, len(trees))[tree] + rng.normal(0, drawn.ERROR_SD, len(tree))
    return DrawnRanch(
        Samples(cells.take(at), truth[at] + scales.noise * noise, tree), cells, truth, soil, scales
    )


def draw_district(seed: int, *, unlike: bool = False) -> list[DrawnRanch]:
    """Draw a district of eight; the last ranch is small, and unlike the others where asked."""
    rng = np.random.default_rng([seed, 24])
    middle = DISTRICT_SPREAD * rng.normal(size=5)
    ranches = []
    for number in range(RANCHES):
        small = number == RANCHES - 1
        own = middle + RANCH_SPREAD * rng.normal(size=5)
        if small and unlike:
            own = own + np.log(UNLIKE_FACTOR) * rng.choice([-1.0, 1.0], 5)
        blocks = 6 if small else int(rng.integers(6, 20))
        readings = int(rng.integers(10, 21)) if small else int(rng.integers(40, 121))
        ranches.append(
            draw_ranch(
                rng, Scales(*np.exp(own)), blocks=blocks, readings=readings, level=3.0 + rng.normal(0, 2.0)
            )
        )
    return ranches


def krige_by_truth(ranch: DrawnRanch) -> tuple[np.ndarray, np.ndarray]:
    """Krige zone means with the covariance the ranch was drawn from: means and variances."""
    s, c, f = ranch.samples, ranch.cells, ranch.scales
    valve = drawn.VALVE_SD**2 + drawn.SHORT_VALVE_BAR**2 * drawn.SHORT_VALVE_SHARE * (
        1 - drawn.SHORT_VALVE_SHARE
    )

    def shared(a: Places, b: Places) -> np.ndarray:
        return (
            f.pattern**2 * ranch.soil.covariance(a.xy, b.xy)
            + (f.block * drawn.BLOCK_SD) ** 2 * (a.block[:, None] == b.block)
            + f.valve**2 * valve * (a.valve[:, None] == b.valve)
        )

    readings = shared(s.places, s.places) + (f.noise * drawn.ERROR_SD) ** 2 * np.eye(len(s))
    readings += (f.noise * drawn.TREE_SD) ** 2 * (s.tree[:, None] == s.tree)
    factor = cho_factor(readings)
    ones = cho_solve(factor, np.ones(len(s)))
    level = (ones @ s.value) / ones.sum()
    mean, variance = np.empty(ranch.zones), np.empty(ranch.zones)
    for zone in range(ranch.zones):
        inside = c.take(c.valve == zone)
        right = shared(inside, s.places).mean(axis=0)
        weights = cho_solve(factor, right)
        mean[zone] = level + weights @ (s.value - level)
        variance[zone] = (
            shared(inside, inside).mean() - weights @ right + (1 - right @ ones) ** 2 / ones.sum()
        )
    return mean, variance


@dataclass(frozen=True)
class LoggedDistrict:
    """Ranches with logs: some with five visits, and a small one with a first visit alone."""

    lenders: list[DrawnSeason]
    small: DrawnSeason


def draw_logged(seed: int, *, lenders: int = 5, unlike: bool = False) -> LoggedDistrict:
    """Draw a district with logs, where ranches dry alike and spread alike; the small one not, where asked."""
    rng = np.random.default_rng([seed, 25])
    slope, spread = rng.lognormal(np.log(0.04), 0.3), rng.lognormal(0.0, 0.3)
    seasons = []
    for number in range(lenders + 1):
        small, own = number == lenders, float(spread * rng.lognormal(0.0, 0.15))
        rate = slope * (rng.choice([0.0, 2.5]) if small and unlike else 1.0)
        how = Season(
            earlier=0 if small else 4,
            blocks=6 if small else 8,
            trees=int(rng.integers(10, 21)) if small else 32,
            spread=own * (UNLIKE_FACTOR if small and unlike else 1.0),
            water=Watering(slope_bar_mm=float(rate)),
        )
        seasons.append(draw_season(int(rng.integers(2**31)), how))
    return LoggedDistrict(seasons[:-1], seasons[-1])


SOILS_SPREAD, RANCH_SOIL_SPREAD = 0.3, 0.15
"""Spread of what a soil does in a district about the usual, and on a ranch about that, in the logarithm."""


@dataclass(frozen=True)
class SoiledDistrict:
    """Ranches with logs and three soils: some with five visits, a small one with two."""

    lenders: list[DrawnSeason]
    small: DrawnSeason

    @staticmethod
    def true_by_soil(season: DrawnSeason) -> dict[str, float]:
        """Give the true rise with each millimetre of dryness, zones of one soil together [bar/mm]."""
        kind = kinds_of(season)
        return {soil: float(season.slope_bar_mm[kind == k].mean()) for k, soil in enumerate(SOILS)}


def kinds_of(season: DrawnSeason) -> np.ndarray:
    """Give the class of soil of each zone: blocks in turn."""
    block = np.zeros(season.zones, dtype=np.int64)
    block[season.cells.valve] = season.cells.block
    return np.asarray(block % len(SOILS))


def with_soils(season: DrawnSeason) -> DrawnSeason:
    """Let dryness count by the usual measure of each zone's soil, as a ranch with known soils has it."""
    dryness, kind = season.logged.dryness, kinds_of(season)
    assert dryness is not None
    measure = np.array(list(MEASURES.values()))[kind]
    own = measure[season.logged.samples.places.valve]
    soils = SoilZones(kind, measure, np.ones(season.zones))
    dryness = replace(
        dryness, at_readings=dryness.at_readings * own, of_valves=dryness.of_valves * measure, soils=soils
    )
    return replace(season, logged=replace(season.logged, dryness=dryness))


def draw_soiled(seed: int, *, lenders: int = 5) -> SoiledDistrict:
    """Draw a district whose ranches dry alike on like soils, though not just as soils usually do."""
    rng = np.random.default_rng([seed, 26])
    slope = rng.lognormal(np.log(0.04), 0.3)
    of_soil = np.array(list(MEASURES.values())) * rng.lognormal(0.0, SOILS_SPREAD, len(SOILS))
    seasons = []
    for number in range(lenders + 1):
        small = number == lenders
        own = of_soil * rng.lognormal(0.0, RANCH_SOIL_SPREAD, len(SOILS))
        how = Season(
            earlier=1 if small else 4,
            blocks=6 if small else 9,
            trees=int(rng.integers(12, 21)) if small else 36,
            water=Watering(slope_bar_mm=float(slope), soils=tuple(own.tolist())),
        )
        seasons.append(with_soils(draw_season(int(rng.integers(2**31)), how)))
    return SoiledDistrict(seasons[:-1], seasons[-1])
