"""Joint errors of zones: as kriging says of each alone, and as kriging says once another reading is there."""

import numpy as np
import pytest

from stressmap.geostat.methods import fit_surface
from stressmap.geostat.ordinary_kriging import OrdinarySurface, Variogram
from stressmap.geostat.samples import Places, Samples

RNG = np.random.default_rng(5)


def places(xy) -> Places:
    xy = np.asarray(xy, dtype=float)
    return Places(xy, *(np.zeros(len(xy), dtype=np.int64) for _ in range(3)))


@pytest.fixture
def samples() -> Samples:
    where = places(RNG.uniform(0, 400, (20, 2)))
    return Samples(where, RNG.normal(3, 1, 20), np.arange(20))


@pytest.fixture
def cells():
    x, y = np.meshgrid(np.arange(5, 100, 15.0), np.arange(5, 100, 15.0))
    xy = np.column_stack([x.ravel(), y.ravel()])
    zone = (xy[:, 0] > 50).astype(np.int64)
    return places(np.vstack([xy, [[300.0, 120.0]]])), np.append(zone, 2)


VARIOGRAM = Variogram(1.2, 150.0, 0.4)


def test_each_zones_error_is_that_of_kriging_it_alone(samples, cells):
    where, zone = cells
    surface = OrdinarySurface(samples, VARIOGRAM)
    joint = surface.zone_covariance(where, zone, 3)
    assert np.diag(joint.covariance) == pytest.approx(
        surface.predict_zones(where, zone, 3).variance, rel=1e-9
    )
    assert joint.noise == pytest.approx(0.4)


def test_a_further_reading_takes_off_what_kriging_with_it_takes_off(samples, cells):
    where, zone = cells
    joint = OrdinarySurface(samples, VARIOGRAM).zone_covariance(where, zone, 3)
    new = places([[300.0, 120.0]])
    more = Samples(samples.places.followed_by(new), np.append(samples.value, 9.0), np.arange(21))
    then = OrdinarySurface(more, VARIOGRAM).predict_zones(where, zone, 3).variance
    assert np.diag(joint.conditioned_on(2).covariance) == pytest.approx(then, rel=1e-9)
    moved = joint.shift_sd(2)
    assert np.diag(joint.covariance) - moved**2 == pytest.approx(then, rel=1e-9)


@pytest.mark.parametrize("count", [3, 20])
def test_the_structured_method_and_averages_give_proper_joint_errors(samples, cells, count):
    where, zone = cells
    surface = fit_surface(samples.take(slice(0, count)), method="structured")
    joint = surface.zone_covariance(where, zone, 3)
    assert np.linalg.eigvalsh(joint.covariance).min() > -1e-9
    assert (joint.shift_sd(2) ** 2 <= np.diag(joint.covariance) + 1e-9).all()
    alone = surface.predict_zones(where, zone, 3).variance
    # One best set of parameters against the average over many: of one order, not the same.
    assert (np.diag(joint.covariance) < 3 * alone + 0.1).all()
