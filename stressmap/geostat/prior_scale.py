"""Priors that follow the readings' own spread where it is far from what is usual.

The priors are in bar and made for what an orchard commonly shows. Readings that vary several times more, or
less, would be held to them by too few sets of parameters that fit, and intervals would be too narrow. Within
what is usual nothing changes; beyond, all standard deviations of the priors move together.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from stressmap.geostat.options import Priors
from stressmap.geostat.samples import Samples

LEAST_SPREAD_READINGS = 12
"""Fewer readings do not tell their spread."""
USUAL = 0.7
"""What spread readings of ranches commonly have, as a share of what the priors would have it at most; common
practice, no source."""
LEAST_USUAL, MOST_USUAL = 0.4, 1.6
"""Within these shares the priors stay as they are: nine of ten drawn ranches have 0.5 to 0.9."""
MOST_FACTOR = 10.0
"""The priors are moved by this at most, up or down."""
MAD_TO_SD = 1.4826
"""Of a normal distribution: its standard deviation in median absolute deviations."""


def follow_spread(priors: Priors, samples: Samples) -> Priors:
    """Scale the priors' standard deviations where the readings spread far more or less than usual.

    The spread is the median absolute deviation from the crop's median, which a few gross errors do not move.

    Parameters
    ----------
    priors : Priors
        As they are for usual readings.
    samples : Samples
        n readings.

    Returns
    -------
    Priors
        The very same where the spread is usual or the readings are few.
    """
    if len(samples) < LEAST_SPREAD_READINGS:
        return priors
    departure, crop = np.array(samples.value, dtype=float), samples.places.crop
    for code in np.unique(crop):
        departure[crop == code] -= np.median(departure[crop == code])
    most = float(
        np.sqrt(priors.block_bar**2 + priors.valve_bar**2 + priors.pattern_bar**2 + priors.noise_bar**2)
    )
    factor = scale_factor(MAD_TO_SD * float(np.median(np.abs(departure))) / most)
    if factor == 1.0:
        return priors
    names = ("block_bar", "valve_bar", "pattern_bar", "crop_bar", "tree_bar", "error_bar")
    return replace(priors, **{name: factor * getattr(priors, name) for name in names})


def scale_factor(share: float) -> float:
    """Give the factor for priors, from the readings' spread as a share of what the priors would have at most.

    Parameters
    ----------
    share : float
        Not negative.

    Returns
    -------
    float
        1 where the share is usual; beyond, it leaves 1 without a jump and soon keeps the share at USUAL.

    Examples
    --------
    >>> [round(scale_factor(share), 3) for share in (0.0, 0.14, 0.3, 0.5, 1.6, 2.0, 2.8, 7.0, 70.0)]
    [0.1, 0.2, 0.562, 1.0, 1.0, 1.562, 3.062, 10.0, 10.0]
    """
    if share > MOST_USUAL:
        return min((share / MOST_USUAL) ** 2, share / USUAL, MOST_FACTOR)
    if share < LEAST_USUAL:
        return max((share / LEAST_USUAL) ** 2, share / USUAL, 1 / MOST_FACTOR)
    return 1.0
