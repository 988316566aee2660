"""The tables that pass between rooms or leave the program: their columns, each table with a version.

In the tables of inputs every column is there, empty where the file had none; no row is dropped. A version
rises by one whenever a column is added, taken away, renamed or comes to mean something else; ``run.json``
names them all.
"""

from __future__ import annotations

from typing import Any, TypeVar

import geopandas as gpd
import pandas as pd
import pandera.pandas as pa

from stressmap.core.errors import DataError, Problem

TEXT: Any = pa.Column(object, nullable=True, coerce=True)
ANY: Any = pa.Column(nullable=True)
GEOMETRY: Any = pa.Column("geometry", nullable=True)
FLAGGED: Any = pa.Column(bool)
PRIORITY: Any = pa.Column(int, pa.Check.isin([1, 2, 3, 4]))


def _number(**checks: Any) -> Any:
    return pa.Column(float, nullable=True, coerce=True, **checks)


def _are_numbers(column: pd.Series[Any]) -> bool:
    return pd.api.types.is_numeric_dtype(column) or bool(column.isna().all())


def _figure(*checks: Any) -> Any:
    """Give a column of figures that the program worked out: nothing is turned into a number on the way."""
    return pa.Column(checks=[pa.Check(_are_numbers, name="numbers"), *checks], nullable=True)


def _figures(*names: str) -> dict[str, Any]:
    return {name: _figure() for name in names}


def _share() -> Any:
    return _figure(pa.Check.in_range(0.0, 1.0))


def _any(*names: str) -> dict[str, Any]:
    return dict.fromkeys(names, ANY)


READINGS = pa.DataFrameSchema(
    {
        "row": pa.Column(int),
        "tree_id": TEXT,
        "time": pa.Column(nullable=True),
        **{name: _number() for name in ("lon", "lat", "pressure_bar", "recheck_bar")},
        "unit": TEXT,
        "bag_minutes": _number(),
        "block": TEXT,
        "valve": TEXT,
        **{name: _number() for name in ("temp_c", "rh_pct", "gps_accuracy_m")},
        **dict.fromkeys(("chamber", "crew", "leaf", "note"), TEXT),
        "file": pa.Column(object, coerce=True),
    },
    strict=True,
    ordered=True,
    unique=["file", "row"],
    name="readings",
    metadata={"version": 3},
)
"""A row per leaf. ``row`` of ``file`` as a spreadsheet shows it; ``time`` in the ranch's zone (NaT where
unreadable); ``lon``/``lat`` WGS 84 degrees as written (NaN where none, may be swapped: quality mends);
``pressure_bar`` as written, sign kept, and the ``unit`` it was written in; ``block``/``valve`` what the crew
wrote."""

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
        "row_spacing_m": _number(),
        "tree_spacing_m": _number(),
        "row_bearing": _number(),
        "wetted_share": _number(),
        "geometry": pa.Column("geometry"),
    },
    strict=True,
    ordered=True,
    name="blocks",
    metadata={"version": 3},
)
"""A row per block: valid (Multi)Polygons in the working CRS; ``planted`` a year; ``weight`` default 1;
``harvest`` a day ``MM-DD``; ``crop`` lower-case; ``row_bearing`` in degrees from north, clockwise;
``wetted_share`` of the ground, over 0 to 1."""

VALVES = pa.DataFrameSchema(
    {
        "valve": pa.Column(object, unique=True, coerce=True),
        "block": TEXT,
        **{name: _number() for name in ("rate_mm_h", "flow_m3_h", "min_hours", "max_hours")},
        "pump": TEXT,
        "source": TEXT,
        "gate": _number(),
        "checked": TEXT,
        **{name: _number() for name in ("riser_lon", "riser_lat")},
        "geometry": pa.Column("geometry"),
    },
    strict=True,
    ordered=True,
    name="valves",
    metadata={"version": 4},
)
"""A row per valve zone in the working CRS; ``block`` as the file says, empty where siting must find it;
``gate`` along its ditch, 1 the first; ``checked`` the day of the last measurement; riser in degrees."""

WEATHER = pa.DataFrameSchema(
    {
        "time": pa.Column(),
        "temp_c": _number(),
        "rh_pct": _number(),
        "wind_m_s": _number(),
        "solar_w_m2": _number(),
        "eto_mm": _number(),
        "rain_mm": _number(),
    },
    strict=True,
    ordered=True,
    name="weather",
    metadata={"version": 1},
)
"""A row per hour, sorted, times in the ranch's zone; ``eto_mm`` and ``rain_mm`` are of the hour before."""

IRRIGATION = pa.DataFrameSchema(
    {
        "valve": pa.Column(object, coerce=True),
        "start": pa.Column(),
        "end": pa.Column(),
        "mm": _number(),
    },
    strict=True,
    ordered=True,
    name="irrigation",
    metadata={"version": 1},
)
"""A row per set that ran, times in the ranch's zone."""

CHECKED_READINGS = pa.DataFrameSchema(
    {
        "row": pa.Column(int),
        **_any("tree_id", "time"),
        "used": FLAGGED,
        **_any("flags", "block", "valve", "crop"),
        **_figures("lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes"),
        **_figures("temp_c", "rh_pct", "vpd_kpa"),
        **_figures("swp_bar", "tension_bar", "baseline_bar", "allowance_bar", "target_bar"),
        **_figures("below_target_bar"),
        **_figures("below_baseline_bar", "weather_shift_bar", "stress_bar"),
        "too_wet": FLAGGED,
        **_any("chamber", "crew", "leaf", "note", "file"),
        "geometry": GEOMETRY,
    },
    unique=["file", "row"],
    name="checked_readings",
    metadata={"version": 3},
)
"""The readings of a visit past quality and agronomy: a row per input row, its flags a tuple of codes, the
place as it was mended, and the figures. More columns may be there for the rooms' own use."""

MAPPED_BLOCKS = pa.DataFrameSchema(
    {
        **_any("block", "crop"),
        "readings": pa.Column(int, pa.Check.ge(0)),
        "geometry": GEOMETRY,
    },
    name="mapped_blocks",
    metadata={"version": 1},
)
"""The blocks with the count of readings used in each, as in ``ranch.gpkg``; what else their file says
stays."""

LEAVING_READINGS = pa.DataFrameSchema(
    {
        "row": pa.Column(int),
        **_any("tree_id", "time"),
        "used": FLAGGED,
        **_any("flags", "block", "valve"),
        **_figures("lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes"),
        **_figures("temp_c", "rh_pct", "vpd_kpa"),
        **_figures("swp_bar", "tension_bar", "baseline_bar", "allowance_bar", "target_bar"),
        **_figures("below_target_bar", "below_baseline_bar", "weather_shift_bar"),
        "too_wet": FLAGGED,
        **_figures("stress_bar", "predicted_bar", "z_score"),
        "weight": _share(),
        **_any("chamber", "crew", "leaf", "note", "file"),
        "geometry": GEOMETRY,
    },
    strict=True,
    ordered=True,
    unique=["file", "row"],
    name="readings.csv",
    metadata={"version": 4},
)
"""``readings.csv``, ``readings.geojson``: every row of the input files (``row`` of ``file``)
with its flags, figures and left-out prediction."""

RANKED_VALVES = pa.DataFrameSchema(
    {
        **_any("rank", "valve", "block", "crop"),
        "area_ha": _figure(pa.Check.ge(0.0)),
        "readings": pa.Column(int, pa.Check.ge(0)),
        **_figures("stress_bar", "stress_se_bar", "low_bar", "high_bar"),
        **_figures("swp_bar", "target_bar", "baseline_bar"),
        "priority": PRIORITY,
        **_any("label_en", "label_es"),
        "p_first": _share(),
        "confidence": _share(),
        **_any("last_irrigated"),
        "urgency": _figure(),
        "past_limit": FLAGGED,
        "allowance_bar": _figure(),
        "visits_used": pa.Column(int, pa.Check.ge(1)),
        "measured": FLAGGED,
        "tied_group": pa.Column(int, pa.Check.ge(0)),
        **_any("tied_ranks"),
        **{
            name: pa.Column(kind, nullable=True, required=False)
            for name, kind in (
                ("gauge_change_bar", float), ("weather_change_bar", float), ("trees_change_bar", float),
                ("change_bar", float), ("change_se_bar", float), ("change", None),
                ("target_change_bar", float), ("irrigated_between", None), ("days_since_water", float),
                ("due", None), ("due_early", None), ("due_late", None),
            )
        },
        "geometry": GEOMETRY,
    },
    strict=True,
    ordered=True,
    name="valves.csv",
    metadata={"version": 3},
)  # fmt: skip
"""``valves.csv``, ``valves.geojson``: a row per valve zone in rank order; the change where an earlier visit
was mapped too, and when water is due where a season is known."""

PRIORITY_ZONES = pa.DataFrameSchema(
    {
        "block": ANY,
        "priority": PRIORITY,
        **_any("label_en", "label_es"),
        "area_ha": _figure(pa.Check.ge(0.0)),
        **_figures("stress_bar", "stress_se_bar"),
        "confidence": _share(),
        "geometry": GEOMETRY,
        "measured": FLAGGED,
    },
    strict=True,
    name="zones.geojson",
    metadata={"version": 1},
)
"""``zones.geojson``: polygons of one priority inside a block."""

LOOK_AGAIN = pa.DataFrameSchema(
    {
        "order": pa.Column(int),
        **_any("block", "valve", "tree_id"),
        **_figures("lon", "lat", "gain_bar_ha", "stress_bar", "stress_se_bar"),
    },
    strict=True,
    ordered=True,
    name="look_again.csv",
    metadata={"version": 1},
)
"""``look_again.csv``: a place per row, in walking order."""

WATER_PLAN = pa.DataFrameSchema(
    {
        **_any("valve", "block", "crop", "pump", "status", "limited_by"),
        **_figures("area_ha", "stress_bar", "stress_se_bar", "stress_for_need_bar"),
        "stage": ANY,
        **_figures("need_mm", "need_low_mm", "need_high_mm", "need_by_trees_mm", "need_by_book_mm"),
        "inspect": ANY,
        "hours": _figure(pa.Check.ge(0.0)),
        **_figures("mm", "net_mm", "m3", "flow_m3_h"),
        "sets": pa.Column(int, pa.Check.ge(0)),
        **_figures("need_covered", "stress_dry_bar", "stress_after_bar", "chosen_share", "short_mm"),
        **_figures("etc_since_mm", "etc_until_mm", "given_mm", "let_down_bar", "mm_per_bar", "divided_by"),
        "assumed": ANY,
        "sure": FLAGGED,
    },
    strict=True,
    ordered=True,
    name="water_plan.csv",
    metadata={"version": 2},
)
"""``water_plan.csv``: what each valve zone gets, in rank order."""

TIMETABLE = pa.DataFrameSchema(
    {
        "set": pa.Column(int),
        **_any("pump", "valve", "block", "start", "end"),
        **_figures("hours", "flow_m3_h", "m3", "mm", "pulse_on_min", "pulse_off_min"),
        "code": pa.Column(unique=True),
    },
    strict=True,
    ordered=True,
    name="timetable.csv",
    metadata={"version": 3},
)
"""``timetable.csv``: who opens what when, a row per set, by opening; ``code`` names the set on paper."""

WATER_CURVE = pa.DataFrameSchema(
    {
        **_figures("m3", "share", "bar_days_ha"),
        "valves": pa.Column(int),
        "share_per_ml": _figure(),
        "buys_little": FLAGGED,
    },
    strict=True,
    ordered=True,
    name="water_curve.csv",
    metadata={"version": 2},
)
"""``water_curve.csv``: relief against water, by rising amount."""

MEND_LIST = pa.DataFrameSchema(
    {
        "row": pa.Column(int),
        "tree_id": ANY,
        "used": FLAGGED,
        **_any("flags", "wrong", "to_do", "time"),
        **_figures("lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes"),
        **_any("block", "valve", "file"),
    },
    strict=True,
    ordered=True,
    name="to_mend.csv",
    metadata={"version": 2},
)
"""``check --out``: a doubtful reading, or a row of another file that was left out, per row: what is wrong
with it and what to do."""

SCHEMAS: tuple[Any, ...] = (
    READINGS, BLOCKS, VALVES, WEATHER, IRRIGATION, CHECKED_READINGS, MAPPED_BLOCKS, RANKED_VALVES,
    PRIORITY_ZONES, LOOK_AGAIN, WATER_PLAN, TIMETABLE, WATER_CURVE, LEAVING_READINGS, MEND_LIST,
)  # fmt: skip


def versions_of_tables() -> dict[str, int]:
    """Give the version of every table, by its name.

    Returns
    -------
    dict of str to int
    """
    return {schema.name: schema.metadata["version"] for schema in SCHEMAS}


def columns_of(schema: Any, *, required: bool = True) -> tuple[str, ...]:
    """Name the columns of a table in their order, geometry apart.

    Parameters
    ----------
    schema : pandera.DataFrameSchema
        One of this module's.
    required : bool
        The columns that are always there; otherwise those that may be missing.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> columns_of(RANKED_VALVES, required=False)[-3:]
    ('due', 'due_early', 'due_late')
    """
    own = schema.columns.items()
    return tuple(name for name, column in own if column.required is required and name != "geometry")


T = TypeVar("T", bound=pd.DataFrame)


def hold(table: T, schema: Any) -> T:
    """Hold a table that the program made against its schema as it is handed on.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
        What a room made.
    schema : pandera.DataFrameSchema
        One of this module's.

    Returns
    -------
    DataFrame or GeoDataFrame
        The same.

    Raises
    ------
    pandera.errors.SchemaError
        If it does not fit: a defect of the program.
    """
    # A table without rows says nothing of its columns' types.
    if len(table):
        schema.validate(table, inplace=True)
    return table


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
