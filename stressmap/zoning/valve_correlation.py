"""Correlation of the prediction errors of valve-zone means, block by block."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from stressmap.core.parallel import each
from stressmap.geostat.surface import Surface
from stressmap.zoning.mapping import RanchLayout


def valve_correlations(
    surface: Surface, ground: RanchLayout, *, jobs: int = 1, step: Callable[[], None] = lambda: None
) -> NDArray[np.float64]:
    """Correlate the errors of the means of valve zones, block by block.

    Parameters
    ----------
    surface : Surface
        A fitted method.
    ground : RanchLayout
        The ranch, of k valve zones.
    jobs : int
        Blocks worked on at once.
    step : callable
        Called as each block is done.

    Returns
    -------
    array of float, shape (k, k)
        In the order of the valves; between blocks 0, for what the blocks of a crop share is left out.
    """

    def work(block: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        touched, places_touched = ground.cells(block)
        places = places_touched.take(np.flatnonzero(touched.inside))
        members = np.unique(places.valve[places.valve >= 0])
        zone = np.where(places.valve >= 0, np.searchsorted(members, places.valve), -1).astype(np.int64)
        if len(members) < 2:
            return members, np.eye(len(members))
        errors = surface.zone_covariance(places, zone, len(members)).covariance
        spread = np.sqrt(np.clip(np.diag(errors), 1e-12, None))
        correlation = np.clip(errors / np.outer(spread, spread), -1.0, 1.0)
        np.fill_diagonal(correlation, 1.0)
        return members, correlation

    found = np.eye(len(ground.valves))
    for members, correlation in each(work, range(len(ground.blocks)), jobs=jobs, step=step):
        found[np.ix_(members, members)] = correlation
    return found
