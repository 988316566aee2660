"""What every output is made from: one frozen bundle that the jobs fill and the writers only read."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.agronomy.crops import CropProfile
from stressmap.core.notes import Note
from stressmap.core.row_counts import RowCounts
from stressmap.core.settings import Ranch, RankBy
from stressmap.output.view.next_round import NextRound
from stressmap.output.view.trees_behind import trees_used

STRETCH = 1 << 18
"""Cells worked on at a time."""


@dataclass(frozen=True)
class Raster:
    """The mapped surface, cell by cell, in the working CRS.

    Parameters
    ----------
    crs : str
        Working CRS, ``"EPSG:32610"``.
    west, north : float
        Easting and northing of the outer corner of the first cell [m].
    cell_m : float
        Side of a cell [m].
    shape : tuple of int
        Rows and columns.
    row, col : array of int, shape (m,)
        Place of each of the m cells that lie in blocks, row 0 in the north.
    stress_bar, stress_se_bar : array of float, shape (m,)
        The mapped figure and its standard error [bar].
    """

    crs: str
    west: float
    north: float
    cell_m: float
    shape: tuple[int, int]
    row: NDArray[np.integer]
    col: NDArray[np.integer]
    stress_bar: NDArray[np.float32]
    stress_se_bar: NDArray[np.float32]

    def grid(self, values: NDArray[Any], empty: float) -> NDArray[Any]:
        """Lay one value a cell out in rows and columns.

        Parameters
        ----------
        values : array, shape (m,)
            One for each cell.
        empty : float
            Stands where there is no cell.

        Returns
        -------
        array, shape ``shape``
            Of the values' own type.
        """
        grid = np.full(self.shape, empty, dtype=values.dtype)
        places = grid.reshape(-1)
        for part in stretches(len(values)):
            places[self.row[part].astype(np.intp) * self.shape[1] + self.col[part]] = values[part]
        return grid


def stretches(cells: int) -> list[slice]:
    """Part many cells into stretches, so that figures in between stay small beside the surface itself.

    Parameters
    ----------
    cells : int
        How many there are.

    Returns
    -------
    list of slice

    Examples
    --------
    >>> stretches(300_000)
    [slice(0, 262144, None), slice(262144, 524288, None)]
    """
    return [slice(start, start + STRETCH) for start in range(0, cells, STRETCH)]


@dataclass(frozen=True)
class Content:
    """A finished run, before it becomes files.

    Parameters
    ----------
    ranch : Ranch
        ``[ranch]`` of the settings: name, time zone, units that people see, languages.
    visit : tuple of date
        First and last day.
    rank_by : str
        Which figure ``stress_bar`` is.
    edges_bar : dict
        For each crop on the ranch the three rising edges between the priorities [bar].
    method : str
        The mapping method that really ran.
    blocks, zones, valves, readings : GeoDataFrame
        In the working CRS, columns as ``core.schemas`` states; ``blocks`` also has ``readings``, the count of
        readings used in it. ``valves`` is in rank order.
    raster : Raster
        The surface.
    notes : tuple of Note
        What the run had to say, in plain sentences.
    look_again : GeoDataFrame, optional
        Places in the working CRS where one more reading would change most, in walking order: ``tree_id`` (the
        tree nearest to the point, if one is near), ``block``, ``valve`` (any of them may be missing), point.
    previous_visit : date, optional
        Since when ``change_bar`` and ``change_se_bar``, if ``valves`` has them, are counted.
    water_plan : DataFrame, optional
        A row per valve zone: ``valve``, ``hours``, ``mm``, ``m3``; zero hours where it gets none.
    timetable : DataFrame, optional
        A row per set: ``valve``, ``start``, ``end``, in the ranch's zone.
    water_said : tuple of str
        The plan in short, in the ranch's first language; empty without one.
    basemap : str, optional
        Address of map tiles with ``{z}``, ``{x}`` and ``{y}``, fetched only where there is signal.
    profiles : mapping of str to CropProfile
        Of the crops on the ranch: what each is called, and its cautions.
    vpd_kpa, usual_vpd_kpa : float, optional
        The middle vapour pressure deficit that readings were carried to, and the usual one of the date [kPa];
        None where it is not known: heat is then not taken out of the figures.
    log_ends : date, optional
        Last day of the irrigation log; None without one, or if it is empty.
    log_unread : frozenset of str
        Valves that may have run, by rows of the log that could not be used, since their last set that could.
    files : tuple of RowCounts
        What became of the rows and columns of every input file.
    gauge_unit : str
        Unit that most readings were written in.
    risers : mapping of str to Point
        Where the valve file has the riser of a valve, in the working CRS.
    roads : LineString or MultiLineString, optional
        Lines that one drives or walks, in the working CRS.
    next_round : NextRound, optional
        A measuring round planned from this visit, which the map shows in place of ``look_again``.
    season_day : date, optional
        From which the columns of ``valves`` that say when water is due count; None without a season.
    """

    ranch: Ranch
    visit: tuple[dt.date, dt.date]
    rank_by: RankBy
    edges_bar: dict[str, tuple[float, float, float]]
    method: str
    blocks: gpd.GeoDataFrame
    zones: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    readings: gpd.GeoDataFrame
    raster: Raster
    notes: tuple[Note, ...]
    look_again: gpd.GeoDataFrame | None = None
    previous_visit: dt.date | None = None
    water_plan: pd.DataFrame | None = None
    timetable: pd.DataFrame | None = None
    water_said: tuple[str, ...] = ()
    basemap: str | None = None
    profiles: Mapping[str, CropProfile] = field(default_factory=dict)
    vpd_kpa: float | None = None
    usual_vpd_kpa: float | None = None
    log_ends: dt.date | None = None
    log_unread: frozenset[str] = frozenset()
    files: tuple[RowCounts, ...] = ()
    gauge_unit: str = "bar"
    risers: Mapping[str, Any] = field(default_factory=dict)
    roads: Any = None
    season_day: dt.date | None = None
    next_round: NextRound | None = None

    @cached_property
    def trees(self) -> dict[str, dict[str, int]]:
        """How many trees stand behind the figures of each ``"valve"`` and each ``"block"``."""
        return {by: trees_used(self.readings, by) for by in ("valve", "block")}
