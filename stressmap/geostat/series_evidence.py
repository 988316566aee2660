"""What readings of several visits tell of lasting, fading and drying by themselves, for others to borrow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Floats
from stressmap.geostat.memory_mixture import MemorySurface
from stressmap.geostat.persistence import PersistencePriors, prior_scores
from stressmap.geostat.reml import projection, solve
from stressmap.geostat.search_neighbourhood import likelihood_groups
from stressmap.geostat.space_time_fit import SeriesGroup, SpaceTimeFit
from stressmap.geostat.space_time_surface import SpaceTimeSurface
from stressmap.geostat.surface import Surface

LEAST_TOLD = 0.1
"""What adds less than this share to the prior's precision tells nothing."""


def series_evidence(surface: Surface, kept: PersistencePriors) -> dict[str, tuple[float, float]]:
    """Give what earlier visits tell of a ranch, without what was believed beforehand.

    Parameters
    ----------
    surface : Surface
        The map's.
    kept : PersistencePriors
        What was believed of lasting and fading when it was fitted.

    Returns
    -------
    dict of str to (float, float)
        Estimates and standard errors: ``lasting`` as log odds, ``fading`` as the logarithm of days,
        ``drying`` [bar/mm]; those that the readings tell, none without earlier visits.
    """
    memory = surface.memory if isinstance(surface, MemorySurface) else surface
    if not isinstance(memory, SpaceTimeSurface) or len(memory.series) < 2:
        return {}
    found = _without_prior(memory.found, kept)
    if memory.series.dryness is not None:
        with threadpool_limits(1):
            found |= _drying(memory)
    return found


def _without_prior(found: SpaceTimeFit, kept: PersistencePriors) -> dict[str, tuple[float, float]]:
    share = np.clip([one.lasting for one in found.persistence], 1e-6, 1 - 1e-6)
    scores = {
        "lasting": np.log(share / (1 - share)),
        "fading": np.log([one.fading_days for one in found.persistence]),
    }
    told = {}
    for (name, score), centre, spread in zip(scores.items(), prior_scores(kept), kept.spread, strict=True):
        mean = float(found.fit.weight @ score)
        variance = max(float(found.fit.weight @ (score - mean) ** 2), 1e-4)
        precision = 1 / variance - 1 / spread**2
        if precision > LEAST_TOLD / spread**2:
            estimate = (mean / variance - centre / spread**2) / precision
            told[name] = (float(estimate), float(precision**-0.5))
    return told


def _drying(surface: SpaceTimeSurface) -> dict[str, tuple[float, float]]:
    """Estimate the ranch's slope by generalised least squares under the most plausible parameters."""
    series, p, between = surface.series, surface.fit.best, surface.found.best(surface.series.days_between)
    dryness = series.dryness
    assert dryness is not None
    series = replace(series, dryness=replace(dryness, slopes=replace(dryness.slopes, ranch=0.0)))
    trend = np.equal.outer(series.visit, np.arange(len(series))).astype(float)
    if surface.drift.sd:
        trend = np.column_stack([trend, surface.drift.standardised(series.samples.places)])
    information = score = 0.0
    for part in likelihood_groups(series.samples.places.xy, series.samples.places.block):
        group = SeriesGroup.of(series, trend[part], part)
        group = _of_seen_visits(group)
        pattern = surface.nodes.correlation(group.distance, p.range_m)
        covariance = group.covariance(p, group.signal(p, pattern), group.between(between))
        free, mm = projection(solve(covariance, group.trend)), dryness.at_readings[part]
        information += float(mm @ free @ mm)
        score += float(mm @ free @ group.value)
    if information <= 0.0:
        return {}
    return {"drying": (dryness.slopes.bar_mm + score / information, information**-0.5)}


def _of_seen_visits(group: SeriesGroup) -> SeriesGroup:
    """Leave out the levels of visits that have no reading among these."""
    seen: Floats = group.trend[:, (group.trend != 0).any(axis=0)]
    return replace(group, trend=seen)
