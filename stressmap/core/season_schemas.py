"""The tables of a season as they leave the program: their columns, each table with a version."""

from __future__ import annotations

from typing import Any

import pandera.pandas as pa

ANY: Any = pa.Column(nullable=True)
SIDES = ("both", "before", "after", "neither")


def _numbers(*names: str) -> dict[str, Any]:
    return {name: pa.Column(float, nullable=True) for name in names}


def _any(*names: str) -> dict[str, Any]:
    return dict.fromkeys(names, ANY)


COURSE = pa.DataFrameSchema(
    {
        **_any("visit", "valve", "block", "crop"),
        "readings": pa.Column(int, pa.Check.ge(0)),
        **_numbers("swp_bar", "baseline_bar", "target_bar", "vpd_kpa"),
        **_numbers("stress_bar", "stress_se_bar", "low_bar", "high_bar"),
        **_numbers("days_since_water", "mm_since", "eto_since_mm", "over_target_bar_days"),
    },
    strict=True,
    ordered=True,
    name="season.csv",
    metadata={"version": 1},
)
"""``season.csv``: a row per visit and valve zone; ``visit`` is its first day."""

CYCLES = pa.DataFrameSchema(
    {
        **_any("valve", "block", "start", "end"),
        **_numbers("mm", "before_bar", "after_bar", "relief_bar", "relief_low_bar", "relief_high_bar"),
        **_numbers("recovered"),
        "seen": pa.Column(checks=pa.Check.isin(SIDES)),
    },
    strict=True,
    ordered=True,
    name="cycles.csv",
    metadata={"version": 1},
)
"""``cycles.csv``: a row per irrigation of a valve zone."""

DUE = pa.DataFrameSchema(
    {
        **_any("valve", "block", "crop"),
        **_numbers("stress_bar", "allowed_bar", "drying_bar_per_day", "drying_low", "drying_high"),
        **_numbers("days_left", "days_left_low", "days_left_high"),
        "due": ANY,
        **_numbers("interval_days", "interval_advised_days", "peak_bar"),
        **_any("advice_en", "advice_es"),
    },
    strict=True,
    ordered=True,
    name="due.csv",
    metadata={"version": 1},
)
"""``due.csv``: a row per valve zone, the first to be due first; empty days are over three weeks."""

SEASON_BLOCKS = pa.DataFrameSchema(
    {
        **_any("block", "crop", "soil", "system"),
        **_numbers("area_ha"),
        **{name: pa.Column(int, pa.Check.ge(0)) for name in ("visits", "readings", "cycles", "cycles_seen")},
        **_numbers("water_mm", "over_target_bar_days"),
        "alarms": pa.Column(int, pa.Check.ge(0)),
        **_numbers("drying_bar_per_mm", "mm_per_bar", "mm_per_bar_low", "mm_per_bar_high"),
        **_numbers("relief_bar", "recovered"),
        "prior_used": pa.Column(bool),
    },
    strict=True,
    ordered=True,
    name="season_blocks.csv",
    metadata={"version": 1},
)
"""``season_blocks.csv``: a row per block, what its season came to and what was learnt; the next season takes
it as ``[files] last_season``."""

SEASON_SCHEMAS: tuple[Any, ...] = (COURSE, CYCLES, DUE, SEASON_BLOCKS)


def versions_of_season() -> dict[str, int]:
    """Give the version of every table of a season, by its name.

    Returns
    -------
    dict of str to int

    Examples
    --------
    >>> sorted(versions_of_season())
    ['cycles.csv', 'due.csv', 'season.csv', 'season_blocks.csv']
    """
    return {schema.name: schema.metadata["version"] for schema in SEASON_SCHEMAS}
