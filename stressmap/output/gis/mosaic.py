"""``district.tif``: the surfaces of many ranches in one cloud-optimised GeoTIFF, written window by window.

Ranches lie on one lattice whose lines are whole multiples of the cell, as every ranch's own do
(:mod:`stressmap.zoning.grid_cells`): a ranch in the mosaic's CRS with its cell is copied cell by cell, so
that its values are those of its own ``stress.tif``. Another is resampled, each cell taking the nearest of the
ranch's. What lies between ranches takes no room on the disk, but a grid has an end: of ranches far apart no
mosaic is made.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from rasterio.enums import Resampling
from rasterio.io import DatasetReader
from rasterio.shutil import copy as copy_raster
from rasterio.vrt import WarpedVRT
from rasterio.warp import transform_bounds
from rasterio.windows import Window

from stressmap.core.notes import Noted, NoteList
from stressmap.output.gis.raster import BANDS, describe_bands

MOST_CELLS = 1_000_000_000
"""The largest grid, cells between ranches included."""
TILE, STRIP = 256, 1024
"""Sides of a tile of the file, and of what is held in memory at a time [cells]."""
CACHE_MB = 64
_SAME = 1e-6
"""Grid lines closer than this part of a cell are the same."""


@dataclass(frozen=True)
class MosaicGrid:
    """The lattice of a mosaic.

    Parameters
    ----------
    crs : str
        Of most ranches.
    cell_m : float
        Side of a cell, that of most ranches [m].
    west, north : float
        Outer corner of the first cell [m].
    shape : tuple of int
        Rows and columns.
    """

    crs: str
    cell_m: float
    west: float
    north: float
    shape: tuple[int, int]

    @property
    def transform(self) -> Affine:
        """From columns and rows to eastings and northings."""
        return Affine(self.cell_m, 0.0, self.west, 0.0, -self.cell_m, self.north)


def mosaic_grid(rasters: Sequence[Path]) -> MosaicGrid:
    """Lay one lattice over the surfaces of several ranches.

    Parameters
    ----------
    rasters : sequence of Path
        ``stress.tif`` of each, at least one.

    Returns
    -------
    MosaicGrid
        In the CRS and with the cell of most of them, the first listed where as many have another.
    """
    with ExitStack() as stack:
        opened = [stack.enter_context(rasterio.open(path)) for path in rasters]
        crs = Counter(one.crs.to_string() for one in opened).most_common(1)[0][0]
        alike = [one for one in opened if one.crs.to_string() == crs]
        cell = Counter(float(one.res[0]) for one in alike).most_common(1)[0][0]
        boxes = np.array([transform_bounds(one.crs, crs, *one.bounds) for one in opened])
    west, south = np.floor(boxes[:, :2].min(axis=0) / cell + _SAME)
    east, north = np.ceil(boxes[:, 2:].max(axis=0) / cell - _SAME)
    return MosaicGrid(
        crs, cell, float(west * cell), float(north * cell), (int(north - south), int(east - west))
    )


def write_mosaic(rasters: Sequence[Path], path: Path, names: Sequence[str]) -> Noted[bool]:
    """Write the mosaic.

    Parameters
    ----------
    rasters : sequence of Path
        ``stress.tif`` of each ranch; where two have a figure for one cell, the first listed counts.
    path : Path
        File to write: bands and units as in ``stress.tif``, NaN between blocks, tiled, with overviews.
    names : sequence of str
        What the ranches are called, for notes.

    Returns
    -------
    Noted of bool
        Whether there is one. Without ranches, and where they lie so far apart that the grid would have over
        :data:`MOST_CELLS` cells, there is none; the notes say which ranches were resampled.
    """
    notes = NoteList()
    if not rasters:
        return notes.beside(value=False)
    grid = mosaic_grid(rasters)
    cells = grid.shape[0] * grid.shape[1]
    if cells > MOST_CELLS:
        notes.say("district_far_apart", "caution", million=round(cells / 1e6), most=round(MOST_CELLS / 1e6))
        return notes.beside(value=False)
    plain = path.with_suffix(".plain.tif")
    options = {"GDAL_NUM_THREADS": "1", "GDAL_CACHEMAX": CACHE_MB, "COG_TMP_COMPRESSION": "NONE"}
    try:
        with rasterio.Env(**options):
            with rasterio.open(plain, "w+", **_profile(grid)) as whole:
                describe_bands(whole)
                moved = [
                    name for file, name in zip(rasters, names, strict=True) if not _laid_in(file, whole, grid)
                ]
            copy_raster(
                plain, path, driver="COG", compress="DEFLATE", predictor="YES", blocksize=TILE,
                overview_resampling="average", sparse_ok="YES", bigtiff="IF_SAFER",
            )  # fmt: skip
    finally:
        plain.unlink(missing_ok=True)
    if moved:
        notes.say("district_resampled", ranches=moved, crs=grid.crs)
    return notes.beside(value=True)


def _profile(grid: MosaicGrid) -> dict[str, object]:
    rows, cols = grid.shape
    return {
        "driver": "GTiff", "height": rows, "width": cols, "count": len(BANDS), "dtype": "float32",
        "crs": grid.crs, "transform": grid.transform, "nodata": float("nan"), "tiled": True,
        "blockxsize": TILE, "blockysize": TILE, "sparse_ok": True, "bigtiff": "IF_SAFER",
        "compress": "LZW", "interleave": "pixel",
    }  # fmt: skip


def _laid_in(file: Path, whole: rasterio.io.DatasetWriter, grid: MosaicGrid) -> bool:
    """Lay a ranch into the mosaic; False where its cells had to be moved."""
    with rasterio.open(file) as own:
        if _fits(own, grid):
            _copy(own, whole, grid)
            return True
        own_grid = _grid_around(own, grid)
        options = {
            "crs": grid.crs, "transform": own_grid.transform, "height": own_grid.shape[0],
            "width": own_grid.shape[1], "resampling": Resampling.nearest, "nodata": float("nan"),
        }  # fmt: skip
        with WarpedVRT(own, **options) as moved:
            _copy(moved, whole, grid)
        return False


def _fits(own: DatasetReader, grid: MosaicGrid) -> bool:
    """Tell whether the cells of a ranch are cells of the mosaic."""
    if own.crs.to_string() != grid.crs or not math.isclose(own.res[0], grid.cell_m):
        return False
    off = [(own.bounds.left - grid.west) / grid.cell_m, (grid.north - own.bounds.top) / grid.cell_m]
    return all(abs(one - round(one)) < _SAME * max(1.0, abs(one)) for one in off)


def _grid_around(own: DatasetReader, grid: MosaicGrid) -> MosaicGrid:
    """Cut the mosaic's lattice down to where a ranch is."""
    west, south, east, north = transform_bounds(own.crs, grid.crs, *own.bounds)
    cell = grid.cell_m
    left, top = math.floor((west - grid.west) / cell), math.floor((grid.north - north) / cell)
    right, bottom = math.ceil((east - grid.west) / cell), math.ceil((grid.north - south) / cell)
    left, top = max(left, 0), max(top, 0)
    rows, cols = min(bottom, grid.shape[0]) - top, min(right, grid.shape[1]) - left
    return MosaicGrid(grid.crs, cell, grid.west + left * cell, grid.north - top * cell, (rows, cols))


def _copy(own: DatasetReader, whole: rasterio.io.DatasetWriter, grid: MosaicGrid) -> None:
    """Copy the cells that have a figure, strip by strip, into those that have none yet."""
    left = round((own.bounds.left - grid.west) / grid.cell_m)
    top = round((grid.north - own.bounds.top) / grid.cell_m)
    for part in _windows(own.height, own.width):
        cells = own.read(window=part)
        if not np.isfinite(cells[0]).any():
            continue
        there = Window(part.col_off + left, part.row_off + top, part.width, part.height)
        before = whole.read(window=there)
        whole.write(np.where(np.isnan(before[:1]), cells, before), window=there)


def _windows(rows: int, cols: int) -> Iterator[Window]:
    for row in range(0, rows, STRIP):
        for col in range(0, cols, STRIP):
            yield Window(col, row, min(STRIP, cols - col), min(STRIP, rows - row))
