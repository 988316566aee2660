"""The small ranch of a drawn district mapped alone, and with what the others lend; on arrays directly."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from helpers.drawn_districts import draw_district, draw_logged, draw_soiled, krige_by_truth
from helpers.drawn_seasons import DrawnSeason
from stressmap.geostat.borrowed_model import lent_slopes
from stressmap.geostat.borrowed_priors import BorrowedPriors, OwnEvidence
from stressmap.geostat.drying_by_soil import MEASURES, ToldOfSoil
from stressmap.geostat.drying_slopes import USUAL_SLOPES, SlopePriors
from stressmap.geostat.memory_mixture import one_visit
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.persistence import USUAL_PERSISTENCE
from stressmap.geostat.pooled_priors import pool
from stressmap.geostat.samples import Estimate, Samples
from stressmap.geostat.series_evidence import series_evidence, soil_evidence
from stressmap.geostat.space_time_surface import SpaceTimeSurface

Z_90 = 1.6449
Row = dict[str, tuple[float, int]]
"""By map: the sum of squared misses of zones, and how many 90 % intervals cover the truth."""


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


@cache
def lent_without_logs(seed: int) -> BorrowedPriors:
    """Pool what the other ranches tell; they are the same whatever the small one is."""
    return pool([told(fitted(one.samples, BorrowedPriors())) for one in draw_district(seed)[:-1]])


def one_visit_each(seed: int, *, unlike: bool) -> tuple[Row, int, float]:
    """Map the small ranch of a district without logs."""
    small, lent = draw_district(seed, unlike=unlike)[-1], lent_without_logs(seed)
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
    series = series_evidence(SpaceTimeSurface(season.logged, today), USUAL_PERSISTENCE)
    return replace(told(today), series=series)


@cache
def lent_with_logs(seed: int, lenders: int) -> BorrowedPriors:
    """Pool what the other ranches tell; they are the same whatever the small one is."""
    return pool([evidence_of(one) for one in draw_logged(seed, lenders=lenders).lenders])


def with_log(season: DrawnSeason, surface: StructuredSurface, slopes: SlopePriors) -> Estimate:
    """Map a first visit with its log."""
    dryness = season.logged.dryness
    assert dryness is not None
    series = replace(season.logged, dryness=replace(dryness, slopes=slopes))
    return one_visit(series, surface).predict_zones(season.cells, season.cells.valve, season.zones)


def first_visit_with_log(seed: int, *, unlike: bool = False, lenders: int = 5) -> tuple[Row, int, float]:
    """Map the small ranch of a district with logs."""
    district = draw_logged(seed, unlike=unlike, lenders=lenders)
    small, lent = district.small, lent_with_logs(seed, lenders)
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


def told_of_soils(season: DrawnSeason) -> OwnEvidence:
    """Give what the visits of a season tell of its ranch and its soils."""
    today = fitted(season.today, BorrowedPriors())
    surface = SpaceTimeSurface(season.logged, today)
    return replace(
        told(today), series=series_evidence(surface, USUAL_PERSISTENCE), soils=soil_evidence(surface)
    )


def together(believed: tuple[float, float], seen: ToldOfSoil | None) -> float:
    """Put what is believed of a slope and its standard deviation together with what visits tell."""
    mean, sd = believed
    if seen is None:
        return mean
    a, b = sd**-2, seen.se**-2
    return float(max((a * mean + b * seen.bar_mm) / (a + b), 0.2 * mean))


def drying_by_soil(seed: int, lenders: int = 5) -> dict[str, list[float]]:
    """Compare drying, and water per bar, of a small ranch's soils with the truth: errors of logarithms."""
    district = draw_soiled(seed, lenders=lenders)
    lent = pool([told_of_soils(one) for one in district.lenders])
    seen, true = told_of_soils(district.small).soils, district.true_by_soil(district.small)
    slopes, errors = lent_slopes(lent), dict[str, list[float]]()
    for soil, measure in MEASURES.items():
        usual, of_ranch = ((one.bar_mm * measure, one.ranch * measure) for one in (USUAL_SLOPES, slopes))
        own = lent.soils.get(soil)
        by_soil = of_ranch if own is None else (own.bar_mm, own.spread * own.bar_mm)
        beliefs = {"as usual": usual, "one slope borrowed": of_ranch, "by soil borrowed": by_soil}
        for name, believed in beliefs.items():
            for when, told_now in (("one visit", None), ("two visits", seen.get(soil))):
                miss = np.log(together(believed, told_now) / true[soil])
                errors.setdefault(f"{when}, {name}", []).append(float(miss))
        mm = 1.0 / usual[0] if own is None else own.mm_per_bar
        errors.setdefault("water per bar, as usual", []).append(float(-np.log(usual[0] / true[soil])))
        errors.setdefault("water per bar, borrowed", []).append(float(np.log(mm * true[soil])))
        spread = np.log(2.0) if own is None else own.mm_spread
        errors.setdefault("water per bar, z", []).append(float(np.log(mm * true[soil])) / spread)
    return errors
