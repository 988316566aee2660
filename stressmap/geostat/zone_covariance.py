"""How the errors of several zones hang together, and what one more reading would take off them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import cho_factor, cho_solve

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.change_of_support import cells_by_zone, thin
from stressmap.geostat.samples import Places, Samples

MOST_CELLS = 80
"""Cells that stand for one zone."""
MOST_READINGS = 200
"""Readings taken into account around a block."""
Covariance = Callable[[Places, Places], Floats]


@dataclass(frozen=True)
class ZoneCovariance:
    """ZoneCovariance errors of zone means under the best-fitting parameters.

    Parameters
    ----------
    covariance : array of float, shape (k, k)
        Of the errors [bar²].
    noise : float
        Variance of a new tree's reading about the signal [bar²].
    """

    covariance: Floats
    noise: float

    def moved_by(self, spot: int) -> Floats:
        """Tell how far a reading at one zone would move the means of all.

        Parameters
        ----------
        spot : int
            The zone, usually of a single cell, where the reading is taken.

        Returns
        -------
        array of float, shape (k,)
            Standard deviation of the move [bar].
        """
        return np.asarray(
            np.abs(self.covariance[:, spot]) / np.sqrt(self.covariance[spot, spot] + self.noise)
        )

    def after(self, spot: int) -> ZoneCovariance:
        """Give the joint errors once a reading has been taken at one zone.

        Parameters
        ----------
        spot : int
            The zone.

        Returns
        -------
        ZoneCovariance
        """
        column = self.covariance[:, spot]
        return ZoneCovariance(
            self.covariance - np.outer(column, column) / (column[spot] + self.noise), self.noise
        )


def universal_kriging_covariance(
    samples: Samples,
    zones: tuple[Places, Ints, int],
    covariance: Covariance,
    noise: Floats,
    trend: Callable[[Places], Floats],
) -> ZoneCovariance:
    """Work out joint errors of zone means by universal kriging.

    Parameters
    ----------
    samples : Samples
        n readings.
    zones : tuple of Places, array of int, int
        Cells, m of them, the zone of each (-1 for none), and how many zones.
    covariance : callable
        Covariance of the signal between two sets of places [bar²].
    noise : array of float, shape (n, n)
        Covariance of what readings have beyond the signal [bar²].
    trend : callable
        Trend functions at places, shape (m, p).

    Returns
    -------
    ZoneCovariance
        ``noise`` is that of the first reading.
    """
    places, zone, count = zones
    few = [inside[thin(places.xy[inside], MOST_CELLS)] for _, inside in cells_by_zone(zone, count)]
    numbers = [number for number, _ in cells_by_zone(zone, count)]
    chosen = np.concatenate(few)
    mean = np.zeros((count, len(chosen)))
    mean[np.repeat(numbers, [len(f) for f in few]), np.arange(len(chosen))] = np.concatenate(
        [np.full(len(f), 1.0 / len(f)) for f in few]
    )
    cells = places.take(chosen)
    factor = cho_factor(covariance(samples.places, samples.places) + noise, lower=True)
    cross = covariance(samples.places, cells) @ mean.T
    basis = trend(samples.places)
    solved, weighed = cho_solve(factor, cross), cho_solve(factor, basis)
    left = mean @ trend(cells) - cross.T @ weighed
    doubt = left @ np.linalg.solve(basis.T @ weighed, left.T)
    error = mean @ covariance(cells, cells) @ mean.T - cross.T @ solved + doubt
    return ZoneCovariance(0.5 * (error + error.T), float(noise[0, 0]))


def constant_trend(places: Places) -> Floats:
    """Give the trend of one unknown level, shape (m, 1)."""
    return np.ones((len(places), 1))


def nearest_readings(samples: Samples, places: Places) -> Ints:
    """Choose the readings that bear on some places.

    Parameters
    ----------
    samples : Samples
        n readings.
    places : Places
        Around one spot, such as the cells of a block.

    Returns
    -------
    array of int
        All of them, or the :data:`MOST_READINGS` nearest to the middle of the places.
    """
    apart = np.hypot(*(samples.places.xy - places.xy.mean(axis=0)).T)
    return np.sort(np.argsort(apart, kind="stable")[:MOST_READINGS])
