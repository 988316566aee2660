"""Restricted likelihood (REML) of readings under a covariance matrix and a trend, and the REML projection."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError
from scipy.linalg.lapack import dpotrf, dpotri

from stressmap.core.arrays import Floats

LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class SolvedCovariance:
    """Inverse and log-determinant of a covariance matrix, with the normal equations of a trend.

    Parameters
    ----------
    inverse : array, shape (n, n)
        Of the covariance [1/bar²].
    weighed : array, shape (n, p)
        The inverse times the trend.
    information : array, shape (p, p)
        The trend's transpose times that.
    log_determinant : float
        Of the covariance.
    """

    inverse: Floats
    weighed: Floats
    information: Floats
    log_determinant: float


def solve(covariance: Floats, trend: Floats) -> SolvedCovariance:
    """Invert a covariance matrix once by Cholesky factorisation.

    Parameters
    ----------
    covariance : array, shape (n, n)
        [bar²].
    trend : array, shape (n, p)
        Columns of the mean.

    Returns
    -------
    SolvedCovariance

    Raises
    ------
    LinAlgError
        If the covariance is not positive definite.
    """
    # the transpose of a symmetric matrix is itself, in the order LAPACK works in: no copy is made to turn it
    factor, info = dpotrf(covariance.T, lower=1, clean=1)
    if info:
        msg = "the covariance of the readings is not positive definite"
        raise LinAlgError(msg)
    log_determinant = 2.0 * float(np.log(np.diag(factor)).sum())
    half, _ = dpotri(factor, lower=1, overwrite_c=1)
    inverse = half + half.T
    inverse[np.diag_indices(len(inverse))] *= 0.5
    weighed = inverse @ trend
    return SolvedCovariance(inverse, weighed, trend.T @ weighed, log_determinant)


def log_likelihood(solved: SolvedCovariance, trend: Floats, value: Floats) -> float:
    """Restricted log-likelihood of the readings.

    ``-[(n-p)·log 2π + log|K| + log|X'K⁻¹X| + r'K⁻¹r] / 2``; it has no ``log|X'X|`` term, as R's nlme 3.1.

    Parameters
    ----------
    solved : SolvedCovariance
        Of the covariance and trend.
    trend : array, shape (n, p)
        Columns of the mean.
    value : array, shape (n,)
        [bar].

    Returns
    -------
    float

    Examples
    --------
    >>> one = np.ones((2, 1))
    >>> round(log_likelihood(solve(np.eye(2), one), one, np.array([1.0, -1.0])), 6)
    -2.265512
    """
    n, p = trend.shape
    means = np.linalg.solve(solved.information, solved.weighed.T @ value)
    squares = float((value - trend @ means) @ (solved.inverse @ value))
    extra = float(np.linalg.slogdet(solved.information)[1])
    return float(-0.5 * ((n - p) * LOG_2PI + solved.log_determinant + extra + squares))


def projection(solved: SolvedCovariance) -> Floats:
    """Return the inverse with the trend projected out, shape (n, n) [1/bar²]."""
    return np.asarray(solved.inverse - solved.weighed @ np.linalg.solve(solved.information, solved.weighed.T))
