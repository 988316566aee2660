"""Mixtures of two estimates, or of two courses, whose spread tells that either may be true."""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.geostat.samples import Estimate
from stressmap.geostat.zone_paths import ZonePaths


def mixed(share: Floats, memory: Estimate, today: Estimate) -> Estimate:
    """Mix two estimates; the variance holds the spread between them.

    Parameters
    ----------
    share : array, shape (m,)
        Of the first.
    memory, today : Estimate
        Of m.

    Returns
    -------
    Estimate
    """
    apart = memory.mean - today.mean
    mean = today.mean + share * apart
    variance = share * memory.variance + (1 - share) * today.variance + share * (1 - share) * apart**2
    return Estimate(mean, variance)


def mixed_paths(apart: Floats, memory: ZonePaths, today: ZonePaths) -> ZonePaths:
    """Mix two courses of each zone.

    Parameters
    ----------
    apart : array, shape (H, Z)
        Share of the second on each day.
    memory, today : ZonePaths
        Of H days and Z zones.

    Returns
    -------
    ZonePaths
        Days on which both have a share hang together as far as their shares go.
    """
    both, either = (np.minimum, np.maximum)
    first, second = 1 - either(apart[:, None], apart[None]), both(apart[:, None], apart[None])
    off = today.mean - memory.mean
    covariance = first * memory.covariance + second * today.covariance
    covariance = covariance + (second - apart[:, None] * apart[None]) * off[:, None] * off[None]
    last = apart.max(axis=0)
    return ZonePaths(memory.mean + apart * off, covariance, mixed(1 - last, memory.slope, today.slope))
