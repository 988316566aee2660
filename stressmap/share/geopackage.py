"""Everything in one GeoPackage, for general GIS programs."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import pyogrio

from stressmap.share.tables import tidy

FIXED_DATE = "2000-01-01T00:00:00.000Z"
"""GeoPackage stamps its tables with the time of writing; a fixed stamp makes equal runs equal bytes."""


@contextmanager
def _fixed_stamp() -> Iterator[None]:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def write_geopackage(layers: dict[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write tables as the layers of one file.

    Parameters
    ----------
    layers : dict of GeoDataFrame
        By layer name, in the working CRS.
    path : Path
        File to write; it must not exist.
    """
    with _fixed_stamp():
        for name, table in layers.items():
            kind = "Point" if name == "readings" else "MultiPolygon"
            gpd.GeoDataFrame(tidy(table), crs=table.crs).to_file(
                path,
                layer=name,
                driver="GPKG",
                engine="pyogrio",
                geometry_type=kind,
                promote_to_multi=kind == "MultiPolygon",
            )
