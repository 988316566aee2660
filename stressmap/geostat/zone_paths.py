"""Courses of zone means over days, past and to come, and the interface of surfaces that give them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.samples import Estimate, Places


@dataclass(frozen=True)
class ZonePaths:
    """Means of zones on some days, with the covariance of their errors between days.

    Parameters
    ----------
    mean : array, shape (H, Z)
        The figure of the readings, on each day, NaN for a zone without a cell [bar].
    covariance : array, shape (H, H, Z)
        Of the errors of one zone's means between days; the level of the ranch, which wanders, included
        [bar²].
    slope : Estimate
        How much each zone's figure rises with its dryness, shape (Z,) [bar/mm]; where no log took part,
        what is believed beforehand.
    """

    mean: Floats
    covariance: Floats
    slope: Estimate

    def sd(self) -> Floats:
        """Return the standard deviation of each mean, shape (H, Z) [bar]."""
        variance = np.diagonal(self.covariance, axis1=0, axis2=1).T
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))


class PathSurface(Protocol):
    """A surface that tells the courses of zones."""

    def zone_paths(self, places: Places, zone: Ints, count: int, day: Floats, dryness: Floats) -> ZonePaths:
        """Estimate zone means on any days.

        Parameters
        ----------
        places : Places
            Cell centres, m of them.
        zone : array of int, shape (m,)
            Zone of each cell, -1 for none.
        count : int
            Number of zones Z.
        day : array, shape (H,)
            Days, on the scale of the visits' days, in any order: ordinals of the calendar.
        dryness : array, shape (H, Z)
            Dryness felt in each zone on each day; does not matter where no log took part in the fit [mm].

        Returns
        -------
        ZonePaths
        """
