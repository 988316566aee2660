"""How likely is each reading wrong by bars, given all the others? Such readings count less, or not at all.

A gauge misread, a leaf taken out of its bag, a figure put on the wrong line: such errors are few and large,
and one normal law for all errors lets them pull the map along and hides them behind the spread that they
make. So a reading's error is taken as drawn from one of two laws, the usual one or one that is wider by
:data:`GROSS_BAR`, and the chance of the second is found for all readings at once, in turns with the share of
such readings and with the variances of the model (expectation-maximisation of a normal law with a
contaminated tail, the other readings' chances standing in for what they really are). As a reading that is
doubted pulls less, two wrong ones do not hide each other. What a second leaf or a tree close by bears out is
never doubted: a dry spot measured twice is real.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import LinAlgError
from scipy.special import expit
from threadpoolctl import threadpool_limits

from stressmap.core.arrays import Bools, Floats, Ints
from stressmap.geostat.covariance import Parameters
from stressmap.geostat.fit import best_variances
from stressmap.geostat.posterior import LikelihoodGroup, group_readings
from stressmap.geostat.reml import projection, solve
from stressmap.geostat.samples import Samples
from stressmap.geostat.variance_model import VarianceModel

GROSS_BAR = 4.5
"""Standard deviation of a gross error [bar]; common practice, no source: errors worth the name are 3 to 8."""
WRONG, SOUND = 1.0, 20.0
"""Readings, before any are seen, that were wrong and sound: about one in twenty is wrong."""
LEAST_JUDGED = 12
"""Fewer readings cannot tell a gross error from a dry tree."""
WORTH_IT = 0.5
"""Where no reading is more likely wrong than this, all count in full."""
DOUBTED = 0.2
"""Beside such a one, readings that are more likely wrong than this are told."""
FAR_Z = 3.5
"""Standard errors within which no reading is set aside, however likely it is wrong."""
ROUNDS, TURNS = 4, 8
SETTLED = 0.01
NEAR_M = 50.0
"""A tree of the same block within this distance can bear out a reading [m]."""
BORNE_OUT = 0.5
"""It does where it departs the same way by at least this share of the reading's departure."""


@dataclass(frozen=True)
class Doubts:
    """What is doubted.

    Parameters
    ----------
    chance : array, shape (n,)
        That a reading is wrong.
    predicted : array, shape (n,)
        What the readings of other trees say, each counting as far as it is believed [bar].
    z_score : array, shape (n,)
        (reading - predicted) / its standard error, were it sound.
    noise_bar2 : float
        Variance of a sound reading about the map [bar²].
    far_z : float
        Standard errors within which none is set aside.
    """

    chance: Floats
    predicted: Floats
    z_score: Floats
    noise_bar2: float
    far_z: float = FAR_Z

    def take(self, index: Bools) -> Doubts:
        """Return the doubts of some of the readings."""
        part = {name: getattr(self, name)[index] for name in ("chance", "predicted", "z_score")}
        return replace(self, **part)

    @property
    def aside(self) -> Bools:
        """Readings more likely wrong than not and beyond the limit, shape (n,)."""
        return np.asarray((self.chance > WORTH_IT) & (np.abs(self.z_score) > self.far_z))

    @property
    def for_map(self) -> Floats:
        """Variance that is added to each reading's in the map: what is expected of its error [bar²]."""
        return self.chance * GROSS_BAR**2

    @property
    def for_fit(self) -> Floats:
        """The same in the likelihood, where the precisions are averaged [bar²]."""
        return _softly(self.chance, self.noise_bar2)

    @property
    def weight(self) -> Floats:
        """How much each reading counts beside the least doubted, shape (n,); none where set aside."""
        variance = self.noise_bar2 + self.for_map
        return np.where(self.aside, 0.0, variance.min() / variance)


def find_doubts(
    samples: Samples, trend: Floats, model: VarianceModel, start: Parameters, level: float = 0.0
) -> Doubts | None:
    """Find which readings the others contradict.

    Parameters
    ----------
    samples : Samples
        n readings, about 0 on the whole.
    trend : array, shape (n, p)
        Columns of the mean.
    model : VarianceModel
        As fitted to all of them.
    start : Parameters
        Its best set; the range is kept.
    level : float
        What was taken off the readings [bar].

    Returns
    -------
    Doubts or None
        None where no reading is more likely wrong than right, or where they are too few to tell.
    """
    if len(samples) < LEAST_JUDGED:
        return None
    try:
        with threadpool_limits(1):
            return _settle(samples, trend, model, start, level)
    except (LinAlgError, ValueError, FloatingPointError):
        return None


def _settle(
    samples: Samples, trend: Floats, model: VarianceModel, parameters: Parameters, level: float
) -> Doubts | None:
    """Take chances, their share and the variances in turns until the chances stay as they are."""
    n = len(samples)
    chance, share = np.zeros(n), WRONG / (WRONG + SOUND)
    for turn in range(ROUNDS):
        noise = parameters.tree + parameters.error
        for again in range(TURNS):
            new, residual, variance = _chances(
                replace(samples, doubt=_softly(chance, noise)), trend, (model, parameters), share
            )
            settled = bool(np.abs(new - chance).max() < SETTLED)
            chance = new if settled or not again else 0.5 * (chance + new)
            share = (chance.sum() + WRONG) / (n + WRONG + SOUND)
            if settled:
                break
        if turn < ROUNDS - 1:
            doubted = replace(samples, doubt=_softly(chance, noise))
            parameters = best_variances(doubted, trend, model, parameters)
    if chance.max() <= WORTH_IT:
        return None
    predicted = samples.value - residual + level
    return Doubts(chance, predicted, residual / np.sqrt(variance), noise)


def _softly(chance: Floats, noise: float) -> Floats:
    """Give the variance beyond the noise whose inverse is the expected precision."""
    return np.asarray(1.0 / ((1 - chance) / noise + chance / (noise + GROSS_BAR**2)) - noise)


def _chances(
    samples: Samples, trend: Floats, known: tuple[VarianceModel, Parameters], share: float
) -> tuple[Floats, Floats, Floats]:
    """Give the chance that each reading is wrong, its residual from other trees and that one's variance."""
    chance, residual, variance = (np.zeros(len(samples)) for _ in range(3))
    doubt = np.zeros(len(samples)) if samples.doubt is None else samples.doubt
    for group in _judged_groups(samples, trend, *known):
        r, v = group.residuals()
        v = np.maximum(v - doubt[group.index], 1e-6)
        wider = v + GROSS_BAR**2
        odds = np.log(share) - np.log1p(-share) + 0.5 * (np.log(v / wider) + r**2 / v - r**2 / wider)
        own = expit(odds)
        for i in np.flatnonzero(own > DOUBTED):
            own[i] = 0.0 if group.bears_out(int(i)) else own[i]
        chance[group.index], residual[group.index], variance[group.index] = own, r, v
    return chance, residual, variance


def _judged_groups(
    samples: Samples, trend: Floats, model: VarianceModel, parameters: Parameters
) -> Iterator[JudgedGroup]:
    for group in group_readings(samples, trend, most=None):
        yield JudgedGroup.of(group, model, parameters)


@dataclass(frozen=True)
class JudgedGroup:
    """Readings that judge each other.

    Parameters
    ----------
    index : array of int, shape (n,)
        Which.
    inner : array, shape (n, n)
        Projection P of their covariance [1/bar²].
    weighed : array, shape (n,)
        P times the readings.
    same_tree : array of bool, shape (n, n)
        Leaves of one tree; each reading with itself too.
    near : array of bool, shape (n, n)
        Other readings of the tree, and of trees near it in its block.
    """

    index: Ints
    inner: Floats
    weighed: Floats
    same_tree: Bools
    near: Bools

    @classmethod
    def of(cls, group: LikelihoodGroup, model: VarianceModel, parameters: Parameters) -> JudgedGroup:
        """Solve the covariance of a part of the likelihood."""
        shared = group.covariance_structure
        pattern = shared.pattern(model, parameters.range_m)
        inner = projection(solve(shared.covariance(parameters, pattern), group.trend))
        same_tree = shared.same["tree"] > 0
        near = ((shared.distance <= NEAR_M) & (shared.same["block"] > 0)) | same_tree
        near[np.diag_indices(len(near))] = False
        return cls(group.index, inner, inner @ group.value, same_tree, near)

    def residuals(self) -> tuple[Floats, Floats]:
        """Give every reading less what other trees predict, and the variance of that, shape (n,) each."""
        variance = 1.0 / np.diag(self.inner)
        residual = variance * self.weighed
        for i in np.flatnonzero(self.same_tree.sum(axis=1) > 1):
            (residual[i],), (variance[i],) = self._left_out(np.array([i]))
        return residual, variance

    def bears_out(self, reading: int) -> bool:
        """Tell whether another leaf or a tree near by departs from all others the same way."""
        for other in np.flatnonzero(self.near[reading]):
            (mine, its), _ = self._left_out(np.array([reading, other]))
            if mine * its > 0 and abs(its) >= BORNE_OUT * abs(mine):
                return True
        return False

    def _left_out(self, which: Ints) -> tuple[Floats, Floats]:
        """Give residuals and variances of readings whose trees are left out together."""
        out = np.flatnonzero(self.same_tree[which].any(axis=0))
        covariance = np.linalg.inv(self.inner[np.ix_(out, out)])
        at = np.searchsorted(out, which)
        return (covariance @ self.weighed[out])[at], np.diag(covariance)[at]
