"""How large the lattice of a ranch may be: cells in its blocks, and cells in the rectangle around them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from stressmap.core.errors import Problem, SettingsError
from stressmap.core.machine_memory import most_that_fit

BYTES_A_CELL = 130
"""A run takes so much more memory with every cell of its blocks: 66 to 127 were measured."""
LEAST_CELLS = 10_000_000
"""Cells the blocks may hold on every machine; on none more than the rectangle."""
MOST_EXTENT = 100_000_000
"""Cells the rectangle around all blocks may hold: a run with a raster of that size stays under 2 GB."""


def most_cells(memory: int | None = None) -> int:
    """Tell how many cells the blocks may hold.

    Parameters
    ----------
    memory : int, optional
        Bytes there are; by default the machine's.

    Returns
    -------
    int

    Examples
    --------
    >>> most_cells(1_000_000_000), most_cells(16_000_000_000), most_cells(64_000_000_000)
    (10000000, 61000000, 100000000)
    """
    return min(MOST_EXTENT, max(LEAST_CELLS, most_that_fit(BYTES_A_CELL, memory)))


def refuse_too_many_cells(
    blocks: gpd.GeoDataFrame, cell_m: float, where: str = "ranch.toml", *, memory: int | None = None
) -> None:
    """Refuse a lattice that no memory should be asked for.

    Parameters
    ----------
    blocks : GeoDataFrame
        In the working CRS.
    cell_m : float
        Side of a cell [m].
    where : str
        The ``ranch.toml``, for messages.
    memory : int, optional
        Bytes there are; by default the machine's.

    Raises
    ------
    SettingsError
        If the blocks would hold over :func:`most_cells` cells, or the rectangle around them over
        :data:`MOST_EXTENT`.
    """
    cells = float(blocks.geometry.area.sum()) / cell_m**2
    most = most_cells(memory)
    if cells > most:
        what = (
            f"cell_m = {cell_m:g} would make {_millions(cells)} cells in the blocks, "
            f"and at most {_millions(most)} are mapped on this machine"
        )
        remedy = f"Use {_enough(cells / most, cell_m):g} m or more"
        raise SettingsError(Problem(where, what, remedy, column="map.cell_m"))
    west, south, east, north = blocks.total_bounds
    extent = max(east - west, cell_m) * max(north - south, cell_m) / cell_m**2
    if extent > MOST_EXTENT:
        what = (
            f"the blocks lie {(east - west) / 1e3:.0f} km by {(north - south) / 1e3:.0f} km apart: at "
            f"cell_m = {cell_m:g} the map around them would hold {_millions(extent)} cells, "
            f"and at most {_millions(MOST_EXTENT)} are mapped"
        )
        remedy = (
            f"Make a ranch.toml for each group of blocks, or use {_enough(extent / MOST_EXTENT, cell_m):g} m "
            "or more"
        )
        raise SettingsError(Problem(where, what, remedy, column="map.cell_m"))


def _enough(times: float, cell_m: float) -> float:
    """Give the side of a cell, in tenths of a metre, at which so many times fewer are made."""
    return float(np.ceil(times**0.5 * cell_m * 10) / 10)


def _millions(cells: float) -> str:
    return f"{cells / 1e6:,.3g} million" if cells < 1e9 else f"{cells / 1e6:,.0f} million"
