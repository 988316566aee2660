"""The tables that pass from this room to the rooms above.

Every column is there in every table, empty where the file had none. Rows are never dropped here.
"""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import pandas as pd
import pandera.pandas as pa

from stressmap.core.errors import DataError, Problem

TEXT: Any = pa.Column(object, nullable=True, coerce=True)


def _number(**checks: Any) -> Any:
    return pa.Column(float, nullable=True, coerce=True, **checks)


READINGS = pa.DataFrameSchema(
    {
        "row": pa.Column(int, unique=True),
        "tree_id": TEXT,
        "time": pa.Column(nullable=True),
        "lon": _number(),
        "lat": _number(),
        "pressure_bar": _number(),
        "recheck_bar": _number(),
        "bag_minutes": _number(),
        "block": TEXT,
        "valve": TEXT,
        "temp_c": _number(),
        "rh_pct": _number(),
        "gps_accuracy_m": _number(),
        "chamber": TEXT,
        "crew": TEXT,
        "leaf": TEXT,
        "note": TEXT,
    },
    strict=True,
    ordered=True,
)
"""A row per leaf. ``row`` as a spreadsheet shows it; ``time`` in the ranch's zone (NaT where unreadable);
``lon``/``lat`` WGS 84 degrees as written (NaN where none, may be swapped: quality mends); ``pressure_bar``
as written, sign kept; ``block``/``valve`` what the crew wrote."""

BLOCKS = pa.DataFrameSchema(
    {
        "block": pa.Column(object, unique=True, coerce=True),
        "crop": pa.Column(object, coerce=True),
        "variety": TEXT,
        "planted": _number(),
        "irrigation": TEXT,
        "weight": pa.Column(float, pa.Check.gt(0), coerce=True),
        "harvest": TEXT,
        "soil": TEXT,
        "geometry": pa.Column("geometry"),
    },
    strict=True,
    ordered=True,
)
"""A row per block: valid (Multi)Polygons in the working CRS; ``planted`` a year; ``weight`` default 1;
``harvest`` a day ``MM-DD``; ``crop`` lower-case."""

VALVES = pa.DataFrameSchema(
    {
        "valve": pa.Column(object, unique=True, coerce=True),
        "block": TEXT,
        "rate_mm_h": _number(),
        "flow_m3_h": _number(),
        "min_hours": _number(),
        "max_hours": _number(),
        "pump": TEXT,
        "geometry": pa.Column("geometry"),
    },
    strict=True,
    ordered=True,
)
"""A row per valve zone in the working CRS; ``block`` as the file says, empty where siting must find it."""

WEATHER = pa.DataFrameSchema(
    {
        "time": pa.Column(),
        "temp_c": _number(),
        "rh_pct": _number(),
        "wind_m_s": _number(),
        "solar_w_m2": _number(),
        "eto_mm": _number(),
    },
    strict=True,
    ordered=True,
)
"""A row per hour, sorted, times in the ranch's zone."""

IRRIGATION = pa.DataFrameSchema(
    {
        "valve": pa.Column(object, coerce=True),
        "start": pa.Column(),
        "end": pa.Column(),
        "mm": _number(),
    },
    strict=True,
    ordered=True,
)
"""A row per set that ran, times in the ranch's zone."""


def conform(table: pd.DataFrame, schema: Any, where: str) -> gpd.GeoDataFrame | pd.DataFrame:
    """Hold a table against its schema, adding the optional columns it lacks.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
        What a reader made.
    schema : pandera.DataFrameSchema
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
    filled = table.copy()
    for name, column in schema.columns.items():
        if name not in filled.columns:
            filled[name] = float("nan") if str(column.dtype) == "float64" else None
        elif str(column.dtype) == "object":
            # pandas makes NaN of None among text; every room above asks "is None"
            text = filled[name].astype(object)
            filled[name] = text.where(text.notna(), None)
    try:
        return schema.validate(filled[list(schema.columns)], lazy=False)
    except pa.errors.SchemaError as error:
        column = getattr(error.schema, "name", None)
        raise DataError(
            Problem(where, f"the table does not fit: {error}", "Correct that column", column=column)
        ) from None
