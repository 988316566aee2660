"""Drying by soil: what visits tell of it, how ranches pool it, and how it is handed down."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.drawn_districts import SoiledDistrict, draw_soiled
from scipy.integrate import quad
from scipy.stats import norm

from stressmap.geostat.borrowed_model import lent_drying
from stressmap.geostat.borrowed_priors import BorrowedPriors, LogNormal, OwnEvidence
from stressmap.geostat.drying_by_soil import (
    CLAY,
    LEAST_SHARE,
    MEASURES,
    RANCHES_SHARE,
    SANDY,
    USUAL_SHARE,
    LentOfSoil,
    ToldOfSoil,
    pool_soils,
)
from stressmap.geostat.drying_slopes import USUAL_DRYING
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.persistence import USUAL_PERSISTENCE
from stressmap.geostat.pooled_priors import pool
from stressmap.geostat.series_evidence import series_evidence, soil_evidence
from stressmap.geostat.space_time_surface import SpaceTimeSurface

Lenders = tuple[SoiledDistrict, list[SpaceTimeSurface], list[OwnEvidence]]
SLOPES, ERRORS, PER_WATER = (0.09, 0.05, 0.07), (0.012, 0.02, 0.008), (1.0, 1.1, 0.9)
TOLD = [{"sandy": ToldOfSoil(*one, 4)} for one in zip(SLOPES, ERRORS, PER_WATER, strict=True)]


def by_quadrature(estimate: np.ndarray, se: np.ndarray, usual: float) -> tuple[float, float]:
    """Integrate the spread out numerically: restricted likelihood, half-normal prior, moments of the next."""

    def mass(spread: float) -> tuple[float, float, float]:
        precision = 1 / (se**2 + spread**2)
        mean, variance = float(precision @ estimate / precision.sum()), float(1 / precision.sum())
        density = np.prod(norm.pdf(estimate, mean, precision**-0.5)) * np.sqrt(variance)
        return float(density * norm.pdf(spread, 0.0, usual)), mean, variance + spread**2

    def integral(of: int, about: float = 0.0) -> float:
        def inside(spread: float) -> float:
            weight, mean, variance = mass(spread)
            return weight * (1.0, mean, variance + (mean - about) ** 2)[of]

        return float(quad(inside, 0.0, 5.0 * usual, limit=200)[0])

    middle = integral(1) / integral(0)
    return middle, float(np.sqrt(integral(2, middle) / integral(0)))


def test_pooling_is_that_of_numerical_integration() -> None:
    """scipy.integrate.quad over the spread, scipy.stats.norm; the usual order of soils is one ranch more."""
    lent = pool_soils(TOLD, 0.05)
    assert set(lent) == {"sandy"}
    usual, per_water = 0.05 * SANDY, float(np.mean(PER_WATER))
    times = np.array([*PER_WATER, per_water])
    estimate, se = np.array([*SLOPES, usual]), np.array([*ERRORS, USUAL_SHARE * usual])
    mean, sd = by_quadrature(estimate, se, RANCHES_SHARE * usual)
    relief, relief_sd = by_quadrature(times * estimate, times * se, RANCHES_SHARE * usual * per_water)
    one = lent["sandy"]
    assert one.bar_mm == pytest.approx(mean, rel=2e-3)
    assert one.spread == pytest.approx(max(sd / mean, LEAST_SHARE), rel=5e-3)
    assert one.mm_per_bar == pytest.approx(1 / relief, rel=2e-3)
    assert one.mm_spread == pytest.approx(max(relief_sd / relief, LEAST_SHARE), rel=5e-3)
    assert (one.ranches, one.cycles) == (3, 12)


def test_a_soil_that_one_ranch_tells_of_or_that_hardly_dries_is_not_lent() -> None:
    assert pool_soils(TOLD[:1], 0.05) == {}
    assert pool_soils([{"clay": ToldOfSoil(-0.05, 0.002, 1.0)}] * 4, 0.006) == {}


def test_what_is_told_and_lent_goes_through_plain_numbers() -> None:
    told = OwnEvidence(9, ("range",), np.zeros((1, 1)), np.ones(1), np.zeros((1, 1)), None, soils=TOLD[0])
    assert OwnEvidence.from_plain(told.as_plain()).soils == TOLD[0]
    lent = BorrowedPriors(3, 90, {"drying": LogNormal(0.05, 0.3)}, 0.5, soils=pool_soils(TOLD, 0.05))
    assert BorrowedPriors.from_plain(lent.as_plain()) == lent
    with pytest.raises(ValueError, match="no soil"):
        OwnEvidence.from_plain(told.as_plain() | {"soils": {"peat": [0.05, 0.01, 1.0, 3]}})


def test_each_soil_counts_by_what_is_lent_for_it_and_others_as_usual() -> None:
    soils = {"clay": LentOfSoil(0.02, 0.3, 50.0, 0.3, 2, 9)}
    drying = lent_drying(BorrowedPriors(3, 90, {"drying": LogNormal(0.04, 0.3)}, 0.5, soils=soils))
    assert {**MEASURES, **drying.measures} == {"sandy": SANDY, "loam": 1.0, "clay": 0.5}
    assert drying.slopes.bar_mm * drying.measures["clay"] == pytest.approx(0.02)
    assert lent_drying(None) is lent_drying(BorrowedPriors()) is USUAL_DRYING
    # without drying of all soils nothing is lent of one
    assert lent_drying(BorrowedPriors(3, 90, {"noise": LogNormal(1.0, 0.3)}, 0.5, soils=soils)).measures == {}


@pytest.fixture(scope="module")
def lenders() -> Lenders:
    district, options = draw_soiled(27, lenders=2), SurfaceOptions(lent=BorrowedPriors())
    fitted = [fit_surface(one.today, method="structured", options=options) for one in district.lenders]
    pairs = zip(district.lenders, fitted, strict=True)
    surfaces = [SpaceTimeSurface(one.logged, today) for one, today in pairs]  # type: ignore[arg-type]
    return district, surfaces, [one.fit.told for one in fitted]  # type: ignore[attr-defined]


def test_visits_tell_the_drying_of_each_soil_within_its_error(
    lenders: Lenders,
) -> None:
    district, surfaces, told_today = lenders
    off = []
    for season, surface in zip(district.lenders, surfaces, strict=True):
        true, told = district.true_by_soil(season), soil_evidence(surface)
        assert set(told) == set(MEASURES)
        off += [(one.bar_mm - true[soil]) / np.hypot(one.se, 0.3 * true[soil]) for soil, one in told.items()]
    assert np.abs(off).max() < 3.0
    lent = pool(
        [
            replace(alone, series=series_evidence(one, USUAL_PERSISTENCE), soils=soil_evidence(one))
            for alone, one in zip(told_today, surfaces, strict=True)
        ]
    )
    assert set(lent.soils) == set(MEASURES)


def test_on_one_soil_its_drying_is_that_of_the_ranch_by_its_measure(
    lenders: Lenders,
) -> None:
    _, (surface, *_), _ = lenders
    dryness = surface.series.dryness
    assert dryness is not None
    assert dryness.soils is not None
    clay = np.full(len(dryness.soils.kind), list(MEASURES).index("clay"))
    soils = replace(dryness.soils, kind=clay, measure=np.full(len(clay), CLAY))
    one = SpaceTimeSurface.__new__(SpaceTimeSurface)
    series = replace(surface.series, dryness=replace(dryness, soils=soils))
    vars(one).update(vars(surface) | {"series": series})
    told = soil_evidence(one)["clay"]
    mean, se = series_evidence(one, USUAL_PERSISTENCE)["drying"]
    assert (told.bar_mm, told.se) == pytest.approx((CLAY * mean, CLAY * se))
