"""The tables that pass from this room to the rooms above.

Every column is there in every table, empty where the file had none. Rows are never dropped here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import geopandas as gpd
import pandas as pd

from stressmap.errors import DataError, Problem


@dataclass(frozen=True)
class Column:
    """What a column holds.

    Parameters
    ----------
    kind : str
        ``text`` is made str or None, ``number`` is made float; ``whole`` and ``shape`` must be so already;
        for the type of a ``time`` the reader answers.
    filled : bool
        Whether no cell may be empty.
    unique : bool
        Whether no value may stand twice.
    positive : bool
        Whether every number must be over zero.
    """

    kind: Literal["text", "number", "whole", "time", "shape"]
    filled: bool = False
    unique: bool = False
    positive: bool = False


Schema = Mapping[str, Column]
TEXT, NUMBER, NAME = Column("text"), Column("number"), Column("text", filled=True, unique=True)
MOMENT, SHAPE = Column("time", filled=True), Column("shape", filled=True)

READINGS: Schema = {
    "row": Column("whole", filled=True, unique=True),
    "tree_id": TEXT,
    "time": Column("time"),
    "lon": NUMBER,
    "lat": NUMBER,
    "pressure_bar": NUMBER,
    "recheck_bar": NUMBER,
    "bag_minutes": NUMBER,
    "block": TEXT,
    "valve": TEXT,
    "temp_c": NUMBER,
    "rh_pct": NUMBER,
    "gps_accuracy_m": NUMBER,
    "chamber": TEXT,
    "crew": TEXT,
    "leaf": TEXT,
    "note": TEXT,
}
"""A row per leaf. ``row`` as a spreadsheet shows it; ``time`` in the ranch's zone (NaT where unreadable);
``lon``/``lat`` WGS 84 degrees as written (NaN where none, may be swapped: quality mends); ``pressure_bar``
as written, sign kept; ``block``/``valve`` what the crew wrote."""

BLOCKS: Schema = {
    "block": NAME,
    "crop": Column("text", filled=True),
    "variety": TEXT,
    "planted": NUMBER,
    "irrigation": TEXT,
    "weight": Column("number", filled=True, positive=True),
    "harvest": TEXT,
    "soil": TEXT,
    "geometry": SHAPE,
}
"""A row per block: valid (Multi)Polygons in the working CRS; ``planted`` a year; ``weight`` default 1;
``harvest`` a day ``MM-DD``; ``crop`` lower-case."""

VALVES: Schema = {
    "valve": NAME,
    "block": TEXT,
    "rate_mm_h": NUMBER,
    "flow_m3_h": NUMBER,
    "min_hours": NUMBER,
    "max_hours": NUMBER,
    "pump": TEXT,
    "geometry": SHAPE,
}
"""A row per valve zone in the working CRS; ``block`` as the file says, empty where siting must find it."""

WEATHER: Schema = {
    "time": MOMENT,
    "temp_c": NUMBER,
    "rh_pct": NUMBER,
    "wind_m_s": NUMBER,
    "solar_w_m2": NUMBER,
    "eto_mm": NUMBER,
}
"""A row per hour, sorted, times in the ranch's zone."""

IRRIGATION: Schema = {
    "valve": Column("text", filled=True),
    "start": MOMENT,
    "end": MOMENT,
    "mm": NUMBER,
}
"""A row per set that ran, times in the ranch's zone."""


def conform(table: pd.DataFrame, schema: Schema, where: str) -> gpd.GeoDataFrame | pd.DataFrame:
    """Hold a table against its schema, adding the optional columns it lacks.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
        What a reader made.
    schema : Schema
        One of this module's.
    where : str
        File, for the message.

    Returns
    -------
    DataFrame or GeoDataFrame
        Columns in the schema's order.

    Raises
    ------
    DataError
        If a value breaks the schema.
    """
    held = table.copy()
    for name, column in schema.items():
        if name not in held.columns:
            held[name] = float("nan") if column.kind == "number" else None
        try:
            held[name] = _as_kind(held[name], column)
        except (TypeError, ValueError) as error:
            raise _broken(where, name, str(error)) from None
        fault = _fault(held[name], column)
        if fault:
            raise _broken(where, name, fault)
    return held[list(schema)]


def _as_kind(values: pd.Series, column: Column) -> pd.Series:
    if column.kind == "number":
        return values.astype(float)
    if column.kind == "text":
        # pandas makes NaN of None among text; every room above asks "is None"
        text = values.astype(object)
        return text.where(text.notna(), None)
    return values


def _fault(values: pd.Series, column: Column) -> str | None:
    """Say what is wrong with a column that has its kind; None if nothing is."""
    kinds = {"whole": "int64", "shape": "geometry"}
    if str(values.dtype) != kinds.get(column.kind, str(values.dtype)):
        return f"it holds {values.dtype}, not {kinds[column.kind]}"
    faults = {
        "a cell is empty": column.filled and values.isna().any(),
        "a value stands twice": column.unique and values.duplicated().any(),
        "a number is not over zero": column.positive and not (values > 0).all(),
    }
    return next((what for what, found in faults.items() if found), None)


def _broken(where: str, name: str, what: str) -> DataError:
    return DataError(Problem(where, f"the table does not fit: {what}", "Correct that column", column=name))
