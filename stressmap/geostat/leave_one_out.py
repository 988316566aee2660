"""Closed-form leave-one-out (and leave-group-out) residuals of kriging, for weighted parameter sets.

With ``a = P·z`` for the projection P of kriging with an estimated mean, readings B left out together have
the residuals ``(P_BB)⁻¹·a_B`` with covariance ``(P_BB)⁻¹``, the readings' own tree and error included. The
sets' weights, too, are those without the readings: each is divided by the set's predictive density of them,
truncated at the square root of the number of sets so that no set takes all (truncated importance sampling).
"""

from __future__ import annotations

import numpy as np
from scipy.special import logsumexp

from stressmap.core.arrays import Floats

LOG_2PI = float(np.log(2 * np.pi))


def leave_out_weights(weight: Floats, log_density: Floats) -> Floats:
    """Reweight the parameter sets to the posterior without some readings.

    Parameters
    ----------
    weight : array, shape (K,)
        With them, sum one.
    log_density : array, shape (K,)
        Predictive log density of the readings left out, given the rest, under each set.

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
    """Give the leave-one-out residual and variance of each reading.

    Parameters
    ----------
    weight : array, shape (K,)
        Of the sets.
    alpha, diagonal : array, shape (K, n)
        P·z and the diagonal of P.

    Returns
    -------
    residual : array, shape (n,)
        Reading less prediction [bar].
    variance : array, shape (n,)
        Of the residual [bar²].
    """
    residual, variance = alpha / diagonal, 1.0 / diagonal
    log_density = -0.5 * (LOG_2PI + np.log(variance) + residual**2 / variance)
    mean, total = np.empty(alpha.shape[1]), np.empty(alpha.shape[1])
    for i in range(alpha.shape[1]):
        w = leave_out_weights(weight, log_density[:, i])
        mean[i] = w @ residual[:, i]
        total[i] = w @ (variance[:, i] + residual[:, i] ** 2) - mean[i] ** 2
    return mean, total


def residuals_group_out(weight: Floats, alpha: Floats, inner: Floats) -> tuple[Floats, Floats]:
    """Give residuals and variances of readings left out together.

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
    residual, variance : array, shape (k,)
        As :func:`residuals_one_out`.
    """
    covariance = np.linalg.inv(inner)
    residual = np.einsum("kij,kj->ki", covariance, alpha)
    squares = np.einsum("ki,ki->k", residual, alpha)
    log_density = 0.5 * (np.linalg.slogdet(inner)[1] - squares - alpha.shape[1] * LOG_2PI)
    w = leave_out_weights(weight, log_density)
    mean = w @ residual
    variance = w @ (np.einsum("kii->ki", covariance) + residual**2) - mean**2
    return mean, variance
