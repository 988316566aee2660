"""What the files of a ranch hold, in one schema, one CRS and one time zone."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from stressmap.core.row_counts import RowCounts
from stressmap.core.settings import Settings
from stressmap.intake.covariate import Covariate


@dataclass(frozen=True)
class Inputs:
    """The tables that every room above works with.

    Parameters
    ----------
    source : Path
        The ``ranch.toml``.
    settings : Settings
        What it says.
    blocks, valves : GeoDataFrame
        As :mod:`stressmap.core.schemas` states them, in the working CRS.
    readings : DataFrame
        Every row of the readings, nothing judged yet.
    weather, irrigation : DataFrame or None
        None where the ranch has no such file.
    covariate : Covariate or None
        A raster that may help to tell how stress lies.
    counts : tuple of RowCounts
        What became of the rows of each file.
    """

    source: Path
    settings: Settings
    blocks: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    readings: pd.DataFrame
    weather: pd.DataFrame | None
    irrigation: pd.DataFrame | None
    covariate: Covariate | None
    counts: tuple[RowCounts, ...] = ()

    @property
    def crs(self) -> CRS:
        """The working CRS."""
        return CRS(self.blocks.crs)
