"""Bayesian fit of variances and range: restricted likelihood x prior, as importance-weighted parameter sets.

A single best set makes intervals too narrow when readings are few, because range and noise are then hardly
identifiable. So the fit is a set of weighted nodes: for each range on a grid the posterior mode of the
variances is found, and nodes are drawn around it from a normal approximation (a quasi-random sample), each
weighted by likelihood x prior over proposal density. Derived here from textbook parts (importance sampling
about a mode).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import LinAlgError
from scipy.special import logsumexp
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Floats
from stressmap.core.notes import Note
from stressmap.geostat.borrowed_fit import own_evidence, sample_borrowed
from stressmap.geostat.borrowed_priors import BorrowedPriors, OwnEvidence
from stressmap.geostat.covariance import EXPONENTIAL, Parameters
from stressmap.geostat.importance_sample import (
    ImportanceSample,
    importance_sample,
    largest_weights,
    mass_of,
    masses,
    most_plausible,
    quasi_normal_points,
)
from stressmap.geostat.kriging import ParameterNodes
from stressmap.geostat.options import Priors
from stressmap.geostat.posterior import LikelihoodGroup, group_readings
from stressmap.geostat.reml import log_likelihood, solve
from stressmap.geostat.samples import Samples
from stressmap.geostat.trend import MeanModel
from stressmap.geostat.variance_model import VarianceModel
from stressmap.geostat.without_units import sample_without_units

RANGES_PER_DOUBLING = 1
"""How close the ranges lie that are tried: one standard deviation of the prior apart, as it stands; twice as
many took half as long again and erred no less. Whole numbers of them to a doubling let one exponential serve
all ranges that halve each other (``kernels``)."""
RANGE_REACH = 2.0
"""How far from the middle ranges are tried, in standard deviations of the prior of their logarithm."""
LEAST_RANGE_WEIGHT = 0.02
"""A range with less of the whole weight is left out."""
ROUGHER = 1.0
"""Where an exponential pattern is more plausible by this in the logarithm, it is taken, not Matern 3/2."""


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
    told : OwnEvidence, optional
        What the readings tell without borrowed priors, where that was asked for.
    """

    model: VarianceModel
    nodes: tuple[Parameters, ...]
    weight: Floats
    best: Parameters
    log_likelihood: float
    notes: tuple[Note, ...] = ()
    told: OwnEvidence | None = None

    def average(self, name: str) -> float:
        """Return the weighted mean of one parameter."""
        return float(self.weight @ [getattr(node, name) for node in self.nodes])

    def borrowed_from(self, lent: BorrowedPriors | None) -> BorrowedPriors | None:
        """Return what was lent where the readings spoke for it, else None."""
        return lent if lent and self.told is not None and self.told.borrowed > 0.5 else None


def fit(
    samples: Samples,
    trend: Floats,
    model: VarianceModel,
    *,
    average: bool = True,
    lent: BorrowedPriors | None = None,
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
    lent : BorrowedPriors, optional
        Priors that other ranches lend; an empty one asks only what the readings tell alone.
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
            return _fit(groups, model, len(samples) if average else 0, lent, step)
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
    groups: list[LikelihoodGroup],
    model: VarianceModel,
    n: int,
    lent: BorrowedPriors | None,
    step: Callable[[], None],
) -> Fit:
    """Fit; to average over sets of parameters needs the number of readings, else 0."""
    count = _node_count(n) if n else 0
    found = _sample_ranges(groups, model, count, step)
    rough = _rougher(groups, most_plausible(found))
    if rough is not None:
        found = _sample_ranges(groups, rough, count, lambda: None)
    if not np.all(np.isfinite(masses(found))):
        msg = "its likelihood is not finite"
        raise ValueError(msg)
    best = most_plausible(found)
    if not count:
        return Fit(best.model, (best.best,), np.ones(1), best.best, _likelihood(groups, best))
    known = [group.covariance_structure for group in groups]
    plain = sample_without_units(
        best, mass_of(found), known, lambda model, u: importance_sample(groups, model, u, count // 2)
    )
    if plain and mass_of(plain) > mass_of(found):
        best = most_plausible(plain)
    if lent is None:
        return Fit(found[0].model, *_averaged(found + plain), best.best, _likelihood(groups, best))
    borrowed = sample_borrowed(groups, most_plausible(found), lent, count) if lent else []
    share = float(np.exp(mass_of(borrowed) - mass_of(found + plain + borrowed))) if borrowed else 0.0
    told = own_evidence(found, plain, n, share)
    leading = found if share < 0.5 else borrowed
    best = best if share < 0.5 else most_plausible(borrowed)
    averaged = _averaged(found + plain + borrowed)
    return Fit(leading[0].model, *averaged, best.best, _likelihood(groups, best), told=told)


def _averaged(every: list[ImportanceSample]) -> tuple[tuple[Parameters, ...], Floats]:
    """Put the sets of parameters of all samples together, without those that hardly count."""
    share = masses(every)
    share = np.exp(share - logsumexp(share))
    kept = [one for one, k in zip(every, share >= LEAST_RANGE_WEIGHT, strict=True) if k]
    nodes = [one.model.parameters(u) for one in kept for u in one.points]
    log_part = np.concatenate([one.log_parts for one in kept])
    weight = np.exp(log_part - logsumexp(log_part))
    chosen = largest_weights(weight)
    return tuple(nodes[i] for i in chosen), weight[chosen] / weight[chosen].sum()


def _sample_ranges(
    groups: list[LikelihoodGroup], model: VarianceModel, count: int, step: Callable[[], None]
) -> list[ImportanceSample]:
    """Sample the posterior at each of the ranges."""
    found: list[ImportanceSample] = []
    start = model.prior_centre()[:-1] - 0.5
    for log_range in log_ranges(model.priors):
        found.append(importance_sample(groups, model, np.append(start, log_range), count))
        start = found[-1].mode[:-1]
        step()
    return found


def _rougher(groups: list[LikelihoodGroup], best: ImportanceSample) -> VarianceModel | None:
    """Give the model with an exponential pattern where the readings clearly speak for it, else None.

    The exponential of one range falls about as the Matern 3/2 of half of it, so these two ranges tell.
    """
    model = replace(best.model, correlation=EXPONENTIAL)
    for further in (0.0, np.log(2.0)):
        start = np.append(best.mode[:-1], best.mode[-1] + further)
        if importance_sample(groups, model, start, 0).peak > best.peak + ROUGHER:
            return model
    return None


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
    return importance_sample(groups, model, np.append(at, np.log(start.range_m)), 0).best


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


def _likelihood(groups: list[LikelihoodGroup], at: ImportanceSample) -> float:
    """Restricted log-likelihood of all groups at the mode."""
    p, total = at.best, 0.0
    for group in groups:
        shared = group.covariance_structure
        solved = solve(shared.covariance(p, shared.pattern(at.model, p.range_m)), group.trend)
        total += log_likelihood(solved, group.trend, group.value)
    return total
