"""The tables of a district: their columns, each with a version, as in :mod:`stressmap.core.schemas`."""

from __future__ import annotations

from typing import Any

import pandera.pandas as pa

from stressmap.core.schemas import ANY, RANKED_VALVES, columns_of

NAMED: Any = pa.Column(object, coerce=True)

OF_VALVES = (*columns_of(RANKED_VALVES), *columns_of(RANKED_VALVES, required=False))
"""The columns of ``valves.csv``, all those that a ranch may have."""

NUMBERS = tuple(
    name
    for name in OF_VALVES
    if str(RANKED_VALVES.columns[name].dtype) == "float64"
    or any(check.name == "numbers" for check in RANKED_VALVES.columns[name].checks)
)
"""Those of them that hold figures."""


def _kept(name: str) -> Any:
    column = RANKED_VALVES.columns[name]
    return pa.Column(column.dtype, column.checks, nullable=column.nullable)


DISTRICT_VALVES = pa.DataFrameSchema(
    {"ranch": NAMED, **{name: _kept(name) for name in OF_VALVES}, "ranch_rank": ANY},
    strict=True,
    ordered=True,
    unique=["ranch", "valve"],
    name="district.csv",
    metadata={"version": 1},
)
"""``district.csv``: a row per valve zone of every ranch, ``rank`` over all; ``ranch_rank`` the rank in its
own ranch, which ``tied_group`` and ``tied_ranks`` speak of. Columns that a ranch has not are empty."""

DISTRICT_PROBLEMS = pa.DataFrameSchema(
    {"ranch": NAMED, "file": NAMED, "row": ANY, "column": ANY, "what": NAMED, "remedy": NAMED},
    strict=True,
    ordered=True,
    name="problems.csv",
    metadata={"version": 1},
)
"""``problems.csv``: what kept ranches from being mapped; ``row`` as a spreadsheet shows it."""

FIGURE: Any = pa.Column(float, nullable=True, coerce=True)
DISTRICT_WATER = pa.DataFrameSchema(
    {
        "ranch": NAMED,
        **dict.fromkeys(
            (
                "area_ha", "need_m3", "floor_m3", "share_m3", "planned_m3", "equal_share_m3", "need_share_m3",
                "benefit", "equal_benefit", "need_benefit", "past_limit", "equal_past_limit",
                "need_past_limit",
            ),
            FIGURE,
        ),
        "why": pa.Column(
            object,
            pa.Check.isin(
                ["need", "floor", "even", "sets", "nothing", "few_trees", "stale", "no_plan", "failed"]
            ),
            coerce=True,
        ),
    },
    strict=True,
    ordered=True,
    name="district_water.csv",
    metadata={"version": 1},
)  # fmt: skip
"""``district_water.csv``: what each ranch gets of a shared volume, what its plan uses, the same depth over
every hectare and the same part of every need, and what each of the three relieves [ha·bar·d]."""


def versions_of_district() -> dict[str, int]:
    """Give the version of every table of a district, by its name.

    Returns
    -------
    dict of str to int

    Examples
    --------
    >>> sorted(versions_of_district())
    ['district.csv', 'district_water.csv', 'problems.csv']
    """
    tables = (DISTRICT_VALVES, DISTRICT_PROBLEMS, DISTRICT_WATER)
    return {schema.name: schema.metadata["version"] for schema in tables}
