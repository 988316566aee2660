"""Prediction of readings from the rest in closed form, for weighted sets of parameters.

With ``a = P·z`` for the projection P of kriging with an estimated mean, readings B left out together are
missed by ``(P_BB)⁻¹·a_B`` with covariance ``(P_BB)⁻¹``, the readings' own tree and error included. The sets'
weights are those without the readings, too: each is divided by how well that set foretold them, cut off at
the square root of the number of sets so that no set takes all (truncated importance sampling).
"""

from __future__ import annotations

import numpy as np
from scipy.special import logsumexp

from stressmap.core.arrays import Floats

LOG_2PI = float(np.log(2 * np.pi))


def weights_without(weight: Floats, log_density: Floats) -> Floats:
    """Weigh the sets of parameters as they would be without some readings.

    Parameters
    ----------
    weight : array, shape (K,)
        With them, sum one.
    log_density : array, shape (K,)
        Of the readings left out, as each set foretells them from the rest.

    Returns
    -------
    array, shape (K,)
        Sum one.
    """
    ratio = np.exp(-(log_density - logsumexp(log_density, b=weight)))
    ratio /= weight @ ratio
    cut = weight * np.minimum(ratio, np.sqrt(len(weight)))
    return np.asarray(cut / cut.sum())


def residuals_one_out(weight: Floats, alpha: Floats, diagonal: Floats) -> tuple[Floats, Floats]:
    """Say by how much each reading is missed when the others predict it.

    Parameters
    ----------
    weight : array, shape (K,)
        Of the sets.
    alpha, diagonal : array, shape (K, n)
        P·z and the diagonal of P.

    Returns
    -------
    miss : array, shape (n,)
        Reading less prediction [bar].
    variance : array, shape (n,)
        Of the miss [bar²].
    """
    miss, variance = alpha / diagonal, 1.0 / diagonal
    log_density = -0.5 * (LOG_2PI + np.log(variance) + miss**2 / variance)
    mean, spread = np.empty(alpha.shape[1]), np.empty(alpha.shape[1])
    for i in range(alpha.shape[1]):
        w = weights_without(weight, log_density[:, i])
        mean[i] = w @ miss[:, i]
        spread[i] = w @ (variance[:, i] + miss[:, i] ** 2) - mean[i] ** 2
    return mean, spread


def residuals_group_out(weight: Floats, alpha: Floats, inner: Floats) -> tuple[Floats, Floats]:
    """Say by how much readings left out together are missed.

    Parameters
    ----------
    weight : array, shape (K,)
        Of the sets.
    alpha : array, shape (K, k)
        P·z at these readings.
    inner : array, shape (K, k, k)
        P between them.

    Returns
    -------
    miss, variance : array, shape (k,)
        As :func:`residuals_one_out`.
    """
    covariance = np.linalg.inv(inner)
    miss = np.einsum("kij,kj->ki", covariance, alpha)
    squares = np.einsum("ki,ki->k", miss, alpha)
    log_density = 0.5 * (np.linalg.slogdet(inner)[1] - squares - alpha.shape[1] * LOG_2PI)
    w = weights_without(weight, log_density)
    mean = w @ miss
    variance = w @ (np.einsum("kii->ki", covariance) + miss**2) - mean**2
    return mean, variance
