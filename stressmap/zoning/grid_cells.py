"""The raster grid of a ranch: the cells of each block, and the valve zone of each cell.

All blocks share one lattice whose lines are multiples of the cell size, so that their cells fit together in
one raster. A block keeps every cell it touches, so that its zones can be cut exactly to its outline; the
cells whose centre lies inside are what is mapped and averaged.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import rasterize

from stressmap.zoning.lattice_limits import refuse_too_many_cells

ONE_AT_A_TIME = threading.Lock()
"""Rasterio silences warnings while it works, for all threads: two at once undo each other's silence."""


@dataclass(frozen=True)
class Lattice:
    """The lattice of a ranch.

    Parameters
    ----------
    west, north : float
        Outer corner of the first cell [m].
    cell_m : float
        Side of a cell [m].
    shape : tuple of int
        Rows and columns.
    """

    west: float
    north: float
    cell_m: float
    shape: tuple[int, int]


@dataclass(frozen=True)
class BlockCells:
    """The cells that one block touches, m of them.

    Parameters
    ----------
    row, col : array of int, shape (m,)
        Place in the ranch's lattice.
    xy : array of float, shape (m, 2)
        Centres, easting and northing [m].
    valve : array of int, shape (m,)
        Position in the ranch's valves, -1 for none.
    inside : array of bool, shape (m,)
        Whether the centre lies in the block.
    """

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    xy: NDArray[np.float64]
    valve: NDArray[np.int64]
    inside: NDArray[np.bool_]


def lattice(blocks: gpd.GeoDataFrame, cell_m: float, where: str = "ranch.toml") -> Lattice:
    """Make the lattice that covers all blocks.

    Parameters
    ----------
    blocks : GeoDataFrame
        In the working CRS.
    cell_m : float
        Side of a cell [m].
    where : str
        The ``ranch.toml``, for messages.

    Returns
    -------
    Lattice

    Raises
    ------
    SettingsError
        If it would hold too many cells; see :mod:`stressmap.zoning.lattice_limits`.
    """
    refuse_too_many_cells(blocks, cell_m, where)
    west, south, east, north = blocks.total_bounds
    left, top = np.floor(west / cell_m), np.ceil(north / cell_m)
    rows, cols = int(top - np.floor(south / cell_m)), int(np.ceil(east / cell_m) - left)
    return Lattice(float(left * cell_m), float(top * cell_m), cell_m, (max(rows, 1), max(cols, 1)))


def cells_of_block(
    blocks: gpd.GeoDataFrame, valves: gpd.GeoDataFrame, grid: Lattice, position: int
) -> BlockCells:
    """Give the cells of one block.

    Parameters
    ----------
    blocks, valves : GeoDataFrame
        In the working CRS, valves with their block.
    grid : Lattice
        From :func:`lattice`.
    position : int
        Of the block in ``blocks``.

    Returns
    -------
    BlockCells
        At least one cell, at least one of them inside.
    """
    mine = np.flatnonzero(valves["block"].to_numpy() == blocks["block"].iloc[position])
    shapes = valves.geometry.to_numpy()
    return cells_within(blocks.geometry.iloc[position], [(shapes[i], int(i) + 1) for i in mine], grid)


def cells_within(outline: Any, zones: list[tuple[Any, int]], grid: Lattice) -> BlockCells:
    """Give the cells of an outline.

    Parameters
    ----------
    outline : shapely geometry
        Of the block.
    zones : list of tuple of (shapely geometry, int)
        Its valve zones, each with its position among all, counted from one.
    grid : Lattice
        From :func:`lattice`.

    Returns
    -------
    BlockCells
        As :func:`cells_of_block`.
    """
    size = grid.cell_m
    west, south, east, north = outline.bounds
    left, top = int((west - grid.west) // size), int((grid.north - north) // size)
    cols = max(int(np.ceil((east - grid.west) / size)) - left, 1)
    rows = max(int(np.ceil((grid.north - south) / size)) - top, 1)
    frame = Affine(size, 0, grid.west + left * size, 0, -size, grid.north - top * size)
    touched = _burn([(outline, 1)], (rows, cols), frame, all_touched=True)
    inside = _burn([(outline, 1)], (rows, cols), frame)
    valve = _burn(zones, (rows, cols), frame)
    near = _burn(zones, (rows, cols), frame, all_touched=True)
    valve = np.where((valve == 0) & (inside == 0), near, valve)
    if not inside.any():
        point = outline.representative_point()
        place = int((frame.f - point.y) // size), int((point.x - frame.c) // size)
        inside[place] = touched[place] = 1
        valve[place] = near[place]
    row, col = np.nonzero(touched | inside)
    xy = np.column_stack([frame.c + (col + 0.5) * size, frame.f - (row + 0.5) * size])
    return BlockCells(
        row=row + top,
        col=col + left,
        xy=xy,
        valve=valve[row, col].astype(np.int64) - 1,
        inside=inside[row, col].astype(bool),
    )


def _burn(
    shapes: list[tuple[Any, int]], shape: tuple[int, int], frame: Affine, *, all_touched: bool = False
) -> NDArray[np.int32]:
    solid = [(s, v) for s, v in shapes if not shapely.is_empty(s)]
    if not solid:
        return np.zeros(shape, dtype=np.int32)
    with ONE_AT_A_TIME:
        burnt: NDArray[np.int32] = rasterize(
            solid, out_shape=shape, transform=frame, all_touched=all_touched, dtype="int32"
        )
    return burnt
