"""Priors that ranches lend each other: how they are pooled, how a fit takes and weighs them."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp

from stressmap.geostat.borrowed_model import (
    borrow,
    lent_persistence,
    lent_slopes,
    log_constant,
    log_densities,
)
from stressmap.geostat.borrowed_priors import BorrowedPriors, LogNormal, OwnEvidence
from stressmap.geostat.covariance import EXPONENTIAL
from stressmap.geostat.drying_slopes import USUAL_SLOPES
from stressmap.geostat.fit import fit
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.normal_pool import mean_given_spread
from stressmap.geostat.options import Priors, SurfaceOptions
from stressmap.geostat.persistence import USUAL_PERSISTENCE
from stressmap.geostat.pooled_priors import gains_from, pool
from stressmap.geostat.posterior import group_readings, log_posterior
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.variance_model import VarianceModel

LENT = BorrowedPriors(
    7,
    560,
    {
        "block": LogNormal(1.0, 0.3),
        "pattern": LogNormal(0.8, 0.3),
        "noise": LogNormal(1.5, 0.3),
        "range": LogNormal(90.0, 0.4),
    },
    alike=0.8,
    without_units=0.1,
)


def readings(n: int, sd: float = 1.0, *, blocks: int = 3) -> Samples:
    rng = np.random.default_rng(5)
    block = np.arange(n) % blocks
    none = np.full(n, -1)
    places = Places(rng.uniform(0, 400, (n, 2)), block, none, np.zeros(n, dtype=np.int64))
    return Samples(places, sd * (rng.normal(0, 1, blocks)[block] + rng.normal(0, 1, n)), np.arange(n))


def evidence(middle: float, se: float, *, points: int = 60, far: float = -20.0) -> OwnEvidence:
    """Make what a ranch tells of its range alone: normal about a middle."""
    z = np.linspace(-4, 4, points)
    weight = np.exp(-0.5 * z**2)
    log_prior = np.full((points, 1), far)
    return OwnEvidence(80, ("range",), (middle + se * z)[:, None], weight / weight.sum(), log_prior, None)


def test_an_empty_loan_changes_no_set_of_parameters() -> None:
    samples = readings(20)
    alone, asked = (
        fit_surface(samples, method="structured", options=SurfaceOptions(lent=lent)).fit  # type: ignore[attr-defined]
        for lent in (None, BorrowedPriors())
    )
    assert alone.nodes == asked.nodes
    assert np.array_equal(alone.weight, asked.weight)
    assert alone.told is None
    assert asked.told.borrowed == 0.0


def test_evidence_and_priors_go_through_plain_numbers_and_pickle() -> None:
    told = fit_surface(readings(20), method="structured", options=SurfaceOptions(lent=LENT)).fit.told  # type: ignore[attr-defined]
    told = replace(told, series={"drying": (0.04, 0.01)})
    again = OwnEvidence.from_plain(told.as_plain())
    assert again.names == told.names == ("block", "pattern", "noise", "range")
    np.testing.assert_allclose(again.points, told.points, rtol=1e-3, atol=1e-4)
    assert again.series == told.series
    assert again.as_plain() == OwnEvidence.from_plain(again.as_plain()).as_plain()
    assert BorrowedPriors.from_plain(pickle.loads(pickle.dumps(LENT)).as_plain()) == LENT


def test_the_pooled_mean_is_that_of_least_squares_under_the_pooled_spread() -> None:
    middle, se = np.log([60.0, 80.0, 100.0, 150.0, 90.0]), np.array([0.2, 0.4, 0.3, 0.2, 0.6])
    lent = pool([evidence(m, s) for m, s in zip(middle, se, strict=True)])
    known = (lent.parameters or {})["range"]
    # the spread lent has the error of the mean in it; the spread alone lies between half of it and all of it
    told = [mean_given_spread(middle, se, share * known.spread)[0] for share in (0.5, 1.0)]
    assert min(told) - 0.02 < np.log(known.median) < max(told) + 0.02
    assert lent.ranches == 5
    assert lent.readings == 400


def test_fewer_than_two_ranches_lend_nothing() -> None:
    assert not pool([])
    assert not pool([evidence(4.0, 0.2)])


def test_a_ranch_unlike_the_others_hardly_moves_what_they_lend() -> None:
    alike = [evidence(np.log(80.0), 0.2, far=-1.0) for _ in range(7)]
    lent, spoiled = pool(alike), pool([*alike, evidence(np.log(2000.0), 0.2, far=-1.0)])
    first, second = ((one.parameters or {})["range"].median for one in (lent, spoiled))
    assert second == pytest.approx(first, rel=0.02)
    assert spoiled.alike < lent.alike


def test_the_weight_of_borrowed_priors_is_the_ratio_of_marginal_likelihoods() -> None:
    """Against plain sums over many draws from either prior, all readings in one block."""
    samples = readings(8, blocks=1)
    centred = replace(samples, value=samples.value - samples.value.mean())
    trend, model = np.ones((8, 1)), VarianceModel(("pattern", "tree"), Priors(), 0.0)
    found = fit(centred, trend, model, lent=LENT)
    rng, mass = np.random.default_rng(1), []
    groups = list(group_readings(centred, trend))
    for one in (model, borrow(model, LENT)):
        total = []
        for u in one.prior_quantiles(rng.normal(size=(1500, 3))):
            patterns = [g.covariance_structure.pattern(one, float(np.exp(u[-1]))) for g in groups]
            value = log_posterior(groups, patterns, one, u, with_gradient=False)[0]
            total.append(value - one.log_prior(u)[0])
        mass.append(logsumexp(total))
    odds = LENT.alike / (1 - LENT.alike) * np.exp(mass[1] - mass[0])
    assert found.told is not None
    assert found.told.borrowed == pytest.approx(odds / (1 + odds), abs=0.04)


def test_readings_that_spread_far_more_refuse_what_is_lent() -> None:
    like = fit_surface(readings(20, 1.0), method="structured", options=SurfaceOptions(lent=LENT))
    unlike = fit_surface(readings(20, 6.0), method="structured", options=SurfaceOptions(lent=LENT))
    assert like.fit.told.borrowed > 0.7  # type: ignore[attr-defined]
    assert unlike.fit.told.borrowed < 0.01  # type: ignore[attr-defined]


def test_borrowed_densities_integrate_to_one() -> None:
    one = borrow(VarianceModel(("tree",), Priors(), 0.0), LENT)
    u = np.arange(-4.0, 4.0, 0.01)
    middle = one.prior_centre()[1]
    density = np.exp([one.log_prior(np.array([x, middle]))[0] + log_constant(one) for x in u])
    at_the_middle_range = 1 / (0.4 * np.sqrt(2 * np.pi))
    assert density.sum() * 0.01 == pytest.approx(at_the_middle_range, rel=1e-6)


def test_densities_of_single_parameters_multiply_to_the_prior() -> None:
    model = VarianceModel(("block", "pattern", "tree"), Priors(), 0.0)
    points = np.random.default_rng(2).normal(0.0, 1.0, (5, 4))
    for one in (model, borrow(model, LENT)):
        whole = [one.log_prior(u)[0] + log_constant(one) for u in points]
        np.testing.assert_allclose(log_densities(one, points).sum(axis=1), whole, rtol=1e-12)


def test_an_exponential_pattern_borrows_twice_the_range() -> None:
    model = borrow(VarianceModel(("pattern", "tree"), Priors(), 0.0), LENT)
    rough = replace(model, correlation=EXPONENTIAL)
    assert np.exp(rough.prior_centre() - model.prior_centre()) == pytest.approx([1.0, 1.0, 2.0])


def test_what_is_not_lent_stays_what_it_is_alone() -> None:
    model = VarianceModel(("block", "valve", "pattern", "tree", "error"), Priors(), 0.0)
    lent = borrow(model, LENT)
    own = dict(zip((*model.free, "range"), np.exp(lent.prior_centre()), strict=True))
    assert own["valve"] == pytest.approx(1.5)
    assert (own["tree"], own["error"]) == pytest.approx((1.0, 0.5))
    assert own["block"] == pytest.approx(1.0)
    assert lent_persistence(LENT) == USUAL_PERSISTENCE
    assert lent_slopes(LENT) is USUAL_SLOPES
    assert lent_slopes(None) is USUAL_SLOPES


def test_lent_slopes_scale_as_a_whole() -> None:
    lent = replace(LENT, parameters={"drying": LogNormal(0.1, 0.2)})
    slopes = lent_slopes(lent)
    assert slopes.bar_mm == pytest.approx(2 * USUAL_SLOPES.bar_mm)
    assert slopes.ranch == pytest.approx(0.02)
    assert slopes.block / slopes.bar_mm == pytest.approx(USUAL_SLOPES.block / USUAL_SLOPES.bar_mm)


def test_few_readings_gain_and_many_do_not() -> None:
    lent = replace(LENT, parameters={"range": LogNormal(80.0, 0.3)})
    assert gains_from(evidence(np.log(80.0), 0.7, far=-1.0), lent)
    assert not gains_from(evidence(np.log(80.0), 0.05, far=-1.0), lent)
    assert not gains_from(evidence(np.log(80.0), 0.7), BorrowedPriors())


def test_a_deviation_that_no_ranch_tells_from_none_is_not_lent_as_none() -> None:
    x = np.linspace(-6.0, 1.0, 141)
    # readings that bear any standard deviation between blocks up to one bar, and none above two
    likelihood = 1 / (1 + np.exp(2 * x) ** 2)
    prior = np.log(np.sqrt(2 / np.pi)) + x - np.log(2) - 0.5 * np.exp(2 * x) / 4
    weight = likelihood * np.exp(prior)
    one = OwnEvidence(60, ("block",), x[:, None], weight / weight.sum(), prior[:, None], None)
    lent = (pool([one] * 7).parameters or {})["block"]
    assert 0.3 < lent.median < 1.35
