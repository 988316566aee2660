"""What is thought of a ranch that was never read: every zone alike, and as unlike as ``[model]`` says."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.spatial.distance import cdist

from stressmap.core.arrays import Ints
from stressmap.geostat.change_of_support import averaging_points
from stressmap.geostat.covariance import MATERN32
from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.variance_model import valve_groups
from stressmap.geostat.zone_covariance import ZoneCovariance

POINTS = 12
"""Discretisation points of a zone: what is drawn anew needs no more."""


@dataclass(frozen=True)
class UnreadSurface:
    """Errors before any reading: of blocks, of valve zones, and a pattern (Matérn 3/2) within blocks.

    Parameters
    ----------
    block_bar, valve_bar, pattern_bar, tree_bar, error_bar : float
        Standard deviations [bar].
    range_m : float
        Of the pattern [m].
    """

    block_bar: float
    valve_bar: float
    pattern_bar: float
    tree_bar: float
    error_bar: float
    range_m: float

    @property
    def zone_sd_bar(self) -> float:
        """Standard deviation of a zone's mean, the pattern left out [bar]."""
        return math.hypot(self.block_bar, self.valve_bar)

    def predict(self, places: Places) -> Estimate:
        """Give 0 with the full variance at each place."""
        variance = self.block_bar**2 + self.valve_bar**2 + self.pattern_bar**2
        return Estimate(np.zeros(len(places)), np.full(len(places), variance))

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of the errors of zone means of one block.

        Parameters
        ----------
        places : Places
            Cells of one block.
        zone : array of int
            Zone of each, -1 for none.
        count : int
            Number of zones.

        Returns
        -------
        ZoneCovariance
        """
        at, mean = averaging_points(places, zone, count, POINTS)
        groups = valve_groups(at.block, at.valve)
        pattern = MATERN32(cdist(at.xy, at.xy), self.range_m)
        same_valve = np.equal.outer(groups, groups)
        each = self.block_bar**2 + self.valve_bar**2 * same_valve + self.pattern_bar**2 * pattern
        return ZoneCovariance(np.asarray(mean @ each @ mean.T), self.tree_bar**2 + self.error_bar**2)
