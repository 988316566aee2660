"""The variance model of a ranch whose priors are borrowed, and what weighs it against another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.geostat.borrowed_priors import NOISE, BorrowedPriors, LogNormal
from stressmap.geostat.covariance import EXPONENTIAL
from stressmap.geostat.drying_slopes import (
    BLOCK_SD,
    SLOPE_BAR_MM,
    USUAL_DRYING,
    USUAL_SLOPES,
    VALVE_SD,
    DryingPriors,
    SlopePriors,
)
from stressmap.geostat.persistence import USUAL_PERSISTENCE, PersistencePriors
from stressmap.geostat.variance_model import RANGE, VarianceModel

LOG_2PI = float(np.log(2 * np.pi))
ROUGHER_RANGE = float(np.log(2.0))
"""An exponential pattern falls about as a Matern 3/2 of half its range; ranges are lent as the latter's."""


@dataclass(frozen=True)
class BorrowedModel(VarianceModel):
    """A variance model whose priors are borrowed, where they are lent; else those of a ranch alone.

    Parameters
    ----------
    lent : BorrowedPriors, optional
        By the other ranches.
    """

    lent: BorrowedPriors | None = None

    def _known(self, name: str) -> LogNormal | None:
        together = name == "tree" and self.error_bar == 0.0 and "error" not in self.free
        lent = None if self.lent is None else self.lent.parameters
        return None if lent is None else lent.get(NOISE if together else name)

    def _prior_spread(self, name: str) -> float:
        known = self._known(name)
        return super()._prior_spread(name) if known is None else known.spread

    def _prior_scale(self, name: str) -> float:
        known = self._known(name)
        if known is None:
            return super()._prior_scale(name)
        rougher = name == RANGE and self.correlation is EXPONENTIAL
        return known.median * (float(np.exp(ROUGHER_RANGE)) if rougher else 1.0)


def borrow(model: VarianceModel, lent: BorrowedPriors) -> BorrowedModel:
    """Give a model the priors that others lend.

    Parameters
    ----------
    model : VarianceModel
        Of the ranch alone.
    lent : BorrowedPriors
        By the others.

    Returns
    -------
    BorrowedModel
    """
    return BorrowedModel(model.free, model.priors, model.error_bar, model.correlation, lent)


def log_constant(model: VarianceModel) -> float:
    """Give what makes :meth:`VarianceModel.log_prior` the logarithm of a density that integrates to one.

    Parameters
    ----------
    model : VarianceModel
        Free parameters and priors.

    Returns
    -------
    float

    Examples
    --------
    >>> from stressmap.geostat.options import Priors
    >>> one = VarianceModel(("block",), Priors(range_spread=1.0), 0.0)
    >>> u = np.arange(-30.0, 4.0, 0.01)
    >>> density = [np.exp(one.log_prior(np.array([x, one.prior_centre()[1]]))[0]) for x in u]
    >>> round(float(sum(density) * 0.01 * np.exp(log_constant(one)) * np.sqrt(2 * np.pi)), 6)
    1.0
    """
    total = 0.0
    for centre, spread in zip(model.prior_centre(), model.prior_spread(), strict=True):
        total += -np.log(spread) - 0.5 * LOG_2PI if spread else -centre + 0.5 * np.log(2 / np.pi)
    return float(total)


def log_densities(model: VarianceModel, points: Floats) -> Floats:
    """Give the logarithm of the prior density of every parameter of some vectors.

    Parameters
    ----------
    model : VarianceModel
        Free parameters and priors.
    points : array, shape (K, k)
        Logarithms.

    Returns
    -------
    array, shape (K, k)
        Of densities that integrate to one.
    """
    off, spread = points - model.prior_centre(), model.prior_spread()
    half_normal = off - 0.5 * np.exp(2 * off) + 0.5 * np.log(2 / np.pi)
    width = np.where(spread > 0, spread, 1.0)
    log_normal = -0.5 * (off / width) ** 2 - np.log(width) - 0.5 * LOG_2PI
    return np.asarray(np.where(spread > 0, log_normal, half_normal))


def chance_ratio(model: VarianceModel, reference: VarianceModel) -> float:
    """Give what is added to a model's log posterior mass to weigh it against a reference of equal chance.

    Both leave the constants of their priors and of their proposals away, whose dimensions may differ.

    Parameters
    ----------
    model, reference : VarianceModel
        Of the same readings.

    Returns
    -------
    float
    """
    dimensions = len(model.free) - len(reference.free)
    return log_constant(model) - log_constant(reference) + 0.5 * LOG_2PI * dimensions


def lent_persistence(lent: BorrowedPriors) -> PersistencePriors:
    """Give what is believed of lasting and fading, borrowed where it is lent.

    Parameters
    ----------
    lent : BorrowedPriors
        By the other ranches.

    Returns
    -------
    PersistencePriors
    """
    known, usual = lent.parameters or {}, USUAL_PERSISTENCE
    share = known.get("lasting", LogNormal(usual.lasting, usual.lasting_spread))
    days = known.get("fading", LogNormal(usual.fading_days, usual.fading_spread))
    return PersistencePriors(share.median, share.spread, days.median, days.spread)


def lent_slopes(lent: BorrowedPriors | None) -> SlopePriors:
    """Give what is believed of slopes with dryness, borrowed where it is lent.

    Parameters
    ----------
    lent : BorrowedPriors or None
        By the other ranches.

    Returns
    -------
    SlopePriors
        What blocks and valve zones add is the same share of the mean as for a ranch alone.
    """
    known = (lent.parameters or {}).get("drying") if lent else None
    if known is None:
        return USUAL_SLOPES
    scale = known.median / SLOPE_BAR_MM
    return SlopePriors(known.median, known.spread * known.median, scale * BLOCK_SD, scale * VALVE_SD)


def lent_drying(lent: BorrowedPriors | None) -> DryingPriors:
    """Give what is believed of drying, of the ranch and of its soils, borrowed where it is lent.

    Parameters
    ----------
    lent : BorrowedPriors or None
        By the other ranches.

    Returns
    -------
    DryingPriors
    """
    slopes = lent_slopes(lent)
    return USUAL_DRYING if lent is None or slopes is USUAL_SLOPES else DryingPriors(slopes, lent.soils)
