"""How closely a reading can be repeated, from second end points and second leaves."""

from __future__ import annotations

import numpy as np

from stressmap.field.options import Priors
from stressmap.field.surface import Floats

LEAST_PAIRS = 3
PRIOR_PAIRS = 3.0
"""How many pairs the prior reading error is worth beside those measured."""


def reading_error(first: Floats, second: Floats, priors: Priors | None = None) -> float | None:
    """Estimate the standard deviation of one reading from readings made twice.

    Half the mean squared difference of the pairs, the prior worth :data:`PRIOR_PAIRS` further pairs, because
    a handful of pairs can agree by luck. Derived here (the difference of two readings has twice the variance
    of one).

    Parameters
    ----------
    first, second : array of float, shape (n,)
        The two end points of a leaf, or two leaves of a tree [bar]; NaN where there is none.
    priors : Priors, optional
        What is plausible.

    Returns
    -------
    float or None
        [bar]; None with fewer than :data:`LEAST_PAIRS` pairs.

    Examples
    --------
    >>> round(reading_error(np.array([10.0, 12.0, 9.0]), np.array([10.4, 11.8, 9.2])), 2)
    0.38
    >>> reading_error(np.array([10.0]), np.array([10.4])) is None
    True
    """
    apart = first - second
    apart = apart[np.isfinite(apart)]
    if len(apart) < LEAST_PAIRS:
        return None
    prior = (priors or Priors()).error_bar ** 2
    variance = (PRIOR_PAIRS * prior + np.sum(apart**2) / 2) / (PRIOR_PAIRS + len(apart))
    return float(np.sqrt(variance))
