"""How large the lattice of a ranch may be: cells in its blocks, and cells in the rectangle around them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from stressmap.core.errors import Problem, SettingsError

MOST_CELLS = 60_000_000
"""Cells the blocks may hold before the cell size is taken for a typing error."""
MOST_EXTENT = 100_000_000
"""Cells the rectangle around all blocks may hold: a run with a raster of that size stays under 2 GB."""


def refuse_too_many_cells(blocks: gpd.GeoDataFrame, cell_m: float, where: str = "ranch.toml") -> None:
    """Refuse a lattice that no memory should be asked for.

    Parameters
    ----------
    blocks : GeoDataFrame
        In the working CRS.
    cell_m : float
        Side of a cell [m].
    where : str
        The ``ranch.toml``, for messages.

    Raises
    ------
    SettingsError
        If the blocks would hold over :data:`MOST_CELLS` cells, or the rectangle around them over
        :data:`MOST_EXTENT`.
    """
    cells = float(blocks.geometry.area.sum()) / cell_m**2
    if cells > MOST_CELLS:
        what = f"cell_m = {cell_m:g} would make {cells:.3g} cells"
        remedy = f"Use {_enough(cells / MOST_CELLS, cell_m):g} m or more"
        raise SettingsError(Problem(where, what, remedy, column="map.cell_m"))
    west, south, east, north = blocks.total_bounds
    extent = max(east - west, cell_m) * max(north - south, cell_m) / cell_m**2
    if extent > MOST_EXTENT:
        what = (
            f"the blocks lie {(east - west) / 1e3:.0f} km by {(north - south) / 1e3:.0f} km apart: at "
            f"cell_m = {cell_m:g} the map around them would hold {extent:.3g} cells, "
            f"and {MOST_EXTENT:.3g} is the most"
        )
        remedy = (
            f"Make a ranch.toml for each group of blocks, or use {_enough(extent / MOST_EXTENT, cell_m):g} m "
            "or more"
        )
        raise SettingsError(Problem(where, what, remedy, column="map.cell_m"))


def _enough(times: float, cell_m: float) -> float:
    """Give the side of a cell, in tenths of a metre, at which so many times fewer are made."""
    return float(np.ceil(times**0.5 * cell_m * 10) / 10)
