"""What ranches of one crop have in common: their parameters' mean and spread from ranch to ranch.

Empirical Bayes by expectation-maximisation. A ranch's own fit is a set of weighted points under its weak
priors (:class:`OwnEvidence`); divided by those priors and times the density of the district, the same points
tell the ranch's parameters as one of the district's. Means and spreads of the district follow from those of
all its ranches, and so on in turns. A ranch that is unlike the others counts only with the chance that it is
like them, and that chance is found along the way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from stressmap.core.arrays import Floats
from stressmap.geostat.borrowed_model import LOG_2PI
from stressmap.geostat.borrowed_priors import NOISE, BorrowedPriors, LogNormal, OwnEvidence
from stressmap.geostat.drying_by_soil import pool_soils
from stressmap.geostat.normal_pool import pooled_normal
from stressmap.geostat.options import Priors
from stressmap.geostat.variance_model import RANGE, VARIANCES
from stressmap.geostat.without_units import CHANCE

USUAL, HALF_NORMAL_MEDIAN = Priors(), 0.6745
LEAST_RANCHES = 2
"""Fewer that lend tell nothing of how much ranches differ."""
USUAL_SPREAD = 0.3
"""How much ranches of a district differ beforehand, in the logarithm; a judgement, no source."""
USUAL_WORTH = 3.0
"""Ranches that the figure above is worth."""
USUAL_MEAN = {
    "block": np.log(HALF_NORMAL_MEDIAN * USUAL.block_bar),
    "valve": np.log(HALF_NORMAL_MEDIAN * USUAL.valve_bar),
    "pattern": np.log(HALF_NORMAL_MEDIAN * USUAL.pattern_bar),
    "tree": np.log(USUAL.tree_bar),
    "error": np.log(USUAL.error_bar),
    NOISE: np.log(USUAL.noise_bar),
    RANGE: np.log(USUAL.range_m),
}
"""Medians of the priors of a ranch alone: what a district's mean is about beforehand. Without them that of a
standard deviation that readings can hardly tell from none would run off towards none."""
USUAL_MEAN_SPREAD = 0.5
"""Standard deviation of that, in the logarithm; a judgement, no source."""
LEAST_SPREAD = {RANGE: 0.7}
"""Lent spreads are never less: a ranch a little unlike the others is not held to them."""
LEAST_OTHER_SPREAD = 0.45
ALIKE, ALIKE_WORTH = 0.5, 5.0
"""Chance beforehand that a ranch is like the others, and the ranches that this is worth; a judgement."""
CHANCE_WORTH = 2.0
"""Ranches that the chance of no effects of blocks and valve zones is worth beforehand."""
SERIES_SPREADS = {"lasting": (0.7, 0.5), "fading": (0.4, 0.35), "drying": (0.015, 0.2)}
"""Usual and least spread of log odds, of the logarithm of days, and of slopes, these usual [bar/mm] and least
as a share; judgements, no source."""
LEAST_DRYING_BAR_MM = 0.005
"""A district whose trees hardly dry lends no slope [bar/mm]."""
CLEAR_GAIN = 0.1
"""Share by which borrowing must lower the parameters' standard errors, on average, to be worth a run."""
TURNS = 200
CLOSE = 1e-4
"""Turns end where no mean or spread moves by more."""


@dataclass(frozen=True)
class Alike:
    """Means and spreads of the logarithms of parameters, and the chance that a ranch is like the others."""

    mean: Mapping[str, float]
    spread: Mapping[str, float]
    alike: float


def pool(told: Sequence[OwnEvidence]) -> BorrowedPriors:
    """Pool what ranches tell of their parameters.

    Parameters
    ----------
    told : sequence of OwnEvidence
        Of every ranch that lends; never of the one that borrows.

    Returns
    -------
    BorrowedPriors
        Empty where fewer than :data:`LEAST_RANCHES` lend.
    """
    if len(told) < LEAST_RANCHES:
        return BorrowedPriors()
    names = [
        name for name in (*VARIANCES, NOISE, RANGE) if sum(one.column(name) is not None for one in told) > 1
    ]
    district = _start(told, names)
    for _ in range(TURNS):
        renewed, certain = _turn(told, names, district)
        moved = max(
            abs(a[name] - b[name])
            for a, b in ((renewed.mean, district.mean), (renewed.spread, district.spread))
            for name in names
        )
        district = renewed
        if moved < CLOSE:
            break
    lent = {}
    for name in names:
        least = LEAST_SPREAD.get(name, LEAST_OTHER_SPREAD)
        spread = float(np.hypot(district.spread[name], certain[name]))
        lent[name] = LogNormal(float(np.exp(district.mean[name])), max(spread, least))
    lent |= _of_series(told)
    readings = sum(one.readings for one in told)
    drying = lent.get("drying")
    soils = {} if drying is None else pool_soils([one.soils for one in told], drying.median)
    return BorrowedPriors(len(told), readings, lent, district.alike, _without_units(told), soils)


def seen_as_one_of(told: OwnEvidence, mean: Mapping[str, float], spread: Mapping[str, float]) -> Floats:
    """Weigh a ranch's points as if it were one of the district's.

    Parameters
    ----------
    told : OwnEvidence
        Of the ranch.
    mean, spread : mapping of str to float
        Of the district's logarithms; parameters that are not there keep the ranch's own priors.

    Returns
    -------
    array, shape (K,)
        Logarithms; the sum of their exponentials is how much better the district foretells the ranch's
        readings than its weak priors do.
    """
    total = np.log(told.weight)
    for i, name in enumerate(told.names):
        if name in mean:
            z = (told.points[:, i] - mean[name]) / spread[name]
            total = total - 0.5 * z**2 - np.log(spread[name]) - 0.5 * LOG_2PI - told.log_prior[:, i]
    return np.asarray(total)


def _start(told: Sequence[OwnEvidence], names: Sequence[str]) -> Alike:
    mean, spread = {}, {}
    for name in names:
        found = [(one.weight, column) for one in told if (column := one.column(name)) is not None]
        mean[name] = float(np.median([weight @ column for weight, column in found]))
        spread[name] = 2 * USUAL_SPREAD
    return Alike(mean, spread, ALIKE)


def _turn(
    told: Sequence[OwnEvidence], names: Sequence[str], district: Alike
) -> tuple[Alike, dict[str, float]]:
    """Renew the district; also tells how well each mean is known."""
    weights, alike = [], []
    for one in told:
        log_weight = seen_as_one_of(one, district.mean, district.spread)
        better = float(logsumexp(log_weight))
        weights.append(np.exp(log_weight - better))
        odds = district.alike / (1 - district.alike) * np.exp(np.clip(better, -30.0, 30.0))
        alike.append(float(odds / (1 + odds)))
    mean, spread, certain = {}, {}, {}
    for name in names:
        found = [
            (share, weight @ column, weight @ column**2)
            for one, weight, share in zip(told, weights, alike, strict=True)
            if (column := one.column(name)) is not None
        ]
        share, first, second = np.array(found).T
        before = district.spread[name] ** 2 / USUAL_MEAN_SPREAD**2
        mean[name] = float((share @ first + before * USUAL_MEAN[name]) / (share.sum() + before))
        squares = share @ (second - 2 * mean[name] * first + mean[name] ** 2)
        variance = (squares + USUAL_WORTH * USUAL_SPREAD**2) / (share.sum() + USUAL_WORTH)
        spread[name] = float(np.sqrt(variance))
        told_by = share @ np.clip(1 - (second - first**2) / variance, 0.05, 1.0)
        certain[name] = float(np.sqrt(variance / told_by))
    chance = (sum(alike) + ALIKE * ALIKE_WORTH) / (len(told) + ALIKE_WORTH)
    return Alike(mean, spread, chance), certain


def _of_series(told: Sequence[OwnEvidence]) -> dict[str, LogNormal]:
    """Pool what earlier visits tell of lasting, fading and drying."""
    lent = {}
    for name, (usual, least) in SERIES_SPREADS.items():
        found = np.array([one.series[name] for one in told if name in one.series]).reshape(-1, 2)
        if len(found) < LEAST_RANCHES:
            continue
        mean, sd = pooled_normal(found[:, 0], found[:, 1], usual)
        if name == "drying":
            if mean > LEAST_DRYING_BAR_MM:
                lent[name] = LogNormal(mean, max(sd / mean, least))
        else:
            median = np.exp(mean) if name == "fading" else 1 / (1 + np.exp(-mean))
            lent[name] = LogNormal(float(median), max(sd, least))
    return lent


def _without_units(told: Sequence[OwnEvidence]) -> float:
    """Find the chance that a ranch of the district shows no effects of blocks and valve zones."""
    odds = np.array([-np.inf if one.without_units is None else one.without_units for one in told])
    chance = CHANCE
    for _ in range(TURNS):
        each = np.exp(np.clip(odds, -30.0, 30.0)) * chance / (1 - chance)
        chance = float((np.sum(each / (1 + each)) + CHANCE * CHANCE_WORTH) / (len(told) + CHANCE_WORTH))
    return chance


def gains_from(told: OwnEvidence, lent: BorrowedPriors) -> bool:
    """Tell whether what is lent would make a ranch's parameters clearly surer, or tell it of drying.

    Parameters
    ----------
    told : OwnEvidence
        By the ranch alone.
    lent : BorrowedPriors
        By the others.

    Returns
    -------
    bool
    """
    known = lent.parameters or {}
    if not lent:
        return False
    if "drying" in known and "drying" not in told.series:
        return True
    middle = {name: float(np.log(one.median)) for name, one in known.items() if name not in SERIES_SPREADS}
    spread = {name: one.spread for name, one in known.items() if name in middle}
    log_weight = seen_as_one_of(told, middle, spread)
    borrowed = np.exp(log_weight - logsumexp(log_weight))
    sd = [
        np.sqrt(np.maximum(w @ told.points**2 - (w @ told.points) ** 2, 1e-12))
        for w in (told.weight, borrowed)
    ]
    return bool(np.mean(sd[1] / sd[0]) < 1 - CLEAR_GAIN)
