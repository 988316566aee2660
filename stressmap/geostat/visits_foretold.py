"""How well each visit is predicted from those before it: whether earlier visits tell anything at all."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from stressmap.core.arrays import Floats
from stressmap.geostat.search_neighbourhood import likelihood_groups
from stressmap.geostat.space_time_fit import MOST_GROUPS, SeriesGroup, SpaceTimeFit
from stressmap.geostat.visit_series import VisitSeries

LEAST_READINGS = 5
"""Fewer readings of a visit in one part of the ranch do not tell its level."""


@dataclass(frozen=True)
class VisitForetold:
    """Errors of predicting the readings of one visit about its mean.

    Parameters
    ----------
    visit : int
        Which, 1 and up.
    without_bar, with_bar : float
        Root mean square, by the mean alone and by the visits before it; NaN where nothing can be said [bar].
    """

    visit: int
    without_bar: float
    with_bar: float


def foretell(series: VisitSeries, found: SpaceTimeFit) -> tuple[VisitForetold, ...]:
    """Predict each visit from those before it, at the most plausible parameters.

    Parameters
    ----------
    series : VisitSeries
        Readings of all visits.
    found : SpaceTimeFit
        Fitted to them.

    Returns
    -------
    tuple of VisitForetold
        From the second visit to the last. A few parts of a large ranch stand for it.

    Notes
    -----
    The level of a visit is not predicted: in each part of the ranch it is the mean of what is left.
    """
    places, count = series.samples.places, len(series)
    parts = likelihood_groups(places.xy, places.block)
    few = np.linspace(0, len(parts) - 1, min(len(parts), MOST_GROUPS)).round().astype(int)
    squares, number = np.zeros((2, count)), np.zeros(count)
    for at in few:
        index = parts[at]
        group = SeriesGroup.of(series, np.zeros((len(index), 0)), index)
        pattern = found.fit.model.correlation(group.distance, found.fit.best.range_m)
        best = replace(found.fit.best, crop=0.0)
        between = group.between(found.best(series.days_between))
        covariance = group.covariance(best, group.signal(best, pattern), between)
        visit = series.visit[index]
        for v in range(1, count):
            now, before = np.flatnonzero(visit == v), np.flatnonzero(visit < v)
            if len(now) < LEAST_READINGS or len(before) < LEAST_READINGS:
                continue
            weight = cho_solve(
                cho_factor(covariance[np.ix_(before, before)], lower=True), covariance[before][:, now]
            )
            left = group.value[now] - weight.T @ group.value[before]
            squares[0, v] += _about_mean(group.value[now])
            squares[1, v] += _about_mean(left)
            number[v] += len(now) - 1
    with np.errstate(divide="ignore", invalid="ignore"):
        without, with_it = np.sqrt(squares / number)
    return tuple(VisitForetold(v, float(without[v]), float(with_it[v])) for v in range(1, count))


def _about_mean(value: Floats) -> float:
    return float(np.sum((value - value.mean()) ** 2))
