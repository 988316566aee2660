"""Times as people and loggers write them, against Python's own calendar and time zones."""

import datetime as dt
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.intake.times import Asked, read_clock, read_dates, read_times

HERE = ZoneInfo("America/Los_Angeles")


def read(*cells: str, **options: object) -> Noted:
    column = pd.Series(list(cells), index=range(2, len(cells) + 2), dtype=object)
    asked = Asked("a.csv", "time", options.pop("zone", HERE), **options)
    return read_times(column, asked)


def times(*cells: str, **options: object) -> list[str]:
    return [str(t) for t in read(*cells, **options).value]


@pytest.mark.parametrize(
    "written",
    [
        "2026-07-14 13:05", "2026-07-14T13:05", "2026-07-14T13:05:00", "2026/7/14 13:05",
        "20260714T1305",
        "20260714 130500", "2026-07-14 1:05 PM", "2026-07-14 01:05 p. m.", "14.7.2026 13:05",
        "14-07-26 13:05",
        "7/14/2026 1:05PM", "7/14/26, 1:05 PM", "Jul 14, 2026 1:05 pm", "14 jul. 2026 13:05",
        "14-Jul-2026 13:05",
        "14 de julio de 2026, 13:05 hrs", "martes, 14 de julio de 2026 13:05", "Tue 14 July 2026 13h05",
        "2026-07-14T20:05Z", "2026-07-14T20:05:00.000+00:00", "2026-07-14 22:05+0200", "2026-07-14 16:05 -04",
    ],
)  # fmt: skip
def test_one_moment_in_many_forms(written: str) -> None:
    assert times(written) == ["2026-07-14 13:05:00-07:00"]


def test_every_month_of_both_languages() -> None:
    english = [dt.date(2026, m, 14).strftime("%d %b %Y 13:00") for m in range(1, 13)]
    spanish = ["ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"]
    months = [f"14 {name} 2026 13:00" for name in spanish]
    expected = [str(dt.datetime(2026, m, 14, 13, tzinfo=HERE)) for m in range(1, 13)]
    assert times(*english) == expected
    assert times(*months) == expected


def test_the_order_is_inferred_from_the_whole_column() -> None:
    assert times("03/07/2026 13:05", "14/07/2026 13:05")[0] == "2026-07-03 13:05:00-07:00"
    assert times("03/07/2026 13:05", "07/14/2026 13:05")[0] == "2026-03-07 13:05:00-08:00"
    assert times("07/07/2026 13:05") == ["2026-07-07 13:05:00-07:00"]


def test_the_order_can_be_said() -> None:
    assert times("03/07/2026 13:05", order="day-first") == ["2026-07-03 13:05:00-07:00"]
    assert times("03/07/2026 13:05", order="month-first") == ["2026-03-07 13:05:00-08:00"]


def test_an_open_order_is_refused_with_the_key_that_settles_it() -> None:
    with pytest.raises(DataError) as error:
        times("07/07/2026 13:00", "03/07/2026 13:05")
    assert str(error.value) == (
        "a.csv, row 3, column time: '03/07/2026 13:05' can be day first or month first, and no other date of "
        'the column tells. Say [reading] date_order = "day-first" or "month-first".'
    )


def test_what_cannot_be_read_is_no_time_and_is_said() -> None:
    found = read("2026-07-14 13:05", "after lunch", "2026-02-30 13:00", "", "2026-07-14 25:00")
    assert [str(t) for t in found.value][1:] == ["NaT"] * 4
    assert english(found) == ["a.csv: 3 times in time (row 3, 4, 6) could not be read."]


def test_a_time_that_the_clock_jumped_over_is_moved_and_said() -> None:
    found = read("2026-03-08 02:30", "2026-03-08 03:30")
    assert [str(t) for t in found.value] == ["2026-03-08 03:30:00-07:00"] * 2
    assert english(found) == [
        "a.csv: 1 time in time (row 2) does not exist (the clock was put forward); it was moved an hour on."
    ]


def test_a_time_that_the_clock_ran_twice_follows_the_order_of_rows() -> None:
    found = read("2026-11-01 01:15", "2026-11-01 01:45", "2026-11-01 01:05")
    assert [str(t) for t in found.value] == [
        "2026-11-01 01:15:00-07:00",
        "2026-11-01 01:45:00-07:00",
        "2026-11-01 01:05:00-08:00",
    ]
    assert english(found) == [
        "a.csv: 3 times in time (row 2, 3, 4) exist twice (the clock was put back); "
        "the order of the rows decided."
    ]


def test_an_hourly_record_passes_the_clock_change_without_a_hole() -> None:
    hours = ["00:00", "01:00", "01:00", "02:00", "03:00"]
    found = pd.to_datetime(times(*[f"2026-11-01 {h}" for h in hours], record=True), utc=True)
    assert set(pd.Series(found).diff().dropna()) == {pd.Timedelta(hours=1)}


@pytest.mark.parametrize("zone", ["America/Santiago", "Australia/Adelaide", "Asia/Kathmandu", "UTC"])
def test_times_without_an_offset_are_local(zone: str) -> None:
    expected = dt.datetime(2026, 1, 14, 13, 5, tzinfo=ZoneInfo(zone))
    assert times("2026-01-14 13:05", zone=ZoneInfo(zone)) == [str(pd.Timestamp(expected))]


def test_serial_days_of_a_spreadsheet() -> None:
    # day 1 is 1900-01-01 and 1900 counts as a leap year, so day 0 is 1899-12-30 from March 1900 on
    serial = (dt.datetime(2026, 7, 14, 13, 5) - dt.datetime(1899, 12, 30)).total_seconds() / 86_400
    assert times(f"{serial:.8f}") == ["2026-07-14 13:05:00-07:00"]


def test_clocks_and_days_alone() -> None:
    clocks = read_clock(pd.Series(["13:05", "1:05 p.m.", "12:10 am", "0.5", "13h", "24:00", "x", ""]))
    hours = clocks.dt.total_seconds() / 3600
    assert hours.round(4).tolist()[:4] == [13.0833, 13.0833, 0.1667, 12.0]
    assert hours.iloc[5] == 24.0
    assert clocks.isna().tolist() == [False, False, False, False, True, False, True, True]
    days = read_dates(pd.Series(["2026-07-14", "14/07/2026", "14 jul 2026"]), Asked("a.csv", "day", HERE))
    assert [str(d.date()) for d in days] == ["2026-07-14"] * 3


def test_a_date_of_no_month_does_not_tell_the_order_of_the_others() -> None:
    assert times("31/31/2026 9:00", "14/7/2026 13:00") == ["NaT", "2026-07-14 13:00:00-07:00"]
