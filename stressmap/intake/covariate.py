"""A raster that may help to tell how stress lies: soil, canopy, elevation."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

from stressmap.core.errors import DataError, Problem
from stressmap.core.sources import InputSource
from stressmap.core.text import first_line

MOST_BYTES = 1_000_000_000
MOST_PIXELS = 25_000_000
"""Pixels a covariate may have; a larger one is better thinned to the size of a map cell first."""


@dataclass(frozen=True)
class Covariate:
    """The first band of a raster, asked by place.

    Parameters
    ----------
    band : array of float, shape (rows, columns)
        NaN where it holds nothing.
    inverse : affine.Affine
        From the raster's coordinates to column and row.
    transformer : pyproj.Transformer
        From the working CRS to the raster's.
    """

    band: NDArray[np.float32]
    inverse: Any
    transformer: Any

    def at(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Look up the pixel that holds each place.

        Parameters
        ----------
        xy : array of float, shape (m, 2)
            Easting and northing in the working CRS [m].

        Returns
        -------
        array of float, shape (m,)
            NaN outside the raster.
        """
        x, y = self.transformer.transform(xy[:, 0], xy[:, 1])
        with np.errstate(invalid="ignore", over="ignore"):  # a place may lie beyond the reach of its CRS
            col = np.floor(self.inverse.a * x + self.inverse.b * y + self.inverse.c)
            row = np.floor(self.inverse.d * x + self.inverse.e * y + self.inverse.f)
        rows, cols = self.band.shape
        inside = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
        value = np.full(len(xy), np.nan)
        value[inside] = self.band[row[inside].astype(np.int64), col[inside].astype(np.int64)]
        return value


def read_covariate(given: Path | InputSource, crs: CRS) -> Covariate:
    """Read a raster that GDAL opens.

    Parameters
    ----------
    given : Path or InputSource
        A GeoTIFF, its first band is used.
    crs : pyproj.CRS
        Working CRS.

    Returns
    -------
    Covariate

    Raises
    ------
    DataError
        If it cannot be opened, has no CRS or is too large.
    """
    import rasterio  # slow to load, and few ranches name a raster

    source = InputSource.of(given)
    where = source.name
    source.head(most=MOST_BYTES)
    try:
        # other kinds that GDAL opens may send it to other files or to the network
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with source.on_disk() as path, rasterio.open(path, driver="GTiff") as opened:
                _refuse_useless(opened, where)
                band = opened.read(1, out_dtype=np.float32)
                band[opened.read_masks(1) == 0] = np.nan
                transformer = Transformer.from_crs(crs, CRS.from_wkt(opened.crs.to_wkt()), always_xy=True)
                return Covariate(band, ~opened.transform, transformer)
    except (rasterio.errors.RasterioError, CRSError, ProjError) as error:
        what = f"it cannot be read as a raster ({first_line(error)})"
        raise DataError(Problem(where, what, "Export it again as GeoTIFF")) from None


def _refuse_useless(opened: Any, where: str) -> None:
    pixels = opened.width * opened.height
    if opened.crs is None:
        what = "it has no coordinate reference system (CRS)"
        raise DataError(Problem(where, what, "Export it again with its CRS"))
    if opened.transform.is_degenerate or opened.transform.is_identity:
        raise DataError(Problem(where, "it does not say where it lies", "Export it again as GeoTIFF"))
    if pixels > MOST_PIXELS:
        what = f"it has {pixels:,} pixels; at most {MOST_PIXELS:,} are read"
        raise DataError(Problem(where, what, "Cut it to the ranch, or make its pixels larger"))
    if "complex" in opened.dtypes[0]:
        raise DataError(Problem(where, "its numbers are complex", "Give one number for each pixel"))
