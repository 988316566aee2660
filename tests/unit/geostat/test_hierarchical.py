"""Averages with readings left out, against averages of what is left, worked out anew."""

import numpy as np
import pytest

from stressmap.geostat.hierarchical import HierarchicalSurface, VarianceComponents
from stressmap.geostat.samples import Places, Samples

SPREAD = VarianceComponents(crop=9.0, block=4.0, within=2.5, signal=1.5)


def samples() -> Samples:
    """Forty readings in nine blocks of two crops, and one block of a third crop with a single reading."""
    rng = np.random.default_rng(4)
    block = np.append(rng.integers(0, 9, 40), 9)
    crop = np.append(block[:-1] % 2, 2)
    places = Places(rng.uniform(0, 900, (41, 2)), block, np.full(41, -1), crop)
    return Samples(places, rng.normal(size=41), np.arange(41))


@pytest.mark.parametrize("blocks", [False, True])
def test_leaving_readings_out_is_averaging_the_others(blocks: bool) -> None:  # noqa: FBT001
    every = samples()
    surface = HierarchicalSurface(every, SPREAD)
    predicted, z = surface.leave_block_out() if blocks else surface.leave_one_out()
    for i in range(len(every)):
        out = every.places.block == every.places.block[i] if blocks else np.arange(len(every)) == i
        there = HierarchicalSurface(every.take(~out), SPREAD).predict(every.places.take([i]))
        assert predicted[i] == pytest.approx(there.mean[0], rel=1e-12)
        error = np.sqrt(there.variance[0] - SPREAD.signal + SPREAD.within)
        assert z[i] == pytest.approx((every.value[i] - predicted[i]) / error, rel=1e-12)


def test_nothing_is_predicted_from_nothing() -> None:
    one = samples().take([0])
    predicted, z = HierarchicalSurface(one, SPREAD).leave_one_out()
    assert np.isnan(predicted).all()
    assert np.isnan(z).all()
