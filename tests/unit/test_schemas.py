"""Tables that leave the intake have every column of their schema, in its kind and order."""

import numpy as np
import pandas as pd
import pytest

from stressmap.errors import DataError
from stressmap.intake.schemas import IRRIGATION, READINGS, VALVES, WEATHER, conform

HOURS = pd.date_range("2026-07-14 13:00", periods=2, freq="h", tz="America/Los_Angeles")


def test_columns_that_a_file_lacks_are_added_empty_and_in_order():
    table = conform(pd.DataFrame({"temp_c": [30, 31], "time": HOURS}), WEATHER, "weather.csv")
    assert list(table.columns) == list(WEATHER)
    assert table["temp_c"].tolist() == [30.0, 31.0]
    assert table.drop(columns=["time", "temp_c"]).isna().all(axis=None)
    assert set(table.drop(columns="time").dtypes) == {np.dtype(float)}
    assert table["time"].dt.tz == HOURS.tz


def test_an_empty_cell_of_text_is_none_and_an_unread_time_is_no_fault():
    table = conform(
        pd.DataFrame({"row": [2, 3], "tree_id": ["7", np.nan], "time": [HOURS[0], pd.NaT]}), READINGS, "r.csv"
    )
    assert table["tree_id"].tolist() == ["7", None]
    assert table["note"].tolist() == [None, None]
    assert table["time"].isna().tolist() == [False, True]


def test_the_table_that_came_in_is_left_alone():
    before = pd.DataFrame({"temp_c": [30, 31], "time": HOURS})
    conform(before, WEATHER, "weather.csv")
    assert list(before.columns) == ["temp_c", "time"]
    assert before["temp_c"].dtype == int


@pytest.mark.parametrize(
    ("column", "values", "what"),
    [
        ("valve", ["A", "A"], "a value stands twice"),
        ("valve", ["A", None], "a cell is empty"),
        ("rate_mm_h", [1.0, "much"], "could not convert string to float: 'much'"),
        ("geometry", ["here", "there"], "it holds str, not geometry"),
    ],
)
def test_what_breaks_the_schema_is_said_with_its_column(column, values, what):
    table = pd.DataFrame({"valve": ["A", "B"]}).assign(**{column: values})
    with pytest.raises(DataError) as stop:
        conform(table, VALVES, "valves.gpkg")
    assert [str(problem) for problem in stop.value.problems] == [
        f"valves.gpkg, column {column}: the table does not fit: {what}. Correct that column."
    ]


def test_a_moment_is_never_missing_from_a_log():
    table = pd.DataFrame({"valve": ["A", "B"], "start": HOURS, "end": [HOURS[1], pd.NaT]})
    with pytest.raises(DataError, match="column end: the table does not fit: a cell is empty"):
        conform(table, IRRIGATION, "log.csv")
