"""The fitted posterior against scipy's densities: readings count once, what is plausible beforehand once."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.spatial.distance import cdist
from scipy.stats import halfnorm, lognorm, multivariate_normal

from stressmap.geostat import fit, posterior
from stressmap.geostat.covariance import EXPONENTIAL, MATERN32, Correlation
from stressmap.geostat.importance_sample import quasi_normal_points
from stressmap.geostat.options import Priors
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.variance_model import VarianceModel, choose_model


def samples(n: int = 20, *, twice: bool = True) -> Samples:
    rng = np.random.default_rng(11)
    xy = rng.uniform(0, 400, (n, 2))
    block = (xy[:, 0] // 100).astype(np.int64)
    valve = block * 2 + (xy[:, 1] > 200)
    tree = np.arange(n)
    if twice:
        tree[1], xy[1], block[1], valve[1] = tree[0], xy[0], block[0], valve[0]
    return Samples(Places(xy, block, valve, np.zeros(n, np.int64)), rng.normal(0, 2, n), tree)


def log_density(model: VarianceModel, u: np.ndarray) -> float:
    """Log prior of the logarithms: half-normal or log-normal standard deviations, log-normal range."""
    priors, total = model.priors, 0.0
    for name, x in zip(model.free, u, strict=False):
        scale = getattr(priors, f"{name}_bar")
        if name in {"tree", "error"}:
            total += lognorm(priors.noise_spread, scale=scale).logpdf(np.exp(x)) + x
        else:
            total += halfnorm(scale=scale).logpdf(np.exp(x)) + x
    return total + lognorm(priors.range_spread, scale=priors.range_m).logpdf(np.exp(u[-1])) + u[-1]


def log_restricted(s: Samples, model: VarianceModel, u: np.ndarray) -> float:
    """Likelihood of the contrasts of the readings, by scipy's multivariate normal."""
    p = model.parameters(u)
    apart = np.hypot(*(s.places.xy[:, None] - s.places.xy[None]).transpose(2, 0, 1))
    root = np.sqrt(3) * apart / p.range_m
    k = p.pattern * (1 + root) * np.exp(-root) + p.error * np.eye(len(s))
    for code, variance in ((s.places.block, p.block), (s.places.valve, p.valve), (s.tree, p.tree)):
        k += variance * (code[:, None] == code)
    contrasts = np.linalg.svd(np.ones((1, len(s))))[2][1:]
    return float(multivariate_normal(cov=contrasts @ k @ contrasts.T).logpdf(contrasts @ s.value))


def log_posterior(s: Samples, model: VarianceModel, u: np.ndarray) -> float:
    groups = list(posterior.group_readings(s, np.ones((len(s), 1))))
    patterns = [g.covariance_structure.pattern(model, float(np.exp(u[-1]))) for g in groups]
    return posterior.log_posterior(groups, patterns, model, u, with_gradient=False)[0]


def test_the_posterior_is_the_restricted_likelihood_times_the_prior() -> None:
    """Differences between sets of parameters: constants do not matter, weights do."""
    s, rng = samples(), np.random.default_rng(2)
    model = choose_model(s, Priors(), None)
    assert model.free == ("block", "valve", "pattern", "tree", "error")
    start = model.prior_centre()
    at_start = log_posterior(s, model, start), log_restricted(s, model, start) + log_density(model, start)
    for _ in range(10):
        u = start + rng.normal(0, 0.8, len(start))
        expected = log_restricted(s, model, u) + log_density(model, u)
        assert log_posterior(s, model, u) - at_start[0] == pytest.approx(expected - at_start[1], abs=1e-7)


def test_slope_and_curvature_of_the_prior_are_those_of_its_value() -> None:
    model = choose_model(samples(), Priors(), None)
    u = model.prior_centre() + np.array([0.3, -0.4, 0.2, 0.5, -0.1, 0.6])
    _, slope, curvature = model.log_prior(u)
    np.testing.assert_allclose(slope, approx_fprime(u, lambda v: model.log_prior(v)[0], 1e-7), atol=1e-5)
    bend = [-approx_fprime(u, lambda v, i=i: model.log_prior(v)[1][i], 1e-7)[i] for i in range(len(u))]
    np.testing.assert_allclose(curvature, bend, atol=1e-5)


def test_vectors_drawn_beforehand_follow_the_priors() -> None:
    """A normal figure becomes the quantile of the prior at its probability."""
    model = choose_model(samples(), Priors(), None)
    z = np.array([-1.5, -0.3, 0.0, 0.8, 1.9])
    drawn = np.exp(model.prior_quantiles(np.repeat(z[:, None], len(model.free) + 1, axis=1)))
    p = model.priors
    probability = np.array([0.0668072, 0.3820886, 0.5, 0.7881446, 0.9712834])  # the normal's, any table
    np.testing.assert_allclose(drawn[:, 0], halfnorm(scale=p.block_bar).ppf(probability), rtol=1e-5)
    np.testing.assert_allclose(drawn[:, 2], halfnorm(scale=p.pattern_bar).ppf(probability), rtol=1e-5)
    tree = lognorm(p.noise_spread, scale=p.tree_bar).ppf(probability)
    np.testing.assert_allclose(drawn[:, 3], tree, rtol=1e-5)
    ranges = lognorm(p.range_spread, scale=p.range_m).ppf(probability)
    np.testing.assert_allclose(drawn[:, -1], ranges, rtol=1e-5)


def test_what_can_be_told_apart_is_free() -> None:
    once, twice = samples(twice=False), samples()
    assert choose_model(once, Priors(), None).free == ("block", "valve", "pattern", "tree")
    known = choose_model(twice, Priors(), 0.4)
    assert known.free == ("block", "valve", "pattern", "tree")
    assert known.parameters(known.prior_centre()).error == pytest.approx(0.16)
    assert choose_model(twice, Priors(), 0.0).error_bar == 0.05
    lumped = choose_model(once, Priors(), None)
    tree = lumped.parameters(lumped.prior_centre()).tree
    assert tree == pytest.approx(1.0**2 + 0.5**2), "tree and reading error are one"


@pytest.mark.parametrize("drawn", [EXPONENTIAL, MATERN32])
def test_a_rough_pattern_is_taken_where_the_readings_speak_for_it(drawn: Correlation) -> None:
    rng = np.random.default_rng(6)
    xy = rng.uniform(0, 500, (120, 2))
    covariance = 4 * drawn(cdist(xy, xy), 150.0) + 0.01 * np.eye(120)
    none = np.zeros(120, np.int64)
    value = np.linalg.cholesky(covariance) @ rng.normal(size=120)
    s = Samples(Places(xy, none, none - 1, none), value, np.arange(120))
    model = choose_model(s, Priors(tree_bar=0.2, error_bar=0.1), None)
    assert model.correlation is MATERN32
    assert fit.fit(s, np.ones((120, 1)), model).model.correlation is drawn


def test_normal_points_lie_as_a_standard_normal_sample() -> None:
    points = quasi_normal_points(2000, 4)
    assert points.shape == (2000, 4)
    np.testing.assert_allclose(points.mean(axis=0), 0.0, atol=1e-12)
    spread = np.cov(points.T)
    np.testing.assert_allclose(np.diag(spread), 1.0, atol=0.03)
    assert np.abs(spread - np.diag(np.diag(spread))).max() < 0.15, "hardly related; the bound is a judgement"
    np.testing.assert_allclose(np.quantile(points, [0.025, 0.5, 0.975]), [-1.96, 0.0, 1.96], atol=0.02)
