"""The surface as a cloud-optimised GeoTIFF."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from rasterio.io import DatasetWriter
from rasterio.shutil import copy as copy_raster
from rasterio.transform import from_origin

from stressmap.output.view.content import Raster

BANDS = (("stress_bar", "stress, positive is drier"), ("stress_se_bar", "standard error of stress"))


def write_raster(raster: Raster, path: Path) -> None:
    """Write the stress surface and its standard error.

    Parameters
    ----------
    raster : Raster
        Cells inside blocks.
    path : Path
        File to write: two float32 bands in the working CRS, NaN outside blocks, tiled, with overviews.
    """
    rows, cols = raster.shape
    profile = {
        "driver": "MEM",
        "height": rows,
        "width": cols,
        "count": len(BANDS),
        "dtype": "float32",
        "crs": raster.crs,
        "transform": from_origin(raster.west, raster.north, raster.cell_m, raster.cell_m),
        "nodata": float("nan"),
    }
    # overviews are made in a file of their own that is read once and deleted, so packing it only takes time
    with (
        rasterio.Env(GDAL_NUM_THREADS="1", COG_TMP_COMPRESSION="NONE"),
        rasterio.open(path.stem, "w", **profile) as plain,
    ):
        for number, (name, _) in enumerate(BANDS, start=1):
            plain.write(raster.grid(getattr(raster, name), np.nan)[np.newaxis], [number])
        describe_bands(plain)
        copy_raster(
            plain,
            path,
            driver="COG",
            compress="DEFLATE",
            predictor="YES",
            blocksize=256,
            overview_resampling="average",
        )


def describe_bands(plain: DatasetWriter) -> None:
    """Say in a file what its bands are.

    Parameters
    ----------
    plain : DatasetWriter
        With the bands of :data:`BANDS`.
    """
    for number, (name, meaning) in enumerate(BANDS, start=1):
        plain.set_band_description(number, name)
        plain.set_band_unit(number, "bar")
        plain.update_tags(number, meaning=meaning)
