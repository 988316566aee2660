"""Bayesian fit of the space-time model to several visits: variances, range, lasting share and fading days.

The covariance of two readings of the signal is that of one visit times :class:`Persistence` of the days
between; a tree's own difference is the same at any visit, the error is each reading's own. Fitted as one
visit is (``fit``): for some ranges the mode of the restricted likelihood times the priors, and an importance
sample about it. Readings are taken in parts of about 256, whole series of neighbouring blocks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import LinAlgError
from scipy.optimize import minimize
from scipy.spatial.distance import cdist
from scipy.special import logsumexp
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.covariance import Parameters
from stressmap.geostat.drying_slopes import shared_slopes
from stressmap.geostat.fit import Fit, log_ranges
from stressmap.geostat.importance_sample import (
    PROPOSAL_INFLATION,
    ImportanceSample,
    largest_weights,
    mass_of,
    masses,
    most_plausible,
    quasi_normal_points,
)
from stressmap.geostat.persistence import (
    USUAL_PERSISTENCE,
    Persistence,
    PersistencePriors,
    log_prior,
    prior_scores,
    score_bounds,
)
from stressmap.geostat.reml import SolvedCovariance, log_likelihood, projection, solve
from stressmap.geostat.search_neighbourhood import likelihood_groups
from stressmap.geostat.variance_model import VarianceModel, tree_groups, valve_groups
from stressmap.geostat.visit_series import VisitSeries
from stressmap.geostat.without_units import sample_without_units

TIMED = ("block", "valve", "pattern")
"""Variances that fade; the tree's is the same at any visit, the error is each reading's own."""
MOST_GROUPS = 4
"""Parts of the ranch in the likelihood; what one visit's fit knows already serves as the start."""
LEAST_RANGE_WEIGHT = 0.03
MANY_READINGS = 600
"""With more than these two ranges next to the last visit's best are enough."""
MOST_SETS_ALONE = 32
"""Sets of parameters of the last visit alone where its map is mixed with memory."""
OPTIMISER = {"maxiter": 40, "ftol": 1e-6}


@dataclass(frozen=True)
class SeriesGroup:
    """Readings of all visits taken together in the likelihood.

    Parameters
    ----------
    value : array, shape (n,)
        [bar].
    visit : array, shape (n, V)
        1 where a reading is of a visit; also the columns of the mean.
    trend : array, shape (n, p)
        Columns of the mean.
    same : dict of array, shape (n, n)
        1 where two readings share the block, valve, tree, or crop and visit.
    distance : array, shape (n, n)
        [m].
    doubt : array, shape (n,), optional
        Variance of each reading's error beyond that of all readings [bar²].
    slopes : array, shape (n, n), optional
        Covariance that slopes with dryness add [bar²].
    """

    value: Floats
    visit: Floats
    trend: Floats
    same: dict[str, Floats]
    distance: Floats
    doubt: Floats | None = None
    slopes: Floats | None = None

    @classmethod
    def of(cls, series: VisitSeries, trend: Floats, index: Ints) -> SeriesGroup:
        """Take some readings of a series, with their rows of the trend."""
        samples, visit = series.centred().take(index), series.visit[index]
        places = samples.places
        codes = {
            "block": places.block,
            "valve": valve_groups(places.block, places.valve),
            "tree": tree_groups(series.samples.tree)[index],
            "crop": places.crop * len(series) + visit,
        }
        same = {name: np.equal.outer(code, code).astype(float) for name, code in codes.items()}
        own = np.equal.outer(visit, np.arange(len(series))).astype(float)
        slopes = None
        if series.dryness is not None:
            mm = series.dryness.at_readings[index]
            slopes = np.outer(mm, mm) * shared_slopes(places, places, series.dryness.slopes)
        return cls(samples.value, own, trend, same, cdist(places.xy, places.xy), samples.doubt, slopes)

    def signal(self, p: Parameters, pattern: Floats) -> Floats:
        """Return the covariance of the signal, were all readings of one day [bar²]."""
        total = p.pattern * pattern + p.block * self.same["block"]
        return np.asarray(total + p.valve * self.same["valve"] if p.valve else total)

    def between(self, visits: Floats) -> Floats:
        """Spread a matrix over visits, shape (V, V), to readings."""
        own = self.visit.argmax(axis=1)
        return np.asarray(visits[own[:, None], own])

    def covariance(self, p: Parameters, signal: Floats, between: Floats) -> Floats:
        """Return the covariance of the readings [bar²], crop levels included."""
        total = signal * between + p.tree * self.same["tree"]
        if p.crop:
            total += p.crop * self.same["crop"]
        if self.slopes is not None:
            total += self.slopes
        total[np.diag_indices(len(total))] += p.error if self.doubt is None else p.error + self.doubt
        return np.asarray(total)


def choose_sets(weight: Floats, most: int) -> Ints:
    """Choose sets of parameters that stand for all, one for each equal part of the weight.

    Parameters
    ----------
    weight : array, shape (K,)
        Sum one.
    most : int
        How many.

    Returns
    -------
    array of int, shape (at most ``most``,)
        Positions; one with much weight more than once.

    Examples
    --------
    >>> choose_sets(np.ones(1), 12).tolist()
    [0]
    """
    if len(weight) == 1:
        return np.zeros(1, dtype=np.int64)
    middle = (np.arange(most) + 0.5) / most
    return np.minimum(np.searchsorted(np.cumsum(weight), middle), len(weight) - 1)


@dataclass(frozen=True)
class SpaceTimeFit:
    """Weighted sets of parameters, each with its persistence.

    Parameters
    ----------
    fit : Fit
        Variances and ranges, K sets.
    persistence : tuple of Persistence
        One each.
    best : Persistence
        Of the most plausible set.
    """

    fit: Fit
    persistence: tuple[Persistence, ...]
    best: Persistence

    @classmethod
    def of_one_visit(cls, fit: Fit) -> SpaceTimeFit:
        """Make one of one visit's fit, which tells nothing of what lasts: what is believed beforehand."""
        usual = Persistence.of_scores(prior_scores())
        few, times = np.unique(choose_sets(fit.weight, MOST_SETS_ALONE), return_counts=True)
        thinned = replace(fit, nodes=tuple(fit.nodes[k] for k in few), weight=times / times.sum())
        return cls(thinned, (usual,) * len(few), usual)

    def lasting(self) -> tuple[float, float]:
        """Return mean and standard deviation of the lasting share."""
        share = np.array([one.lasting for one in self.persistence])
        mean = float(self.fit.weight @ share)
        return mean, float(np.sqrt(max(self.fit.weight @ share**2 - mean**2, 0.0)))

    def fading_days(self) -> float:
        """Return the weighted median of the fading days."""
        days = np.array([one.fading_days for one in self.persistence])
        order = np.argsort(days)
        return float(days[order][np.searchsorted(np.cumsum(self.fit.weight[order]), 0.5)])


@dataclass(frozen=True)
class _Posterior:
    """Restricted likelihood times priors at one range."""

    groups: list[SeriesGroup]
    patterns: list[Floats]
    model: VarianceModel
    days: Floats
    log_range: float
    kept: PersistencePriors = USUAL_PERSISTENCE

    def at(self, u: Floats, *, with_gradient: bool = True) -> tuple[float, Floats]:
        """Evaluate the log posterior; its gradient by log sds, log odds and log theta, shape (k + 2,)."""
        p, kept = self._parameters(u)
        (value, slope, _), (more, slope_2, _) = self._priors(u)
        total, gradient = value + more, np.concatenate([slope[:-1], slope_2])
        for group, pattern in zip(self.groups, self.patterns, strict=True):
            signal, between = group.signal(p, pattern), group.between(kept(self.days))
            solved = solve(group.covariance(p, signal, between), group.trend)
            total += log_likelihood(solved, group.trend, group.value)
            if with_gradient:
                gradient += self._slope(group, pattern, u, solved, (signal, between))
        return total, gradient

    def information(self, u: Floats) -> Floats:
        """Give the expected information of all, shape (k + 2, k + 2); as that of one visit."""
        p, kept = self._parameters(u)
        (_, _, curvature), (_, _, curvature_2) = self._priors(u)
        total = np.diag(np.concatenate([np.maximum(curvature[:-1], 0.7), curvature_2]))
        for group, pattern in zip(self.groups, self.patterns, strict=True):
            signal, between = group.signal(p, pattern), group.between(kept(self.days))
            free = projection(solve(group.covariance(p, signal, between), group.trend))
            scaled = [
                2 * getattr(p, name) * (free @ one)
                for name, one in self._parts(group, pattern, between).items()
            ]
            scaled += [free @ (signal * group.between(d)) for d in kept.derivatives(self.days)]
            flat = np.array([one.ravel() for one in scaled])
            turned = np.array([one.T.ravel() for one in scaled])
            total += 0.5 * flat @ turned.T
        return np.asarray(0.5 * (total + total.T))

    def _parts(self, group: SeriesGroup, pattern: Floats, between: Floats) -> dict[str, Floats]:
        """Return the matrix of each free variance."""
        known = group.same | {"pattern": pattern, "error": np.eye(len(group.value))}
        return {n: known[n] * between if n in TIMED else known[n] for n in self.model.free}

    def _slope(
        self,
        group: SeriesGroup,
        pattern: Floats,
        u: Floats,
        solved: SolvedCovariance,
        made: tuple[Floats, Floats],
    ) -> Floats:
        p, kept = self._parameters(u)
        signal, between = made
        free = projection(solved)
        alpha = free @ group.value
        inner = np.outer(alpha, alpha) - free
        timed, known = inner * between, group.same | {"pattern": pattern}
        slope = [
            getattr(p, name)
            * float(
                np.trace(inner)
                if name == "error"
                else np.vdot(timed if name in TIMED else inner, known[name])
            )
            for name in self.model.free
        ]
        by_visit = group.visit.T @ (inner * signal) @ group.visit
        return np.array(slope + [0.5 * float(np.vdot(by_visit, d)) for d in kept.derivatives(self.days)])

    def _parameters(self, u: Floats) -> tuple[Parameters, Persistence]:
        return self.model.parameters(np.append(u[:-2], self.log_range)), Persistence.of_scores(u[-2:])

    def _priors(self, u: Floats) -> tuple[tuple[float, Floats, Floats], tuple[float, Floats, Floats]]:
        return self.model.log_prior(np.append(u[:-2], self.log_range)), log_prior(u[-2:], self.kept)


def fit_series(
    series: VisitSeries,
    drift: Floats,
    model: VarianceModel,
    *,
    start: Fit,
    covariate: bool,
    kept: PersistencePriors = USUAL_PERSISTENCE,
) -> SpaceTimeFit | None:
    """Fit the space-time model to readings of several visits.

    Parameters
    ----------
    series : VisitSeries
        n readings.
    drift : array, shape (n,)
        Standardised covariate.
    model : VarianceModel
        Free variances and priors.
    start : Fit
        Of the last visit alone: where the search begins.
    covariate : bool
        Whether one takes part.
    kept : PersistencePriors
        What is believed of lasting and fading beforehand.

    Returns
    -------
    SpaceTimeFit or None
        None where the likelihood cannot be evaluated.
    """
    trend = np.equal.outer(series.visit, np.arange(len(series))).astype(float)
    trend = np.column_stack([trend, drift]) if covariate else trend
    places = series.samples.places
    parts = likelihood_groups(places.xy, places.block)
    if len(parts) > MOST_GROUPS:
        parts = [parts[i] for i in np.linspace(0, len(parts) - 1, MOST_GROUPS).round().astype(int)]
    groups = [SeriesGroup.of(series, trend[part], part) for part in parts]
    try:
        with threadpool_limits(1):
            return _fit(groups, model, series, start, kept)
    except (LinAlgError, ValueError, FloatingPointError):
        return None


def ranges_to_try(model: VarianceModel, readings: int, best_m: float) -> Floats:
    """Give the logarithms of the ranges to try: those of one visit, few where readings are many.

    Parameters
    ----------
    model : VarianceModel
        With the prior of the range.
    readings : int
        How many there are.
    best_m : float
        The last visit's most plausible range [m].

    Returns
    -------
    array
        Rising.
    """
    every = log_ranges(model.priors)
    if readings <= MANY_READINGS:
        return every
    near = np.argsort(np.abs(every - np.log(best_m)), kind="stable")[:2]
    return np.asarray(np.sort(every[near]))


def _fit(
    groups: list[SeriesGroup], model: VarianceModel, series: VisitSeries, start: Fit, kept: PersistencePriors
) -> SpaceTimeFit:
    readings, days = len(series.samples), series.days_between
    count = _node_count(readings)

    def sample(model: VarianceModel, u: Floats, count: int) -> ImportanceSample:
        patterns = [model.correlation(group.distance, float(np.exp(u[-1]))) for group in groups]
        return _sample(_Posterior(groups, patterns, model, days, float(u[-1]), kept), u, count)

    u = np.concatenate([_start(model, start.best), prior_scores(kept)])
    found: list[ImportanceSample] = []
    for log_range in ranges_to_try(model, readings, start.best.range_m):
        found.append(sample(model, np.append(u, log_range), count))
        u = found[-1].mode[:-1]
    plain = sample_without_units(
        most_plausible(found), mass_of(found), groups, lambda model, u: sample(model, u, count // 2)
    )
    return _averaged(model, found + plain)


def _averaged(model: VarianceModel, found: list[ImportanceSample]) -> SpaceTimeFit:
    """Put the sets of parameters of all samples together, without those that hardly count."""
    mass = masses(found)
    if not np.isfinite(mass).all():
        msg = "its likelihood is not finite"
        raise ValueError(msg)
    counts = np.exp(mass - logsumexp(mass)) >= LEAST_RANGE_WEIGHT
    chosen = [one for one, k in zip(found, counts, strict=True) if k]
    points = [(one.model, u) for one in chosen for u in one.points]
    log_part = np.concatenate([one.log_parts for one in chosen])
    weight = np.exp(log_part - logsumexp(log_part))
    few = largest_weights(weight)
    best = most_plausible(found)
    nodes = tuple(_variances(*points[i]) for i in few)
    top = _variances(best.model, best.mode)
    return SpaceTimeFit(
        Fit(model, nodes, weight[few] / weight[few].sum(), top, best.peak),
        tuple(Persistence.of_scores(points[i][1][-3:-1]) for i in few),
        Persistence.of_scores(best.mode[-3:-1]),
    )


def _variances(model: VarianceModel, u: Floats) -> Parameters:
    return model.parameters(np.append(u[:-3], u[-1]))


def _start(model: VarianceModel, best: Parameters) -> Floats:
    """Begin at the last visit's variances, half way to the prior where those are next to nothing."""
    centre = model.prior_centre()[:-1]
    known = np.array([0.5 * np.log(max(getattr(best, name), 1e-4)) for name in model.free])
    return np.asarray(np.clip(known, centre - 1.0, centre + 1.0))


def _sample(posterior: _Posterior, start: Floats, count: int) -> ImportanceSample:
    """Find the mode at one range and draw about it; as :func:`stressmap.geostat.fit.fit` does."""

    def negative(u: Floats) -> tuple[float, Floats]:
        value, gradient = posterior.at(u)
        return -value, -gradient

    model, log_range = posterior.model, posterior.log_range
    bounds = [(x - 5.0, x + 2.5) for x in model.prior_centre()[:-1]] + score_bounds()
    result = minimize(negative, start[:-1], jac=True, method="L-BFGS-B", bounds=bounds, options=OPTIMISER)
    root = np.linalg.cholesky(np.linalg.inv(posterior.information(result.x))) * PROPOSAL_INFLATION
    z = quasi_normal_points(count, len(result.x))
    points = result.x + z @ root.T
    drawn = -0.5 * (z**2).sum(axis=1) - np.log(np.diag(root)).sum()
    target = np.array([posterior.at(u, with_gradient=False)[0] for u in points])
    return ImportanceSample(
        model,
        np.append(result.x, log_range),
        -float(result.fun),
        np.column_stack([points, np.full(count, log_range)]),
        target - drawn,
    )


def _node_count(readings: int) -> int:
    """Nodes per range: fewer readings leave the posterior wider."""
    return 32 if readings <= 120 else 24 if readings <= 256 else 12 if readings <= MANY_READINGS else 4
