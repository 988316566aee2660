"""Estimates with known standard errors pooled over ranches: their mean, and their spread from ranch to ranch.

The normal-normal model: an estimate is the ranch's own value plus an error of known size, and the values of
ranches scatter normally about a mean. The mean is integrated out under a flat prior, which leaves the
restricted likelihood of the spread; the spread is averaged over, not chosen, so that few ranches leave what
the next one will have as uncertain as it is.
"""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Floats

STEPS = 400
"""Spreads that are averaged over."""
FARTHEST = 5.0
"""The largest of them, in usual spreads."""


def mean_given_spread(estimate: Floats, se: Floats, spread: float) -> tuple[float, float]:
    """Pool estimates for a spread that is known.

    Parameters
    ----------
    estimate, se : array, shape (J,)
        With their standard errors.
    spread : float
        Standard deviation from ranch to ranch.

    Returns
    -------
    mean, variance : float
        Of what ranches scatter about.

    Examples
    --------
    >>> mean_given_spread(np.array([1.0, 3.0]), np.array([1.0, 1.0]), 0.0)
    (2.0, 0.5)
    """
    weight = 1.0 / (se**2 + spread**2)
    return float(weight @ estimate / weight.sum()), float(1.0 / weight.sum())


def log_spread_likelihood(estimate: Floats, se: Floats, spread: float) -> float:
    """Give the restricted log-likelihood of a spread, up to a constant.

    Parameters
    ----------
    estimate, se, spread
        As for :func:`mean_given_spread`.

    Returns
    -------
    float
    """
    mean, variance = mean_given_spread(estimate, se, spread)
    total = se**2 + spread**2
    return float(0.5 * np.log(variance) - 0.5 * np.sum(np.log(total) + (estimate - mean) ** 2 / total))


def pooled_normal(estimate: Floats, se: Floats, usual: float) -> tuple[float, float]:
    """Tell what another ranch will have, beforehand.

    Parameters
    ----------
    estimate, se : array, shape (J,)
        Of the ranches that are known, with their standard errors.
    usual : float
        Scale of the half-normal prior of the spread from ranch to ranch.

    Returns
    -------
    mean, sd : float
        Of the value of another ranch: its spread, and what is not known of the mean.
    """
    spreads = np.linspace(0.0, FARTHEST * usual, STEPS)
    log_weight = np.array([log_spread_likelihood(estimate, se, float(one)) for one in spreads])
    log_weight -= 0.5 * (spreads / usual) ** 2
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    means, variances = np.array([mean_given_spread(estimate, se, float(one)) for one in spreads]).T
    mean = float(weight @ means)
    return mean, float(np.sqrt(weight @ (variances + spreads**2 + (means - mean) ** 2)))
