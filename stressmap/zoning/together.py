"""How the errors of valve zones hang together: zones of one block are often wrong in the same direction."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from stressmap.field.surface import Surface
from stressmap.zoning.cells import Lattice, cells_of_block
from stressmap.zoning.mapping import places_of
from stressmap.zoning.samples import CovariateAt, crop_codes


def valve_correlations(
    surface: Surface,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    grid: Lattice,
    *,
    covariate: CovariateAt | None = None,
) -> NDArray[np.float64]:
    """Correlate the errors of the means of valve zones, block by block.

    Parameters
    ----------
    surface : Surface
        A fitted method.
    blocks, valves : GeoDataFrame
        In the working CRS; each valve zone within its block.
    grid : Lattice
        The ranch's lattice.
    covariate : callable, optional
        Gives a covariate at places.

    Returns
    -------
    array of float, shape (k, k)
        In the order of ``valves``; between blocks 0, for what the blocks of a crop share is left out.
    """
    crops = crop_codes(blocks)
    found = np.eye(len(valves))
    for position, crop in enumerate(blocks["crop"]):
        cells = cells_of_block(blocks, valves, grid, position)
        places = places_of(cells, position, crops[crop], covariate).take(np.flatnonzero(cells.inside))
        members = np.unique(places.valve[places.valve >= 0])
        if len(members) < 2:
            continue
        zone = np.where(places.valve >= 0, np.searchsorted(members, places.valve), -1).astype(np.int64)
        errors = surface.joint(places, zone, len(members)).covariance
        spread = np.sqrt(np.clip(np.diag(errors), 1e-12, None))
        together = np.clip(errors / np.outer(spread, spread), -1.0, 1.0)
        np.fill_diagonal(together, 1.0)
        found[np.ix_(members, members)] = together
    return found
