"""Courses of all valve zones over chosen days, block by block: no covariance of a whole ranch is held."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.parallel import cores, each
from stressmap.geostat.samples import Estimate
from stressmap.geostat.zone_paths import PathSurface
from stressmap.zoning.mapping import RanchLayout, zone_cells

Z_90 = 1.645


@dataclass(frozen=True)
class ZoneCourses:
    """Stress of Z valve zones on H days.

    Parameters
    ----------
    day : array of float, shape (H,)
        On the scale of the visits' days, in any order.
    mean, sd : array of float, shape (H, Z)
        [bar], NaN where nothing is known of a zone.
    slope : Estimate
        How much each zone's figure rises with its dryness, shape (Z,) [bar/mm].
    pairs : array of int, shape (P, 3)
        Zone and two positions among the days.
    pair_sd : array of float, shape (P,)
        Standard deviation of the difference between the two [bar].
    covariance : array of float, shape (K, K, Z), optional
        Of each zone's errors between the days for which it was asked [bar²].
    """

    day: Floats
    mean: Floats
    sd: Floats
    slope: Estimate
    pairs: Ints
    pair_sd: Floats
    covariance: Floats | None = None

    def difference(self) -> tuple[Floats, Floats]:
        """Give the first of each pair less the second, and its standard deviation, shape (P,) [bar]."""
        zone, first, second = self.pairs.T
        return self.mean[first, zone] - self.mean[second, zone], self.pair_sd


def zone_courses(
    surface: PathSurface,
    layout: RanchLayout,
    day: Floats,
    dryness: Floats,
    pairs: Ints,
    *,
    together: slice | None = None,
) -> ZoneCourses:
    """Work out the courses of all valve zones.

    Parameters
    ----------
    surface : PathSurface
        Fitted to the visits.
    layout : RanchLayout
        Blocks, valve zones and lattice.
    day : array of float, shape (H,)
        In any order.
    dryness : array of float, shape (H, Z)
        Felt in each zone [mm].
    pairs : array of int, shape (P, 3)
        Zone and two positions among the days, whose difference is wanted.
    together : slice, optional
        Positions of the days whose errors are wanted with their covariance.

    Returns
    -------
    ZoneCourses
    """
    count = len(layout.valves)
    mine = [layout.valves_of(block) for block in range(len(layout.blocks))]

    order = np.argsort(pairs[:, 0], kind="stable")
    ends = np.append(0, np.cumsum(np.bincount(pairs[:, 0], minlength=count)))
    mean, sd = (np.full((len(day), count), np.nan) for _ in range(2))
    slope, slope_var, pair_sd = np.full(count, np.nan), np.full(count, np.nan), np.full(len(pairs), np.nan)
    chosen = together or slice(0, 0)
    length = len(day[chosen])
    covariance = np.full((length, length, count), np.nan)

    def work(block: int) -> None:
        """Fill in one block's courses: their covariances, far larger, are let go with it."""
        own = mine[block]
        places, zone = zone_cells(layout, block, *layout.cells(block))
        paths = surface.zone_paths(places, zone, len(own), day, dryness[:, own])
        mean[:, own], sd[:, own] = paths.mean, paths.sd()
        slope[own], slope_var[own] = paths.slope.mean, paths.slope.variance
        covariance[:, :, own] = paths.covariance[chosen, chosen]
        for local, one in enumerate(own):
            asked = order[ends[one] : ends[one + 1]]
            pair_sd[asked] = _apart(paths.covariance[:, :, local], pairs[asked, 1:])

    each(work, range(len(mine)), jobs=cores())
    return ZoneCourses(day, mean, sd, Estimate(slope, slope_var), pairs, pair_sd, covariance)


def _apart(covariance: Floats, days: Ints) -> Floats:
    """Give the standard deviation of a zone's difference between two days, of each pair of days."""
    first, second = days.T
    own = covariance[first, first] + covariance[second, second]
    return np.asarray(np.sqrt(np.maximum(own - 2.0 * covariance[first, second], 0.0)))
