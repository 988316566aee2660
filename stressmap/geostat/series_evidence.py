"""What readings of several visits tell of lasting, fading and drying by themselves, for others to borrow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Bools, Floats
from stressmap.geostat.drying_by_soil import MOST_SE_BAR_MM, SOILS, ToldOfSoil
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
    memory = _of_visits(surface)
    if memory is None:
        return {}
    found = _without_prior(memory.found, kept)
    if memory.series.dryness is not None:
        with threadpool_limits(1):
            found |= _drying(memory)
    return found


def soil_evidence(surface: Surface) -> dict[str, ToldOfSoil]:
    """Give what earlier visits tell of drying on each soil, by the readings of the ranch's main crop.

    Parameters
    ----------
    surface : Surface
        The map's.

    Returns
    -------
    dict of str to ToldOfSoil
        Of soils that the readings tell of; none without earlier visits, a log or soils of the valve zones.
    """
    memory = _of_visits(surface)
    if memory is None or memory.series.dryness is None or memory.series.dryness.soils is None:
        return {}
    zones, places = memory.series.dryness.soils, memory.series.samples.places
    crops, counts = np.unique(places.crop, return_counts=True)
    mine = (places.valve >= 0) & (places.crop == crops[counts.argmax()])
    kind = np.where(mine, zones.kind[places.valve], -1)
    raw = memory.series.dryness.at_readings / np.where(mine, zones.measure[places.valve], 1.0)
    there = [code for code in range(len(SOILS)) if (kind == code).any()]
    columns = np.column_stack([np.where(kind == code, raw, 0.0) for code in there]) if there else raw[:, :0]
    with threadpool_limits(1):
        information, score = _normal_equations(memory, columns, mine)
    told = {}
    for at, code in enumerate(there):
        others = [k for k in range(len(there)) if k != at]
        aside = np.linalg.pinv(information[np.ix_(others, others)], hermitian=True) @ np.column_stack(
            [information[others, at], score[others]]
        )
        own = information[at, at] - information[at, others] @ aside[:, 0]
        if own > MOST_SE_BAR_MM**-2:
            slope = float((score[at] - information[at, others] @ aside[:, 1]) / own)
            share = float(zones.per_water[places.valve[kind == code]].mean())
            told[SOILS[code]] = ToldOfSoil(slope, float(own**-0.5), share)
    return told


def _of_visits(surface: Surface) -> SpaceTimeSurface | None:
    """Return the fit of several visits together; None where there is none."""
    memory = surface.memory if isinstance(surface, MemorySurface) else surface
    return memory if isinstance(memory, SpaceTimeSurface) and len(memory.series) > 1 else None


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
    dryness = surface.series.dryness
    assert dryness is not None
    none = np.zeros(len(dryness.at_readings), dtype=bool)
    information, score = _normal_equations(surface, dryness.at_readings[:, None], none)
    if information[0, 0] <= 0.0:
        return {}
    slope = dryness.slopes.bar_mm + score[0] / information[0, 0]
    return {"drying": (float(slope), float(information[0, 0] ** -0.5))}


def _normal_equations(surface: SpaceTimeSurface, columns: Floats, whole: Bools) -> tuple[Floats, Floats]:
    """Set up generalised least squares of slopes under the most plausible parameters.

    Parameters
    ----------
    surface : SpaceTimeSurface
        Of n readings.
    columns : array of float, shape (n, k)
        Dryness that each of k slopes is of [mm].
    whole : array of bool, shape (n,)
        Readings with all that dryness does to them; the others are without what is believed beforehand.

    Returns
    -------
    information, score : array of float, shape (k, k) and (k,)
    """
    series, p, between = surface.series, surface.fit.best, surface.found.best(surface.series.days_between)
    dryness = series.dryness
    assert dryness is not None
    series = replace(series, dryness=replace(dryness, slopes=replace(dryness.slopes, ranch=0.0)))
    believed = np.where(whole, dryness.slopes.bar_mm * dryness.at_readings, 0.0)
    trend = np.equal.outer(series.visit, np.arange(len(series))).astype(float)
    if surface.drift.sd:
        trend = np.column_stack([trend, surface.drift.standardised(series.samples.places)])
    information, score = np.zeros((columns.shape[1],) * 2), np.zeros(columns.shape[1])
    for part in likelihood_groups(series.samples.places.xy, series.samples.places.block):
        group = SeriesGroup.of(series, trend[part], part)
        group = _of_seen_visits(group)
        pattern = surface.nodes.correlation(group.distance, p.range_m)
        covariance = group.covariance(p, group.signal(p, pattern), group.between(between))
        free, mm = projection(solve(covariance, group.trend)), columns[part]
        information += mm.T @ free @ mm
        score += mm.T @ free @ (group.value + believed[part])
    return information, score


def _of_seen_visits(group: SeriesGroup) -> SeriesGroup:
    """Leave out the levels of visits that have no reading among these."""
    seen: Floats = group.trend[:, (group.trend != 0).any(axis=0)]
    return replace(group, trend=seen)
