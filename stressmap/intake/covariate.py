"""A raster that may help to tell how stress lies: soil, canopy, elevation."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pyproj import CRS, Transformer

from stressmap.errors import DataError, Problem

MOST_PIXELS = 200_000_000
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
        col = np.floor(self.inverse.a * x + self.inverse.b * y + self.inverse.c).astype(np.int64)
        row = np.floor(self.inverse.d * x + self.inverse.e * y + self.inverse.f).astype(np.int64)
        rows, cols = self.band.shape
        inside = (row >= 0) & (row < rows) & (col >= 0) & (col < cols)
        value = np.full(len(xy), np.nan)
        value[inside] = self.band[row[inside], col[inside]]
        return value


def read_covariate(path: Path, crs: CRS) -> Covariate:
    """Read a raster that GDAL opens.

    Parameters
    ----------
    path : Path
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

    where = str(path)
    if not path.exists():
        raise DataError(Problem(where, "there is no such file", "Correct the path"))
    try:
        with rasterio.open(path) as opened:
            if opened.crs is None:
                what = "it has no coordinate reference system (CRS)"
                raise DataError(Problem(where, what, "Export it again with its CRS"))
            if opened.width * opened.height > MOST_PIXELS:
                what = f"it has {opened.width * opened.height:,} pixels; at most {MOST_PIXELS:,} are read"
                raise DataError(Problem(where, what, "Cut it to the ranch, or make its pixels larger"))
            band = opened.read(1, masked=True).astype(np.float32).filled(np.nan)
            transformer = Transformer.from_crs(crs, CRS.from_wkt(opened.crs.to_wkt()), always_xy=True)
            return Covariate(band, ~opened.transform, transformer)
    except rasterio.errors.RasterioError as error:
        what = f"it cannot be read as a raster ({str(error).splitlines()[0]})"
        raise DataError(Problem(where, what, "Export it again as GeoTIFF")) from None
