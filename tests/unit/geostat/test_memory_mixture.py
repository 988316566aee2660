"""The mixture of the maps with memory and without: shares by evidence, their spread in the variance."""

import pickle
from dataclasses import replace

import numpy as np
import pytest
from helpers.drawn_seasons import SEASONS, Season, draw_season, show
from helpers.drawn_sets import Watering

from stressmap.geostat.memory_mixture import NEWS, log_scores, memory_shares, remember
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.mixtures import mixed
from stressmap.geostat.options import SurfaceOptions
from stressmap.geostat.samples import Estimate


def test_log_scores_are_normal_log_densities() -> None:
    # scipy's normal distribution is the reference
    from scipy.stats import norm

    value, mean, sd = np.array([1.0, -2.0, 3.0]), np.array([0.5, 0.0, 2.0]), np.array([0.4, 1.0, 3.0])
    found = log_scores(value, mean, (value - mean) / sd)
    assert found == pytest.approx(norm.logpdf(value, mean, sd))


def test_shares_are_a_fixed_point_and_follow_the_evidence() -> None:
    evidence = np.array([-30.0, -3.0, 0.0, 1.0, 5.0, 30.0])
    share, usual = memory_shares(evidence)
    assert (np.diff(share) > 0).all()
    assert usual == pytest.approx((share.sum() + 4.0) / (len(share) + 5.0))
    assert share[0] == pytest.approx(usual / (usual + (1 - usual) * np.exp(12.0)))
    assert share[2] == pytest.approx(usual)
    assert memory_shares(np.zeros(0))[1] == pytest.approx(0.8)


def test_a_mixture_has_the_moments_of_draws() -> None:
    rng = np.random.default_rng(3)
    first, second, share = (
        Estimate(np.array([2.0]), np.array([1.0])),
        Estimate(np.zeros(1), np.full(1, 4.0)),
        0.7,
    )
    draws = np.where(rng.random(400_000) < share, rng.normal(2, 1, 400_000), rng.normal(0, 2, 400_000))
    both = mixed(np.array([share]), first, second)
    assert both.mean[0] == pytest.approx(draws.mean(), abs=0.02)
    assert both.variance[0] == pytest.approx(draws.var(), abs=0.04)


def test_a_block_that_is_not_what_it_was_is_news() -> None:
    drawn = draw_season(2, Season(earlier=3, lasting=0.95, water=Watering(slope_bar_mm=0.0)))
    series, samples = drawn.series, drawn.series.samples
    moved = (samples.places.block == 4) & (series.visit == 3)
    other = replace(
        samples, value=samples.value + 8.0 * moved * np.where(np.arange(len(moved)) % 2, 1.0, -1.0)
    )
    season = replace(drawn, series=replace(series, samples=other))
    _, surface = show(season)
    recalled = surface.recalled
    assert recalled.news == (4,)
    assert recalled.share[4] < NEWS < min(r for code, r in recalled.share.items() if code != 4)
    assert len(surface.leave_one_out()[0]) == len(drawn.today)
    again = pickle.loads(pickle.dumps(surface))
    asked = drawn.cells, drawn.cells.valve, drawn.zones
    assert np.array_equal(again.predict_zones(*asked).mean, surface.predict_zones(*asked).mean)


def test_nothing_is_remembered_of_what_was_not_kriged() -> None:
    drawn = draw_season(1, SEASONS["one earlier visit"])
    ordinary = fit_surface(drawn.today, method="ordinary", options=SurfaceOptions())
    assert remember(ordinary, drawn.series) is None


def test_courses_of_both_maps_mix_from_the_visit_before_to_the_last() -> None:
    drawn = draw_season(6, Season(earlier=2))
    _, surface = show(drawn, log=True)
    places, zone, count = drawn.cells, drawn.cells.valve, drawn.zones
    day, mm = drawn.series.day[[0, 1, 2]], drawn.logged.dryness
    assert mm is not None
    found = surface.zone_paths(places, zone, count, day, mm.of_valves)
    memory = surface.memory.zone_paths(places, zone, count, day, mm.of_valves)
    now = surface.predict_zones(places, zone, count)
    # up to the visit before the last the visits speak for themselves
    assert found.mean[:2] == pytest.approx(memory.mean[:2])
    assert found.covariance[:2, :2] == pytest.approx(memory.covariance[:2, :2])
    # the map averages over many sets of parameters, courses over a dozen
    assert found.mean[2] == pytest.approx(now.mean, abs=0.3)
    assert found.sd()[2] == pytest.approx(np.sqrt(now.variance), abs=0.3)
    apart = surface.apart.zone_paths(places, zone, count, day, mm.of_valves[[2, 2, 2]])
    between = (found.mean[2] - memory.mean[2]) * (apart.mean[2] - found.mean[2])
    assert (between >= -1e-9).all()
    eigenvalues = np.linalg.eigvalsh(found.covariance.transpose(2, 0, 1))
    assert eigenvalues.min() > -1e-9
