"""Tables are held against their schema where they are handed on."""

import pandas as pd
import pandera.pandas as pa
import pytest

from stressmap.core import schemas
from stressmap.output.view.leaving_tables import SCHEMA_OF


def test_every_table_has_a_name_of_its_own_and_a_version() -> None:
    told = schemas.versions_of_tables()
    assert len(told) == len(schemas.SCHEMAS)
    assert all(isinstance(number, int) and number >= 1 for number in told.values())


def test_every_table_that_leaves_has_a_schema_in_the_list() -> None:
    assert {schema.name for schema in SCHEMA_OF.values()} <= set(schemas.versions_of_tables())


def plan(**more: object) -> pd.DataFrame:
    row = {
        "set": 1, "pump": None, "valve": "V1", "block": "B", "start": pd.Timestamp("2026-07-16 05:00"),
        "end": pd.Timestamp("2026-07-16 09:00"), "hours": 4, "flow_m3_h": 294.0, "m3": 1176.0, "mm": 48.0,
        "pulse_on_min": None, "pulse_off_min": None, "code": "3333K",
    }  # fmt: skip
    return pd.DataFrame([row | more])


def test_a_table_that_fits_comes_back_itself() -> None:
    table = plan()
    assert schemas.hold(table, schemas.TIMETABLE) is table
    empty = table.iloc[:0]
    assert schemas.hold(empty, schemas.TIMETABLE) is empty


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (plan(more=1), "column 'more' not in DataFrameSchema"),
        (plan().drop(columns="mm"), "column 'mm' not in dataframe"),
        (plan(hours="four"), "'hours' failed series or dataframe validator 0"),
        (plan()[["pump", "set", *schemas.columns_of(schemas.TIMETABLE)[2:]]], "out-of-order"),
    ],
)
def test_a_table_that_does_not_fit_is_a_defect(table: pd.DataFrame, said: str) -> None:
    with pytest.raises((pa.errors.SchemaError, pa.errors.SchemaErrors), match=said):
        schemas.hold(table, schemas.TIMETABLE)
