"""What the files of a ranch hold, in one schema, one CRS and one time zone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from stressmap.core.row_counts import RowCounts
from stressmap.core.settings import Settings
from stressmap.intake.covariate import Covariate
from stressmap.intake.record_inputs import RecordRows
from stressmap.intake.road_points import RoadPoint


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
    record : RecordRows or None
        What of all this came from the ranch's record; None where there is none.
    troubles : mapping of str to str
        Valves at which trouble was reported and no later set without one, and what it was.
    roads : MultiLineString or None
        Lines that one drives or walks, in the working CRS.
    road_points : tuple of RoadPoint
        Gates and named places in the file of roads.
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
    record: RecordRows | None = None
    troubles: Mapping[str, str] = field(default_factory=dict)
    roads: Any = None
    road_points: tuple[RoadPoint, ...] = ()

    @property
    def crs(self) -> CRS:
        """The working CRS."""
        return CRS(self.blocks.crs)
