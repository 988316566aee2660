"""Hours on the local clock, right across clock changes."""

import datetime as dt
from zoneinfo import ZoneInfo

import pytest

from stressmap.water.calendar import calendar

PACIFIC, HOWE = ZoneInfo("America/Los_Angeles"), ZoneInfo("Australia/Lord_Howe")
ALL_DAY, NIGHT = (dt.time(0), dt.time.max), (dt.time(20), dt.time(6))


@pytest.mark.parametrize(
    ("zone", "day", "hours", "expected"),
    [
        (PACIFIC, dt.date(2026, 7, 16), ALL_DAY, 24.0),
        (PACIFIC, dt.date(2026, 3, 8), ALL_DAY, 23.0),
        (PACIFIC, dt.date(2026, 11, 1), ALL_DAY, 25.0),
        (PACIFIC, dt.date(2026, 3, 7), NIGHT, 9.0),
        (PACIFIC, dt.date(2026, 10, 31), NIGHT, 11.0),
        (PACIFIC, dt.date(2026, 7, 16), NIGHT, 10.0),
        (HOWE, dt.date(2026, 10, 4), ALL_DAY, 23.5),
        (HOWE, dt.date(2026, 4, 5), ALL_DAY, 24.5),
        (PACIFIC, dt.date(2026, 3, 8), (dt.time(1), dt.time(4)), 2.0),
        (PACIFIC, dt.date(2026, 3, 8), (dt.time(2), dt.time(3)), 0.0),
        (PACIFIC, dt.date(2026, 11, 1), (dt.time(1), dt.time(2)), 2.0),
    ],
)
def test_hours_of_a_day(
    zone: ZoneInfo, day: dt.date, hours: tuple[dt.time, dt.time], expected: float
) -> None:
    laid = calendar(day, 1, zone, hours=hours)
    assert laid.steps * 0.5 == expected


def test_days_that_join_are_one_stretch() -> None:
    laid = calendar(dt.date(2026, 7, 16), 3, PACIFIC)
    assert len(laid.windows) == 1
    assert laid.set_lengths == ((1, 144),)


def test_nights_are_stretches_of_their_own_and_belong_to_the_evening() -> None:
    laid = calendar(dt.date(2026, 7, 16), 2, PACIFIC, hours=NIGHT)
    spans = [(laid.clock(a), laid.clock(b)) for a, b in laid.windows]
    assert [f"{a:%d %H:%M}-{b:%d %H:%M}" for a, b in spans] == ["16 20:00-17 06:00", "17 20:00-18 06:00"]


def test_without_a_crew_at_night_sets_are_short_or_last_until_morning() -> None:
    laid = calendar(dt.date(2026, 7, 16), 2, PACIFIC, crew=(dt.time(8), dt.time(16)), step_hours=1.0)
    assert laid.set_lengths == ((1, 8), (16, 32))


def test_odd_minutes_are_kept() -> None:
    laid = calendar(dt.date(2026, 7, 16), 1, PACIFIC, hours=(dt.time(21, 15), dt.time(5, 45)))
    first, last = laid.windows[0]
    assert f"{laid.clock(first):%H:%M}" == "21:15"
    assert f"{laid.clock(last):%H:%M}" == "05:45"
    assert laid.steps == 17


def test_a_crew_that_meets_the_hours_once_leaves_no_set() -> None:
    laid = calendar(dt.date(2026, 7, 16), 1, PACIFIC, hours=NIGHT, crew=(dt.time(6), dt.time(19)))
    assert laid.set_lengths == ()
