"""Closed-form leave-one-out (and leave-group-out) residuals of kriging, for weighted parameter sets.

With ``a = P·z`` for the projection P of kriging with an estimated mean, readings B left out together have
the residuals ``(P_BB)⁻¹·a_B`` with covariance ``(P_BB)⁻¹``, the readings' own tree and error included. The
sets' weights, too, are those without the readings: each is divided by the set's predictive density of them,
truncated at the square root of the number of sets so that no set takes all (truncated importance sampling).
"""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Floats

LOG_2PI = float(np.log(2 * np.pi))
LARGEST = 600.0
"""Of a logarithm whose exponential is still a finite figure, with room to sum."""


def leave_out_weights(weight: Floats, log_density: Floats) -> Floats:
    """Reweight the parameter sets to the posterior without some readings.

    Parameters
    ----------
    weight : array, shape (K,)
        With them, sum one.
    log_density : array, shape (K,) or (K, n)
        Predictive log density of the readings left out, given the rest, under each set; or n such columns.

    Returns
    -------
    array, shape (K,) or (K, n)
        Each column sums to one.
    """
    usual = weight if log_density.ndim == 1 else weight[:, None]
    most = log_density.max(axis=0)
    unlikely = -(log_density - most - np.log(weight @ np.exp(log_density - most)))
    # A reading that one set takes for impossible: only how the sets compare counts, so the scale may go.
    ratio = np.exp(unlikely - np.maximum(unlikely.max(axis=0) - LARGEST, 0.0))
    ratio /= weight @ ratio
    cut = usual * np.minimum(ratio, np.sqrt(len(weight)))
    return np.asarray(cut / cut.sum(axis=0))


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
    w = leave_out_weights(weight, log_density)
    mean = (w * residual).sum(axis=0)
    return mean, (w * (variance + residual**2)).sum(axis=0) - mean**2


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
