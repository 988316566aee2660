"""Repeat leaves of one tree count once in methods that know no trees."""

import numpy as np
import pytest

from stressmap.geostat.methods import fit_surface
from stressmap.geostat.samples import Places, Samples

RNG = np.random.default_rng(11)


def places(xy) -> Places:
    return Places(np.asarray(xy, dtype=float), *(np.zeros(len(xy), dtype=np.int64) for _ in range(3)))


@pytest.fixture
def trees() -> Samples:
    return Samples(places(RNG.uniform(0, 300, (12, 2))), RNG.normal(3, 1.5, 12), np.arange(12))


@pytest.fixture
def leaves(trees) -> Samples:
    """The first four trees read twice, 0.4 bar above and below."""
    value = np.append(trees.value, trees.value[:4] - 0.4)
    value[:4] += 0.4
    where = trees.places.followed_by(trees.places.take(slice(0, 4)))
    return Samples(where, value, np.append(trees.tree, trees.tree[:4]))


def test_reading_a_tree_twice_maps_as_its_average(trees, leaves):
    grid = places(RNG.uniform(0, 300, (30, 2)))
    once = fit_surface(trees, method="ordinary").predict(grid)
    twice = fit_surface(leaves, method="ordinary").predict(grid)
    assert twice.mean == pytest.approx(once.mean)
    assert twice.variance == pytest.approx(once.variance)


def test_every_leaf_gets_a_prediction_from_the_other_trees(trees, leaves):
    once, z_once = fit_surface(trees, method="ordinary").leave_one_out()
    twice, z_twice = fit_surface(leaves, method="ordinary").leave_one_out()
    assert twice == pytest.approx(np.append(once, once[:4]))
    error = (trees.value - once) / z_once
    assert z_twice[12:] == pytest.approx((leaves.value[12:] - once[:4]) / error[:4])


def test_the_structured_method_keeps_the_leaves_apart(leaves):
    surface = fit_surface(leaves, method="structured")
    assert surface.summary()["readings"] == 16
    assert len(surface.leave_one_out()[0]) == 16
