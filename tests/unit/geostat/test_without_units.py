"""The model without effects of blocks and valve zones takes part by the odds that the readings give it."""

from __future__ import annotations

import numpy as np
from scipy.special import logsumexp
from scipy.stats import halfnorm, lognorm, multivariate_normal, norm

from stressmap.geostat import without_units
from stressmap.geostat.fit import fit
from stressmap.geostat.importance_sample import importance_sample
from stressmap.geostat.methods import fit_surface
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.options import Priors
from stressmap.geostat.posterior import group_readings
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.variance_model import VarianceModel

RANGE_M = 100.0


def samples(blocks: int, value: np.ndarray) -> Samples:
    n = len(value)
    rng = np.random.default_rng(5)
    block = np.arange(n) * blocks // n
    xy = np.column_stack([400.0 * block, np.zeros(n)]) + rng.uniform(0, 400, (n, 2))
    return Samples(Places(xy, block, block, np.zeros(n, np.int64)), value, np.arange(n))


def log_evidence(s: Samples, free: tuple[str, ...], steps: int = 24, range_m: float = RANGE_M) -> float:
    """Integrate restricted likelihood x prior over all variances on a lattice of their probabilities."""
    p, n = Priors(), len(s)
    quantile = (np.arange(steps) + 0.5) / steps
    priors = {"block": halfnorm(scale=p.block_bar), "pattern": halfnorm(scale=p.pattern_bar)}
    priors["tree"] = lognorm(p.noise_spread, scale=p.noise_bar)
    axes = np.meshgrid(*[priors[name].ppf(quantile) ** 2 for name in free], indexing="ij")
    variance = {name: axis.reshape(-1, 1, 1) for name, axis in zip(free, axes, strict=True)}
    apart = np.hypot(*(s.places.xy[:, None] - s.places.xy[None]).transpose(2, 0, 1))
    root = np.sqrt(3) * apart / range_m
    k = variance["pattern"] * (1 + root) * np.exp(-root) + variance["tree"] * np.eye(n)
    if "block" in free:
        k = k + variance["block"] * np.equal.outer(s.places.block, s.places.block)
    contrasts = np.linalg.svd(np.ones((1, n)))[2][1:]
    k, z = contrasts @ k @ contrasts.T, contrasts @ s.value
    squares = np.einsum("i,kij,j->k", z, np.linalg.inv(k), z)
    return float(logsumexp(-0.5 * (squares + np.linalg.slogdet(k)[1])) - np.log(len(k)))


def test_the_integration_of_this_test_is_scipys_likelihood() -> None:
    s = samples(3, np.array([1.0, 2.0, -1.0, 0.5, -2.0, 0.0, 1.5]))
    contrasts = np.linalg.svd(np.ones((1, 7)))[2][1:]
    p = Priors()
    apart = np.hypot(*(s.places.xy[:, None] - s.places.xy[None]).transpose(2, 0, 1))
    root = np.sqrt(3) * apart / RANGE_M
    sd = halfnorm(scale=p.pattern_bar).median(), lognorm(p.noise_spread, scale=p.noise_bar).median()
    k = sd[0] ** 2 * (1 + root) * np.exp(-root) + sd[1] ** 2 * np.eye(7)
    density = multivariate_normal(cov=contrasts @ k @ contrasts.T).logpdf(contrasts @ s.value)
    assert np.isclose(log_evidence(s, ("pattern", "tree"), 1), density + 3 * np.log(2 * np.pi), atol=1e-9)


def test_models_are_weighed_by_the_integral_of_likelihood_and_prior() -> None:
    """The odds by importance sampling against an integral on a lattice; 0.1 in the logarithm is sampling."""
    whole = VarianceModel(("block", "pattern", "tree"), Priors(), 0.0)
    plain = VarianceModel(("pattern", "tree"), Priors(), 0.0)
    for spread in (0.3, 3.0):
        value = np.repeat([-spread, 0.0, spread], 4) + np.random.default_rng(8).normal(0, 0.8, 12)
        s = samples(3, value - value.mean())
        groups = list(group_readings(s, np.ones((12, 1))))
        mass = []
        for model in (whole, plain):
            start = model.prior_centre()
            start[-1] = np.log(RANGE_M)
            mass.append(importance_sample(groups, model, start, 400).log_mass)
        odds = mass[1] + without_units.chance_of(plain, whole) - mass[0]
        expected = log_evidence(s, plain.free) - log_evidence(s, whole.free)
        expected += np.log(without_units.CHANCE / (1 - without_units.CHANCE))
        assert abs(odds - expected) < 0.1, spread


def test_the_average_gives_either_kind_of_model_its_part_of_the_integral() -> None:
    """However many points stand for it: half as many without units; 0.3 is sampling, half the odds 0.7."""
    value = np.repeat([-0.3, 0.0, 0.3], 4) + np.random.default_rng(8).normal(0, 0.8, 12)
    s, p = samples(3, value - value.mean()), Priors()
    found = fit(s, np.ones((12, 1)), VarianceModel(("block", "pattern", "tree"), p, 0.0))
    without = sum(w for one, w in zip(found.nodes, found.weight, strict=True) if one.block == 0)

    def evidence(free: tuple[str, ...], ranges: tuple[float, ...]) -> float:
        prior = norm(np.log(p.range_m), p.range_spread)
        return float(logsumexp([log_evidence(s, free, 16, r) + prior.logpdf(np.log(r)) for r in ranges]))

    odds = evidence(("pattern", "tree"), (50, 100, 200, 400, 800))
    odds -= evidence(("block", "pattern", "tree"), (25, 50, 100, 200, 400))
    odds += np.log(without_units.CHANCE / (1 - without_units.CHANCE))
    assert abs(np.log(without / (1 - without)) - odds) < 0.3


def weight_without_units(s: Samples) -> float:
    surface = fit_surface(s, method="structured")
    assert isinstance(surface, StructuredSurface)
    found = surface.fit
    return float(sum(w for p, w in zip(found.nodes, found.weight, strict=True) if p.block == p.valve == 0))


def test_a_smooth_ranch_is_mapped_mostly_without_units_and_a_ranch_of_blocks_with_them() -> None:
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 0.5, 60)
    s = samples(12, noise)
    smooth = samples(12, noise + 2 * np.sin(s.places.xy[:, 0] / 700))
    steps = samples(12, noise + np.repeat(rng.normal(0, 2.5, 12), 5))
    assert weight_without_units(smooth) > 0.5
    assert weight_without_units(steps) == 0.0


def test_one_unit_alone_changes_nothing() -> None:
    assert weight_without_units(samples(1, np.random.default_rng(1).normal(0, 1, 20))) == 0.0
