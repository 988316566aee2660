"""Benefit of water: weighted stress relieved by a depth of irrigation, with decreasing marginal benefit.

The marginal benefit of relieving stress is the stress itself, so that going from 6 to 5 bar below the target
counts 5.5 and from 2 to 1 counts 1.5. Stress is known only within its standard error: the benefit is the
expectation over a normal distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from stressmap.core.arrays import Floats, Ints

MOST_PIECES = 16
"""Linear segments of a valve's curve, at most; short curves keep every step."""


def weighted_stress(mean_bar: ArrayLike, se_bar: ArrayLike) -> Floats:
    """Give the stress with drier bars counting more: the expectation of half the square of what is above 0.

    Parameters
    ----------
    mean_bar, se_bar : float or array of float, shape (n,)
        Stress and its standard error [bar].

    Returns
    -------
    array of float, shape (n,)
        [bar²].

    Examples
    --------
    >>> weighted_stress([4.0, -1.0], [0.0, 0.0]).tolist()
    [8.0, 0.0]
    """
    mean, se = np.broadcast_arrays(np.asarray(mean_bar, float), np.asarray(se_bar, float))
    sure = se <= 0.0
    z = mean / np.where(sure, 1.0, se)
    density = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    spread = 0.5 * ((mean**2 + se**2) * ndtr(z) + mean * se * density)
    return np.asarray(np.where(sure, 0.5 * np.maximum(mean, 0.0) ** 2, spread))


@dataclass(frozen=True)
class BenefitModel:
    """Benefit model of n valve zones: expected stress, water per bar, requirement and weight.

    Parameters
    ----------
    dry_bar, se_bar : array of float, shape (n,)
        Stress at the next turn if no water comes, and its standard error [bar].
    mm_per_bar : array of float, shape (n,)
        Net depth that relieves one bar [mm].
    need_mm : array of float, shape (n,)
        Net depth beyond which water is not counted as relief [mm].
    weight : array of float, shape (n,)
        Area times block weight times growth-stage sensitivity [ha].
    """

    dry_bar: Floats
    se_bar: Floats
    mm_per_bar: Floats
    need_mm: Floats
    weight: Floats

    def benefit(self, net_mm: ArrayLike) -> Floats:
        """Give the weighted stress that depths relieve.

        Parameters
        ----------
        net_mm : array of float, shape (n,)
            Net depths [mm].

        Returns
        -------
        array of float, shape (n,)
            [ha·bar²].
        """
        useful = np.clip(np.asarray(net_mm, float), 0.0, self.need_mm) / self.mm_per_bar
        left = weighted_stress(self.dry_bar - useful, self.se_bar)
        return self.weight * (weighted_stress(self.dry_bar, self.se_bar) - left)

    def relieved_bar(self, net_mm: ArrayLike) -> Floats:
        """Give the unweighted stress that depths relieve.

        Parameters
        ----------
        net_mm : array of float, shape (n,)
            Net depths [mm].

        Returns
        -------
        array of float, shape (n,)
            [bar].
        """
        return np.asarray(np.clip(np.asarray(net_mm, float), 0.0, self.need_mm) / self.mm_per_bar)

    def marginal_benefits(self, top_mm: Floats, count: int) -> Floats:
        """Give the marginal benefit of equal increments of depth.

        Parameters
        ----------
        top_mm : array of float, shape (n,)
            Total net depth of the increments [mm].
        count : int
            How many increments.

        Returns
        -------
        array of float, shape (n, count)
            [ha·bar²], never rising from one increment to the next.
        """
        depth = np.linspace(0.0, 1.0, count + 1)[:, None] * np.minimum(top_mm, self.need_mm)
        left = weighted_stress(self.dry_bar - depth / self.mm_per_bar, self.se_bar)
        return np.asarray(-np.diff(left, axis=0).T * self.weight[:, None])

    def with_known_stress(self, dry_bar: Floats) -> BenefitModel:
        """Give the model of the same zones with a known stress in place of the expected.

        Parameters
        ----------
        dry_bar : array of float, shape (n,)
            Stress at the next turn [bar].

        Returns
        -------
        BenefitModel
        """
        need = np.maximum(0.0, dry_bar) * self.mm_per_bar
        return BenefitModel(dry_bar, np.zeros_like(dry_bar), self.mm_per_bar, need, self.weight)


@dataclass(frozen=True)
class BenefitCurve:
    """Concave piecewise-linear benefit of time steps, flat after the last point.

    Parameters
    ----------
    steps : array of int, shape (p,)
        Rising, the first 0.
    value : array of float, shape (p,)
        Weighted stress relieved [ha·bar²]; rising ever less.
    """

    steps: Ints
    value: Floats

    def at(self, steps: ArrayLike) -> Floats:
        """Read the curve.

        Parameters
        ----------
        steps : int or array of int
            How many.

        Returns
        -------
        array of float
        """
        return np.asarray(np.interp(np.asarray(steps, dtype=np.float64), self.steps, self.value))


def benefit_curves(
    benefit_model: BenefitModel, net_mm_per_step: Floats, max_steps: Ints
) -> tuple[BenefitCurve, ...]:
    """Make each valve's benefit curve.

    Parameters
    ----------
    benefit_model : BenefitModel
        Of n valve zones.
    net_mm_per_step : array of float, shape (n,)
        Net depth that one time step of the valve brings [mm].
    max_steps : array of int, shape (n,)
        Steps that a curve goes to.

    Returns
    -------
    tuple of BenefitCurve, length n
    """
    made = []
    for i, top in enumerate(max_steps.tolist()):
        points = min(top, MOST_PIECES)
        steps = np.unique(np.round(np.linspace(0, top, points + 1)).astype(np.int64))
        one = BenefitModel(*(getattr(benefit_model, f)[i : i + 1] for f in BenefitModel.__dataclass_fields__))
        made.append(BenefitCurve(steps, one.benefit(steps * net_mm_per_step[i])))
    return tuple(made)
