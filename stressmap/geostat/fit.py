"""Bayesian fit of variances and range: restricted likelihood x prior, as importance-weighted parameter sets.

A single best set makes intervals too narrow when readings are few, because range and noise are then hardly
identifiable. So the fit is a set of weighted nodes: for each range on a grid the posterior mode of the
variances is found, and nodes are drawn around it from a normal approximation (a quasi-random sample), each
weighted by likelihood x prior over proposal density. Derived here from textbook parts (importance sampling
about a mode).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import LinAlgError
from scipy.optimize import minimize
from scipy.special import logsumexp, ndtri
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Note
from stressmap.geostat.covariance import Parameters
from stressmap.geostat.kriging import ParameterNodes
from stressmap.geostat.options import Priors
from stressmap.geostat.reml import log_likelihood, projection, solve
from stressmap.geostat.samples import Samples
from stressmap.geostat.search_neighbourhood import likelihood_groups
from stressmap.geostat.trend import MeanModel
from stressmap.geostat.variance_model import CovarianceStructure, VarianceModel, covariance_structure

RANGES_PER_DOUBLING = 1
"""How close the ranges lie that are tried: one standard deviation of the prior apart, as it stands; twice as
many took half as long again and erred no less. Whole numbers of them to a doubling let one exponential serve
all ranges that halve each other (``kernels``)."""
RANGE_REACH = 2.0
"""How far from the middle ranges are tried, in standard deviations of the prior of their logarithm."""
LEAST_RANGE_WEIGHT = 0.02
"""A range with less of the whole weight is left out."""
KEPT_WEIGHT = 0.995
MOST_GROUPS = 12
"""Parts of the ranch in the likelihood: about 3,000 readings pin every parameter."""
OPTIMISER = {"maxiter": 60, "ftol": 1e-7}
"""The mode only centres the proposal: a thousandth of log-likelihood off does not matter."""
PROPOSAL_INFLATION = 1.15
"""The proposal is this much wider than the curvature gives, because the likelihood has longer tails."""


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


@dataclass(frozen=True)
class Fit:
    """Weighted sets of parameters.

    Parameters
    ----------
    model : VarianceModel
        Its free parameters.
    nodes : tuple of Parameters
        K of them.
    weight : array, shape (K,)
        Sum one.
    best : Parameters
        The most plausible set.
    log_likelihood : float
        Restricted, at the best set.
    notes : tuple of Note
        What went wrong.
    """

    model: VarianceModel
    nodes: tuple[Parameters, ...]
    weight: Floats
    best: Parameters
    log_likelihood: float
    notes: tuple[Note, ...] = ()

    def average(self, name: str) -> float:
        """Return the weighted mean of one parameter."""
        return float(self.weight @ [getattr(node, name) for node in self.nodes])


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


def fit(
    samples: Samples,
    trend: Floats,
    model: VarianceModel,
    *,
    average: bool = True,
    step: Callable[[], None] = lambda: None,
) -> Fit:
    """Fit the model to readings.

    Parameters
    ----------
    samples : Samples
        n readings, about 0 on the whole.
    trend : array, shape (n, p)
        Columns of the mean.
    model : VarianceModel
        Free parameters and priors.
    average : bool
        Whether to average over the posterior of the parameters; else the mode alone.
    step : callable
        Called as each of the ranges has been tried; :func:`log_ranges` says how many there are.

    Returns
    -------
    Fit
        With a note, and a sample of the prior in its place, when the likelihood cannot be evaluated.
    """
    groups = list(group_readings(samples, trend))
    try:
        with threadpool_limits(1):  # small systems; two BLAS threads take several times as long
            return _fit(groups, model, len(samples), average=average, step=step)
    except (LinAlgError, ValueError, FloatingPointError) as error:
        nodes = tuple(
            model.parameters(u)
            for u in model.prior_quantiles(quasi_normal_points(32, len(model.prior_centre())))
        )
        note = Note.of("fit_failed", "warning", error=str(error))
        return Fit(
            model,
            nodes,
            np.full(len(nodes), 1 / len(nodes)),
            model.parameters(model.prior_centre()),
            np.nan,
            (note,),
        )


def estimate_trends(samples: Samples, drift: Floats, found: Fit, mean_model: MeanModel) -> ParameterNodes:
    """Estimate the trend from all readings of the ranch under every set of parameters.

    Parameters
    ----------
    samples : Samples
        n readings, about 0 on the whole.
    drift : array, shape (n,)
        Standardised covariate.
    found : Fit
        Sets of parameters.
    mean_model : MeanModel
        Crops.

    Returns
    -------
    ParameterNodes
    """
    parts: list[list[tuple[Floats, Floats]]] = [[] for _ in found.nodes]
    columns = mean_model.design_matrix(samples.places, drift)
    with threadpool_limits(1):
        for group in group_readings(samples, columns, most=None):
            shared, patterns = group.covariance_structure, {}
            for range_m in {p.range_m for p in found.nodes}:
                patterns[range_m] = shared.pattern(found.model, range_m)
            for part, p in zip(parts, found.nodes, strict=True):
                solved = solve(shared.covariance(replace(p, crop=0.0), patterns[p.range_m]), group.trend)
                part.append((solved.information, np.asarray(solved.weighed.T @ group.value)))
    ordered = tuple(mean_model.estimate(part) for part in parts)
    return ParameterNodes(found.nodes, found.weight, ordered, mean_model, found.model.correlation)


def _fit(
    groups: list[LikelihoodGroup], model: VarianceModel, n: int, *, average: bool, step: Callable[[], None]
) -> Fit:
    count = _node_count(n) if average else 0
    found, start = [], model.prior_centre()[:-1] - 0.5
    for log_range in log_ranges(model.priors):
        found.append(_importance_sample(groups, model, np.append(start, log_range), count))
        start = found[-1][0][0, :-1]
        step()
    mass = np.array([logsumexp(log_weight) - np.log(len(log_weight)) for _, log_weight, _ in found])
    if not np.all(np.isfinite(mass)):
        msg = "its likelihood is not finite"
        raise ValueError(msg)
    top = int(np.argmax([peak for _, _, peak in found]))
    best = found[top][0][0]
    value = sum(_likelihood(group, model, best) for group in groups)
    if not average:
        return Fit(model, (model.parameters(best),), np.ones(1), model.parameters(best), value)
    share = np.exp(mass - logsumexp(mass))
    kept = share >= LEAST_RANGE_WEIGHT
    points = np.concatenate([u[1:] for (u, _, _), k in zip(found, kept, strict=True) if k])
    log_weight = np.concatenate([w for (_, w, _), k in zip(found, kept, strict=True) if k])
    weight = np.exp(log_weight - logsumexp(log_weight))
    chosen = largest_weights(weight)
    nodes = tuple(model.parameters(u) for u in points[chosen])
    return Fit(model, nodes, weight[chosen] / weight[chosen].sum(), model.parameters(best), value)


def best_variances(samples: Samples, trend: Floats, model: VarianceModel, start: Parameters) -> Parameters:
    """Find the most plausible variances at a range that is known.

    Parameters
    ----------
    samples : Samples
        n readings, about 0 on the whole.
    trend, model
        As for :func:`fit`.
    start : Parameters
        Whose range it is, and from which the search begins.

    Returns
    -------
    variances : Parameters
    """
    least = model.prior_centre()[:-1] - 4.0
    at = np.maximum([0.5 * np.log(max(getattr(start, name), 1e-300)) for name in model.free], least)
    groups = list(group_readings(samples, trend))
    mode, _, _ = _importance_sample(groups, model, np.append(at, np.log(start.range_m)), 0)
    return model.parameters(mode[0])


def log_ranges(priors: Priors) -> Floats:
    """Give the logarithms of the ranges to try.

    Parameters
    ----------
    priors : Priors
        Prior distributions.

    Returns
    -------
    array
        Rising, of metres.

    Examples
    --------
    >>> np.exp(log_ranges(Priors())).round().astype(int).tolist()
    [25, 50, 100, 200, 400]
    """
    step = np.log(2.0) / RANGES_PER_DOUBLING
    steps = max(round(RANGE_REACH * priors.range_spread / step), 1)
    return np.asarray(np.log(priors.range_m) + step * np.arange(-steps, steps + 1))


def _node_count(n: int) -> int:
    """Nodes per range: fewer readings leave the posterior wider."""
    return 48 if n <= 120 else 32 if n <= 256 else 16 if n <= 600 else 8


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


def _importance_sample(
    groups: list[LikelihoodGroup], model: VarianceModel, start: Floats, count: int
) -> tuple[Floats, Floats, float]:
    """Find the posterior mode of the variances at one range, and draw an importance sample around it.

    Returns the mode and the nodes, shape (1 + count, k), the log weights of the nodes, and the log posterior
    at the mode.
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
        return mode[None, :], np.array([peak]), peak
    curvature = expected_information(groups, patterns, model, mode)
    root = np.linalg.cholesky(np.linalg.inv(curvature)) * PROPOSAL_INFLATION
    z = quasi_normal_points(count, len(result.x))
    points = np.column_stack([result.x + z @ root.T, np.full(count, log_range)])
    drawn = -0.5 * (z**2).sum(axis=1) - np.log(np.diag(root)).sum()
    log_target = [log_posterior(groups, patterns, model, u, with_gradient=False)[0] for u in points]
    return np.vstack([mode, points]), np.array(log_target) - drawn, peak


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


def _likelihood(group: LikelihoodGroup, model: VarianceModel, u: Floats) -> float:
    parameters = model.parameters(u)
    pattern = group.covariance_structure.pattern(model, parameters.range_m)
    return log_likelihood(
        solve(group.covariance_structure.covariance(parameters, pattern), group.trend),
        group.trend,
        group.value,
    )


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
