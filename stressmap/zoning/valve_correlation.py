"""Correlation of the prediction errors of valve-zone means, block by block."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from stressmap.core.arrays import Floats
from stressmap.core.parallel import each
from stressmap.geostat.surface import Surface
from stressmap.zoning.mapping import RanchLayout


@dataclass(frozen=True)
class ValveCorrelation:
    """Correlation of the errors of k valve zones' means.

    Parameters
    ----------
    valves : tuple of str
        Their names.
    matrix : sparse array, shape (k, k)
        Without entries between zones of different blocks, so that it does not grow with their square.
    """

    valves: tuple[str, ...]
    matrix: sparse.csr_array

    def covariance(self, valves: Sequence[str], se: Floats) -> sparse.csr_array:
        """Return the covariance of some of them.

        Parameters
        ----------
        valves : sequence of str
            n names.
        se : array, shape (n,)
            Standard errors of their means [bar].

        Returns
        -------
        sparse array, shape (n, n)
            [bar²].
        """
        place = {name: i for i, name in enumerate(self.valves)}
        at = [place[name] for name in valves]
        spread = sparse.diags_array(np.asarray(se, dtype=np.float64))
        return sparse.csr_array(spread @ self.matrix[at][:, at] @ spread)


def valve_correlations(
    surface: Surface, ground: RanchLayout, *, jobs: int = 1, step: Callable[[], None] = lambda: None
) -> sparse.csr_array:
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
    sparse array, shape (k, k)
        In the order of the valves; between blocks nothing, for what the blocks of a crop share is left out.
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

    found = each(work, range(len(ground.blocks)), jobs=jobs, step=step)
    bare = np.setdiff1d(np.arange(len(ground.valves)), np.concatenate([members for members, _ in found]))
    order = np.concatenate([*(members for members, _ in found), bare])
    ones = [sparse.eye_array(len(bare))] if len(bare) else []
    parts = [sparse.coo_array(matrix) for _, matrix in found if len(matrix)]
    together = sparse.block_diag([*parts, *ones], format="csr")
    back = np.argsort(order)
    return sparse.csr_array(together[back][:, back])
