"""An Introduction to Applied Geostatistics, Oxford 1989, chapter 12: ordinary kriging of seven samples.

Figures from memory, recomputed to the printed digits (standing: from memory, cross-checked).
"""

import numpy as np
import pytest
from scipy.spatial.distance import cdist

from stressmap.field.ordinary import OrdinarySurface, Variogram
from stressmap.field.surface import Places, Samples

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


def test_weights_estimate_and_variance_as_printed() -> None:
    n = len(V)
    system = np.ones((n + 1, n + 1))
    system[:n, :n] = 10 * np.exp(-0.3 * cdist(XY, XY))
    system[n, n] = 0
    right = np.append(10 * np.exp(-0.3 * cdist(XY, POINT)[:, 0]), 1.0)
    solved = np.linalg.solve(system, right)
    np.testing.assert_allclose(np.round(solved[:n], 3), WEIGHTS, atol=1e-12)

    one = np.zeros(n, dtype=np.int64)
    surface = OrdinarySurface(
        Samples(Places(XY, one, one, one), V, np.arange(n)), Exponential(10.0, 10.0, 0.0)
    )
    point = Places(POINT, one[:1], one[:1], one[:1])
    estimate = surface.zone_means(point, np.array([0]), 1)
    assert round(float(estimate.mean[0]), 1) == ESTIMATE
    assert round(float(estimate.variance[0]), 2) == pytest.approx(VARIANCE)
    assert float(estimate.mean[0]) == pytest.approx(solved[:n] @ V, rel=1e-12)
