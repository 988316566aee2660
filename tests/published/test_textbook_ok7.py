"""An Introduction to Applied Geostatistics, Oxford 1989, chapter 12: ordinary kriging of seven samples.

Figures from memory, recomputed to the printed digits (standing: from memory, cross-checked).
"""

import numpy as np
import pytest

from stressmap.geostat.ordinary_kriging import OrdinarySurface, Variogram
from stressmap.geostat.samples import Places, Samples

XY = np.array([[61, 139], [63, 140], [64, 129], [68, 128], [71, 140], [73, 141], [75, 128]], dtype=float)
V = np.array([477, 696, 227, 646, 606, 791, 783], dtype=float)
POINT = np.array([[65.0, 137.0]])
WEIGHTS = [0.173, 0.318, 0.129, 0.086, 0.151, 0.057, 0.086]
ESTIMATE = 592.7
VARIANCE = 8.96


class Exponential(Variogram):
    """10·exp(-3h/10), the chapter's covariance."""

    def covariance(self, distance):
        return 10.0 * np.exp(-0.3 * distance)


def at_the_point(values: np.ndarray) -> tuple[float, float]:
    """Krige the seven places with other values: mean and variance at the point."""
    one = np.zeros(len(values), dtype=np.int64)
    samples = Samples(Places(XY, one, one, one), values, np.arange(len(values)))
    surface = OrdinarySurface(samples, Exponential(10.0, 10.0, 0.0))
    found = surface.predict_zones(Places(POINT, one[:1], one[:1], one[:1]), np.array([0]), 1)
    return float(found.mean[0]), float(found.variance[0])


def test_weights_estimate_and_variance_as_printed() -> None:
    # kriging is linear in the values: the estimate of a one among noughts is the weight of its sample
    weights = np.array([at_the_point(row)[0] for row in np.eye(len(V))])
    np.testing.assert_allclose(np.round(weights, 3), WEIGHTS, atol=1e-12)
    assert weights.sum() == pytest.approx(1.0, abs=1e-12)
    mean, variance = at_the_point(V)
    assert round(mean, 1) == ESTIMATE
    assert round(variance, 2) == pytest.approx(VARIANCE)
    assert mean == pytest.approx(weights @ V, rel=1e-12)
