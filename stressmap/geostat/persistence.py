"""Likeness of two visits: a share of every difference lasts, the rest fades with the days between.

``k(D) = p + (1 - p)·exp(-D / theta)``: the product-sum of a permanent and an exponentially fading part, the
plainest separable space-time covariance with a temporal nugget of zero. At one visit it is 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats

USUAL_FADING_DAYS = 14.0
"""Median of the prior of theta [days]; common practice, no source."""
FADING_SPREAD = 0.7
"""Standard deviation of the prior of its logarithm."""
LASTING_SPREAD = 1.5
"""Standard deviation of the prior of the log odds of p, whose median is one half."""
FADING_DAYS = (2.0, 120.0)
"""Least and most of theta [days]: what fades faster is error, what fades slower lasts."""


@dataclass(frozen=True)
class Persistence:
    """Correlation of the signal between two days.

    Parameters
    ----------
    lasting : float
        Share p of the variance that lasts, between 0 and 1.
    fading_days : float
        Days theta in which the rest falls to 0.37.

    Examples
    --------
    >>> Persistence(0.5, 10.0)(np.array([0.0, 10.0, 1e6])).round(3).tolist()
    [1.0, 0.684, 0.5]
    """

    lasting: float
    fading_days: float

    @classmethod
    def of_scores(cls, scores: Floats) -> Persistence:
        """Make one from the log odds of p and the logarithm of theta, shape (2,)."""
        return cls(float(1 / (1 + np.exp(-scores[0]))), float(np.exp(scores[1])))

    def __call__(self, days: Floats) -> Floats:
        """Return the correlation over some days between."""
        return np.asarray(self.lasting + (1 - self.lasting) * np.exp(-np.abs(days) / self.fading_days))

    def derivatives(self, days: Floats) -> tuple[Floats, Floats]:
        """Return the derivatives of the correlation by the log odds of p and by the logarithm of theta."""
        gone = np.exp(-np.abs(days) / self.fading_days)
        by_odds = self.lasting * (1 - self.lasting) * (1 - gone)
        return np.asarray(by_odds), np.asarray((1 - self.lasting) * gone * np.abs(days) / self.fading_days)


@dataclass(frozen=True)
class PersistencePriors:
    """What is believed of lasting and fading beforehand.

    Parameters
    ----------
    lasting : float
        Median of the share p.
    lasting_spread : float
        Standard deviation of its log odds.
    fading_days : float
        Median of theta [days].
    fading_spread : float
        Standard deviation of its logarithm.
    """

    lasting: float = 0.5
    lasting_spread: float = LASTING_SPREAD
    fading_days: float = USUAL_FADING_DAYS
    fading_spread: float = FADING_SPREAD

    @property
    def spread(self) -> Floats:
        """Return both standard deviations, shape (2,)."""
        return np.array([self.lasting_spread, self.fading_spread])


USUAL_PERSISTENCE = PersistencePriors()
"""Of a ranch alone."""


def prior_scores(priors: PersistencePriors = USUAL_PERSISTENCE) -> Floats:
    """Return the prior medians of log odds and logarithm, shape (2,)."""
    return np.array([np.log(priors.lasting / (1 - priors.lasting)), np.log(priors.fading_days)])


def score_bounds() -> list[tuple[float, float]]:
    """Return the bounds within which both are sought."""
    return [(-5.0, 5.0), (float(np.log(FADING_DAYS[0])), float(np.log(FADING_DAYS[1])))]


def log_prior(scores: Floats, priors: PersistencePriors = USUAL_PERSISTENCE) -> tuple[float, Floats, Floats]:
    """Give the log prior density of both, up to a constant, with derivatives.

    Parameters
    ----------
    scores : array, shape (2,)
        Log odds of p, logarithm of theta.
    priors : PersistencePriors
        Of both.

    Returns
    -------
    value : float
    gradient, curvature : array, shape (2,)
        First, and negative second, derivatives.
    """
    spread = priors.spread
    z = (scores - prior_scores(priors)) / spread
    return float(-0.5 * z @ z), -z / spread, spread**-2
