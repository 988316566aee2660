"""The tables of a job as they leave the program, by name."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.core import schemas
from stressmap.output.view.content import Content

if TYPE_CHECKING:
    from stressmap.water.value_of_water import WaterValueCurve
    from stressmap.water.water_plan import Advice

READING_COLUMNS = schemas.columns_of(schemas.LEAVING_READINGS)
"""Columns of the readings table that leaves the program."""

SCHEMA_OF = {
    "blocks": schemas.MAPPED_BLOCKS,
    "valves": schemas.RANKED_VALVES,
    "zones": schemas.PRIORITY_ZONES,
    "readings": schemas.LEAVING_READINGS,
    "look_again": schemas.LOOK_AGAIN,
    "water_plan": schemas.WATER_PLAN,
    "timetable": schemas.TIMETABLE,
    "water_curve": schemas.WATER_CURVE,
}
"""What each table is held against as it leaves."""


def leaving_tables(
    content: Content | None, advice: Advice | None = None, curve: WaterValueCurve | None = None
) -> dict[str, pd.DataFrame]:
    """Give every table that a job made, as it leaves.

    Parameters
    ----------
    content : Content or None
        A finished run.
    advice : Advice, optional
        A water plan.
    curve : WaterValueCurve, optional
        Relief against water.

    Returns
    -------
    dict of str to DataFrame
        ``readings``, ``valves``, ``zones``, ``blocks``; ``look_again`` where places were chosen;
        ``water_plan`` and ``timetable`` with a plan, ``water_curve`` with a curve.
    """
    tables: dict[str, pd.DataFrame] = {}
    if content is not None:
        tables |= {"blocks": content.blocks, "valves": content.valves, "zones": content.zones}
        tables["readings"] = readings_table(content)
        if content.look_again is not None:
            tables["look_again"] = look_again_table(content.look_again)
    if advice is not None:
        from stressmap.water.water_plan import plan_table, timetable_table  # slow to load; few ranches plan

        tables |= {"water_plan": plan_table(advice), "timetable": timetable_table(advice)}
    if curve is not None:
        tables["water_curve"] = curve_table(curve)
    return {name: schemas.hold(table, SCHEMA_OF[name]) for name, table in tables.items()}


def readings_table(content: Content) -> gpd.GeoDataFrame:
    """Give the readings as they leave: every input row, places in degrees as they were used.

    Parameters
    ----------
    content : Content
        A finished run.

    Returns
    -------
    GeoDataFrame
        With the columns of :data:`READING_COLUMNS` and ``geometry``.
    """
    table = content.readings.copy()
    degrees = table.geometry.to_crs("EPSG:4326")
    placed = ~(degrees.isna() | degrees.is_empty)
    table.loc[placed, "lon"] = degrees[placed].x
    table.loc[placed, "lat"] = degrees[placed].y
    return gpd.GeoDataFrame(table[[*READING_COLUMNS, "geometry"]], crs=table.crs)


def look_again_table(places: gpd.GeoDataFrame) -> pd.DataFrame:
    """Give the places to measure again with their degrees, in walking order.

    Parameters
    ----------
    places : GeoDataFrame
        From :func:`stressmap.zoning.value_of_information.look_again`.

    Returns
    -------
    DataFrame
        ``order``, ``block``, ``valve``, ``tree_id``, ``lon``, ``lat``, ``gain_bar_ha``, ``stress_bar``,
        ``stress_se_bar``.
    """
    degrees = places.geometry.to_crs("EPSG:4326")
    table = pd.DataFrame(places.drop(columns="geometry"))
    table.insert(4, "lon", degrees.x)
    table.insert(5, "lat", degrees.y)
    return table


def curve_table(curve: WaterValueCurve) -> pd.DataFrame:
    """Give the curve as a table.

    Parameters
    ----------
    curve : WaterValueCurve
        Relief against water.

    Returns
    -------
    DataFrame
        ``m3``, ``share`` (of the bar-days that water could relieve, 0 to 1), ``bar_days_ha``, ``valves``,
        ``share_per_ml`` (what one more megalitre buys), ``buys_little`` (true from the point where that is
        little).
    """
    return pd.DataFrame(
        {
            "m3": [p.water_m3 for p in curve.points],
            "share": [p.share for p in curve.points],
            "bar_days_ha": [p.bar_days_ha for p in curve.points],
            "valves": [p.served for p in curve.points],
            "share_per_ml": [p.per_ml for p in curve.points],
            "buys_little": np.arange(len(curve.points)) >= curve.knee,
        }
    )
