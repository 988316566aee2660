"""Errors of zone means on a later day, by which departures seen today have faded and new ones have come."""

from __future__ import annotations

import numpy as np
from scipy.spatial.distance import cdist

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.change_of_support import averaging_points
from stressmap.geostat.memory_mixture import MemorySurface
from stressmap.geostat.samples import Places
from stressmap.geostat.surface import Surface
from stressmap.geostat.variance_model import valve_groups
from stressmap.geostat.zone_covariance import ZoneCovariance
from stressmap.rounds.first_surface import POINTS, UnreadSurface


def later_covariance(
    surface: Surface | UnreadSurface, zones: tuple[Places, Ints, int], days_ahead: float
) -> ZoneCovariance:
    """Give the covariance of the errors of zone means some days after the last visit.

    With k the share of differences that is still there after these days, an error is k times today's and, to
    the share 1 - k², drawn anew with the model's own covariance. Without memory k is not known: taken as one.

    Parameters
    ----------
    surface : Surface or UnreadSurface
        A fitted method.
    zones : tuple of Places, array of int, int
        Cells of one block, the zone of each (-1 for none), and how many zones.
    days_ahead : float
        After the last visit.

    Returns
    -------
    ZoneCovariance
    """
    today = surface.zone_covariance(*zones)
    if days_ahead <= 0 or not isinstance(surface, MemorySurface):
        return today
    kept = float(surface.memory.found.best(np.array([days_ahead]))[0])
    fresh = (1 - kept**2) * _drawn_anew(surface, *zones)
    return ZoneCovariance(kept**2 * today.covariance + fresh, today.noise)


def _drawn_anew(surface: MemorySurface, places: Places, zone: Ints, count: int) -> Floats:
    """Give the model's covariance of the means of some zones of one block."""
    memory = surface.memory
    p = memory.fit.best
    at, mean = averaging_points(places, zone, count, POINTS)
    groups = valve_groups(at.block, at.valve)
    pattern = memory.nodes.correlation(cdist(at.xy, at.xy), p.range_m)
    each = p.block + p.valve * np.equal.outer(groups, groups) + p.pattern * pattern
    return np.asarray(mean @ each @ mean.T)
