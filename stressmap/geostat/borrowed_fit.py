"""Fit under borrowed priors, and what a ranch's own readings tell for others to borrow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import logsumexp

from stressmap.core.arrays import Floats
from stressmap.geostat.borrowed_model import ROUGHER_RANGE, borrow, chance_ratio, log_densities
from stressmap.geostat.borrowed_priors import NOISE, BorrowedPriors, OwnEvidence
from stressmap.geostat.covariance import EXPONENTIAL
from stressmap.geostat.importance_sample import ImportanceSample, importance_sample, largest_weights, mass_of
from stressmap.geostat.posterior import LikelihoodGroup
from stressmap.geostat.variance_model import RANGE, VarianceModel
from stressmap.geostat.without_units import CHANCE, leave_units_out

STEP = float(np.log(2.0))
"""How close ranges lie that are tried: the grid of a fit without borrowed priors (``fit``)."""
REACH = 2.0
"""How far from a borrowed range others are tried, in standard deviations of its logarithm."""


def sample_borrowed(
    groups: list[LikelihoodGroup], alone: ImportanceSample, lent: BorrowedPriors, count: int
) -> list[ImportanceSample]:
    """Sample the posterior under borrowed priors, weighed against the priors of a ranch alone.

    Parameters
    ----------
    groups : list of LikelihoodGroup
        Readings.
    alone : ImportanceSample
        The most plausible under the priors of a ranch alone.
    lent : BorrowedPriors
        Not empty.
    count : int
        Points at each range.

    Returns
    -------
    list of ImportanceSample
        Those whose likelihood is finite.
    """
    whole = borrow(alone.model, lent)
    known = [group.covariance_structure for group in groups]
    models: list[tuple[VarianceModel, float]] = [(whole, 1 - CHANCE)]
    if (plain := leave_units_out(whole, known)) is not None:
        models = [(whole, 1 - lent.without_units), (plain, lent.without_units)]
    found = []
    for model, chance in models:
        start = alone.mode[[alone.model.free.index(name) for name in model.free]]
        offset = chance_ratio(model, alone.model) + np.log(chance / (1 - CHANCE))
        offset += np.log(lent.alike / (1 - lent.alike))
        for log_range in near_ranges(model):
            one = importance_sample(
                groups, model, np.append(start, log_range), count if model is whole else count // 2
            )
            found.append(replace(one, log_weight=one.log_weight + offset, peak=one.peak + offset))
            start = one.mode[:-1]
    return [one for one in found if np.isfinite(one.log_mass)]


def near_ranges(model: VarianceModel) -> Floats:
    """Give the logarithms of the ranges to try about a borrowed one: of the same grid as without it.

    Parameters
    ----------
    model : VarianceModel
        With borrowed priors.

    Returns
    -------
    array
        Rising, of metres; two at least.
    """
    centre, spread = model.prior_centre()[-1], model.prior_spread()[-1]
    off = (centre - np.log(model.priors.range_m)) / STEP
    reach = max(REACH * spread / STEP, 1.0)
    return np.asarray(np.log(model.priors.range_m) + STEP * np.arange(np.ceil(off - reach), off + reach))


def own_evidence(
    found: list[ImportanceSample], plain: list[ImportanceSample], n: int, share: float
) -> OwnEvidence:
    """Keep what the readings tell of the parameters by themselves.

    Parameters
    ----------
    found, plain : list of ImportanceSample
        Under the priors of a ranch alone: with effects of blocks and valve zones, and without.
    n : int
        Readings.
    share : float
        Weight that borrowed priors had in the fit.

    Returns
    -------
    OwnEvidence
    """
    model = found[0].model
    points = np.concatenate([one.points for one in found])
    log_part = np.concatenate([one.log_parts for one in found])
    weight = np.exp(log_part - logsumexp(log_part))
    chosen = largest_weights(weight)
    log_prior = log_densities(model, points[chosen])
    odds = mass_of(plain) - mass_of(found) - np.log(CHANCE / (1 - CHANCE)) if plain else None
    told = points[chosen] - np.append(
        np.zeros(len(model.free)), ROUGHER_RANGE if model.correlation is EXPONENTIAL else 0.0
    )
    weight = weight[chosen] / weight[chosen].sum()
    together = model.error_bar == 0.0 and "error" not in model.free
    free = tuple(NOISE if name == "tree" and together else name for name in model.free)
    return OwnEvidence(n, (*free, RANGE), told, weight, log_prior, odds, share)
