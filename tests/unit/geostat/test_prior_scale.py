"""Priors move with readings that spread far more or less than usual, and stay the very same otherwise."""

from __future__ import annotations

import numpy as np
import pytest

from stressmap.geostat.methods import fit_surface
from stressmap.geostat.options import Priors
from stressmap.geostat.prior_scale import MOST_FACTOR, follow_spread
from stressmap.geostat.samples import Places, Samples


def samples(times: float, n: int = 60) -> Samples:
    rng = np.random.default_rng(4)
    block = np.arange(n) * 6 // n
    xy = np.column_stack([200.0 * block, np.zeros(n)]) + rng.uniform(0, 200, (n, 2))
    value = rng.normal(0, 1.2, 6)[block] + rng.normal(0, 1.8, n)
    return Samples(Places(xy, block, block, np.zeros(n, np.int64)), times * value, np.arange(n))


def test_usual_readings_and_few_readings_leave_the_priors_alone() -> None:
    priors = Priors()
    assert follow_spread(priors, samples(1.0)) is priors
    assert follow_spread(priors, samples(9.0, n=11)) is priors


@pytest.mark.parametrize("times", [0.25, 7.0])
def test_far_from_usual_the_priors_move_as_the_readings_do(times: float) -> None:
    once, twice = (follow_spread(Priors(), samples(t)) for t in (times, times * (1.2 if times > 1 else 0.7)))
    assert twice.block_bar / once.block_bar == pytest.approx(1.2 if times > 1 else 0.7)
    assert once.tree_bar / once.block_bar == pytest.approx(0.5), "all alike"
    assert once.range_m == Priors().range_m


def test_a_few_gross_errors_do_not_move_them() -> None:
    priors, spoilt = Priors(), samples(1.0)
    spoilt.value[::12] += 40.0
    assert follow_spread(priors, spoilt) is priors


def test_they_move_within_bounds() -> None:
    assert follow_spread(Priors(), samples(1e4)).block_bar == pytest.approx(2.0 * MOST_FACTOR)
    assert follow_spread(Priors(), samples(0.0)).block_bar == pytest.approx(2.0 / MOST_FACTOR)


def test_a_map_in_other_units_is_the_same_map() -> None:
    """Readings 7 and 8.4 times as large as usual: the maps differ by that factor alone."""
    one, other = (
        fit_surface(samples(t), method="structured").predict(samples(1.0).places) for t in (7.0, 8.4)
    )
    np.testing.assert_allclose(other.mean, 1.2 * one.mean, rtol=1e-4, atol=1e-3)
    np.testing.assert_allclose(other.variance, 1.2**2 * one.variance, rtol=1e-3)
