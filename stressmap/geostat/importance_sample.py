"""A weighted sample of the posterior of variances at one range, drawn about its mode; and many together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import logsumexp, ndtri

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.covariance import Parameters
from stressmap.geostat.posterior import LikelihoodGroup, expected_information, log_posterior
from stressmap.geostat.variance_model import VarianceModel

KEPT_WEIGHT = 0.995
OPTIMISER = {"maxiter": 60, "ftol": 1e-7}
"""The mode only centres the proposal: a thousandth of log-likelihood off does not matter."""
PROPOSAL_INFLATION = 1.15
"""The proposal is this much wider than the curvature gives, because the likelihood has longer tails."""


@dataclass(frozen=True)
class ImportanceSample:
    """The posterior of the variances at one range, as a weighted sample about its mode.

    Parameters
    ----------
    model : VarianceModel
        Whose.
    mode : array, shape (k,)
        Logarithms of the most plausible variances, and of the range.
    peak : float
        Log posterior there.
    points : array, shape (count, k)
        The sample.
    log_weight : array, shape (count,)
        Of its points; of the mode where there are none.
    """

    model: VarianceModel
    mode: Floats
    peak: float
    points: Floats
    log_weight: Floats

    @property
    def best(self) -> Parameters:
        """The most plausible set of parameters."""
        return self.model.parameters(self.mode)

    @property
    def log_mass(self) -> float:
        """Logarithm of the posterior's mass at this range, up to a constant."""
        return float(logsumexp(self.log_parts))

    @property
    def log_parts(self) -> Floats:
        """Logarithm of each point's part of that mass: samples of any number of points may be joined."""
        return np.asarray(self.log_weight - np.log(len(self.log_weight)))


def importance_sample(
    groups: list[LikelihoodGroup], model: VarianceModel, start: Floats, count: int
) -> ImportanceSample:
    """Find the posterior mode of the variances at one range, and draw an importance sample around it.

    Parameters
    ----------
    groups : list of LikelihoodGroup
        Readings.
    model : VarianceModel
        Free parameters and priors.
    start : array, shape (k,)
        Where the search begins, logarithms; the last is the range.
    count : int
        Points of the sample; 0 for the mode alone.

    Returns
    -------
    ImportanceSample
    """
    log_range = start[-1]
    patterns = [group.covariance_structure.pattern(model, float(np.exp(log_range))) for group in groups]

    def negative_log_posterior(v: Floats) -> tuple[float, Floats]:
        value, gradient = log_posterior(groups, patterns, model, np.append(v, log_range))
        return -value, -gradient

    bounds = [(x - 5.0, x + 2.5) for x in model.prior_centre()[:-1]]
    result = minimize(
        negative_log_posterior, start[:-1], jac=True, method="L-BFGS-B", bounds=bounds, options=OPTIMISER
    )
    mode = np.append(result.x, log_range)
    peak = -float(result.fun)
    if not count:
        return ImportanceSample(model, mode, peak, mode[None, :][:0], np.array([peak]))
    curvature = expected_information(groups, patterns, model, mode)
    root = np.linalg.cholesky(np.linalg.inv(curvature)) * PROPOSAL_INFLATION
    z = quasi_normal_points(count, len(result.x))
    points = np.column_stack([result.x + z @ root.T, np.full(count, log_range)])
    drawn = -0.5 * (z**2).sum(axis=1) - np.log(np.diag(root)).sum()
    log_target = [log_posterior(groups, patterns, model, u, with_gradient=False)[0] for u in points]
    return ImportanceSample(model, mode, peak, points, np.array(log_target) - drawn)


def masses(every: list[ImportanceSample]) -> Floats:
    """Return the logarithm of the posterior's mass of each sample."""
    return np.array([one.log_mass for one in every])


def mass_of(every: list[ImportanceSample]) -> float:
    """Return the logarithm of their mass together."""
    return float(logsumexp(masses(every)))


def most_plausible(every: list[ImportanceSample]) -> ImportanceSample:
    """Return the sample with the highest mode."""
    return every[int(np.argmax([one.peak for one in every]))]


def largest_weights(weight: Floats) -> Ints:
    """Choose the nodes that hold nearly all of the weight.

    Parameters
    ----------
    weight : array, shape (K,)
        Sum one.

    Returns
    -------
    array of int
        Positions, rising.
    """
    order = np.argsort(-weight, kind="stable")
    count = int(np.searchsorted(np.cumsum(weight[order]), KEPT_WEIGHT)) + 1
    return np.sort(order[:count])


def quasi_normal_points(count: int, width: int) -> Floats:
    """Give a quasi-random standard normal sample: a Kronecker sequence and its mirror image.

    Parameters
    ----------
    count : int
        Even.
    width : int
        Dimensions.

    Returns
    -------
    array, shape (count, width)

    Examples
    --------
    >>> bool(abs(quasi_normal_points(32, 4).mean()) < 1e-12)
    True
    """
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (width + 1))
    steps = ratio ** -np.arange(1.0, width + 1)
    half = np.outer(np.arange(1, count // 2 + 1), steps) % 1.0
    z = ndtri(half)
    return np.concatenate([z, -z])
