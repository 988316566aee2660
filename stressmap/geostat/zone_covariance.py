"""Covariance of the prediction errors of zone means, and its update by one more reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.change_of_support import averaging_points
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.search_neighbourhood import nearest

POINTS_PER_ZONE = 80
"""Discretisation points of one zone."""
MOST_POINTS = 4_000
"""Discretisation points of all zones together; their covariances are held at once (128 MB)."""
MOST_READINGS = 200
"""Readings in the search neighbourhood of a block."""
Covariance = Callable[[Places, Places], Floats]


@dataclass(frozen=True)
class ZoneCovariance:
    """Covariance of the errors of zone means at the best-fitting parameters.

    Parameters
    ----------
    covariance : array of float, shape (k, k)
        Of the errors [bar²].
    noise : float
        Variance of a new tree's reading about the signal [bar²].
    """

    covariance: Floats
    noise: float

    def shift_sd(self, zone: int) -> Floats:
        """Give the standard deviation of the shift of every zone mean by a reading at one zone.

        Parameters
        ----------
        zone : int
            The zone, usually of a single cell, where the reading is taken.

        Returns
        -------
        array of float, shape (k,)
            [bar].
        """
        return np.asarray(
            np.abs(self.covariance[:, zone]) / np.sqrt(self.covariance[zone, zone] + self.noise)
        )

    def conditioned_on(self, zone: int) -> ZoneCovariance:
        """Give the error covariance conditioned on a further reading at one zone.

        Parameters
        ----------
        zone : int
            The zone.

        Returns
        -------
        ZoneCovariance
        """
        column = self.covariance[:, zone]
        return ZoneCovariance(
            self.covariance - np.outer(column, column) / (column[zone] + self.noise), self.noise
        )


def universal_kriging_covariance(
    samples: Samples,
    zones: tuple[Places, Ints, int],
    covariance: Covariance,
    noise: Floats,
    trend: Callable[[Places], Floats],
) -> ZoneCovariance:
    """Give the error covariance of zone means by universal kriging.

    Parameters
    ----------
    samples : Samples
        n readings.
    zones : tuple of Places, array of int, int
        Cells, m of them, the zone of each (-1 for none), and how many zones.
    covariance : callable
        Covariance of the signal between two sets of places [bar²].
    noise : array of float, shape (n, n)
        Covariance of the readings' nugget: tree and error [bar²].
    trend : callable
        Trend functions at places, shape (m, p).

    Returns
    -------
    ZoneCovariance
        ``noise`` is that of the first reading.
    """
    places, zone, count = zones
    cells, mean = averaging_points(places, zone, count, points_per_zone(len(np.unique(zone[zone >= 0]))))
    factor = cho_factor(covariance(samples.places, samples.places) + noise, lower=True)
    cross = covariance(samples.places, cells) @ mean.T
    basis = trend(samples.places)
    solved, weighed = cho_solve(factor, cross), cho_solve(factor, basis)
    left = mean @ trend(cells) - cross.T @ weighed
    trend_variance = left @ np.linalg.solve(basis.T @ weighed, left.T)
    error = mean @ covariance(cells, cells) @ mean.T - cross.T @ solved + trend_variance
    return ZoneCovariance(0.5 * (error + error.T), float(noise[0, 0]))


def points_per_zone(zones: int) -> int:
    """Give the discretisation points of one zone, fewer where there are many zones, at least 4.

    Parameters
    ----------
    zones : int
        How many there are.

    Returns
    -------
    int

    Examples
    --------
    >>> [points_per_zone(zones) for zones in (6, 50, 500, 5000)]
    [80, 80, 8, 4]
    """
    return max(4, min(POINTS_PER_ZONE, MOST_POINTS // max(zones, 1)))


def constant_trend(places: Places) -> Floats:
    """Give the trend function of one unknown mean, shape (m, 1)."""
    return np.ones((len(places), 1))


def nearest_readings(samples: Samples, places: Places) -> Ints:
    """Choose the search neighbourhood of some places.

    Parameters
    ----------
    samples : Samples
        n readings.
    places : Places
        Close together, such as the cells of a block.

    Returns
    -------
    array of int
        All of them, or the :data:`MOST_READINGS` nearest to the middle of the places.
    """
    apart = np.hypot(*(samples.places.xy - places.xy.mean(axis=0)).T)
    return np.sort(nearest(apart, MOST_READINGS))
