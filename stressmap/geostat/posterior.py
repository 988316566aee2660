"""The posterior of variances and range: restricted likelihood, in parts of the ranch, times the prior."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.reml import log_likelihood, projection, solve
from stressmap.geostat.samples import Samples
from stressmap.geostat.search_neighbourhood import likelihood_groups
from stressmap.geostat.variance_model import CovarianceStructure, VarianceModel, covariance_structure

MOST_GROUPS = 12
"""Parts of the ranch in the likelihood: about 3,000 readings pin every parameter."""


@dataclass(frozen=True)
class LikelihoodGroup:
    """Readings taken together in the likelihood.

    Parameters
    ----------
    index : array of int, shape (n,)
        Which.
    value : array, shape (n,)
        [bar].
    trend : array, shape (n, p)
        Columns of the mean.
    covariance_structure : CovarianceStructure
        Their covariance structure.
    """

    index: Ints
    value: Floats
    trend: Floats
    covariance_structure: CovarianceStructure


def group_readings(
    samples: Samples, trend: Floats, *, most: int | None = MOST_GROUPS
) -> Iterator[LikelihoodGroup]:
    """Group the readings for the composite likelihood, one group made at a time.

    Parameters
    ----------
    samples : Samples
        n readings.
    trend : array, shape (n, p)
        Columns of the mean.
    most : int, optional
        At most this many groups, spread over the ranch; None for all.

    Yields
    ------
    LikelihoodGroup
    """
    parts = likelihood_groups(samples.places.xy, samples.places.block)
    if most is not None and len(parts) > most:
        parts = [parts[i] for i in np.linspace(0, len(parts) - 1, most).round().astype(int)]
    for g in parts:
        yield LikelihoodGroup(g, samples.value[g], trend[g], covariance_structure(samples, g))


def log_posterior(
    groups: list[LikelihoodGroup],
    patterns: list[Floats],
    model: VarianceModel,
    u: Floats,
    *,
    with_gradient: bool = True,
) -> tuple[float, Floats]:
    """Evaluate log likelihood plus log prior, and its gradient by the free variances.

    Parameters
    ----------
    groups : list of LikelihoodGroup
        Readings.
    patterns : list of array
        Correlation of the pattern in each group, at the range of ``u``.
    model : VarianceModel
        Free parameters and priors.
    u : array, shape (k,)
        Logarithms.
    with_gradient : bool
        Whether to evaluate the gradient.

    Returns
    -------
    value : float
    gradient : array, shape (k - 1,)
        By the logarithms of the standard deviations.
    """
    parameters = model.parameters(u)
    value, gradient, _ = model.log_prior(u)
    gradient = gradient[:-1].copy()
    for group, pattern in zip(groups, patterns, strict=True):
        solved = solve(group.covariance_structure.covariance(parameters, pattern), group.trend)
        value += log_likelihood(solved, group.trend, group.value)
        if with_gradient:
            p = projection(solved)
            alpha = p @ group.value
            inner = np.outer(alpha, alpha) - p
            for i, name in enumerate(model.free):
                same = pattern if name == "pattern" else group.covariance_structure.same[name]
                gradient[i] += getattr(parameters, name) * float(np.vdot(inner, same))
    return value, gradient


def expected_information(
    groups: list[LikelihoodGroup], patterns: list[Floats], model: VarianceModel, u: Floats
) -> Floats:
    """Give the expected information (negative curvature of the log posterior) of the free variances.

    ``tr(P·Ki·P·Kj) / 2`` for each pair of variances, plus the prior's; kept away from flat, because a
    variance that vanishes has a tail that falls like its standard deviation.

    Parameters
    ----------
    groups, patterns, model, u
        As :func:`log_posterior`.

    Returns
    -------
    array, shape (k - 1, k - 1)
    """
    parameters = model.parameters(u)
    _, _, curvature = model.log_prior(u)
    total = np.diag(np.maximum(curvature[:-1], 0.7))
    for group, pattern in zip(groups, patterns, strict=True):
        p = projection(solve(group.covariance_structure.covariance(parameters, pattern), group.trend))
        scaled = []
        for name in model.free:
            same = pattern if name == "pattern" else group.covariance_structure.same[name]
            scaled.append(2 * getattr(parameters, name) * (p @ same))
        for i, a in enumerate(scaled):
            for j, b in enumerate(scaled[: i + 1]):
                total[i, j] += 0.5 * float(np.vdot(a, b.T))
                total[j, i] = total[i, j]
    return total
