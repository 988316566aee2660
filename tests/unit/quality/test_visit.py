"""Which days are mapped: what is asked for, else the latest run of days."""

import datetime as dt

import pandas as pd
import pytest
from helpers import invented_ranch as ranch
from helpers.told import english

from stressmap.core.errors import DataError, SettingsError, StressmapError
from stressmap.core.settings import Settings
from stressmap.quality.visit import choose_visit, doubtful_last_visit


def table(*days: str) -> pd.DataFrame:
    times = pd.to_datetime([f"{d} 13:30" for d in days]).tz_localize(ranch.ZONE)
    return pd.DataFrame({"time": times})


@pytest.mark.parametrize(
    ("usual", "last", "doubted"), [(5, 1, True), (4, 1, False), (10, 2, True), (9, 2, False), (99, 3, False)]
)
def test_one_or_two_readings_after_visits_of_many_are_doubted(usual: int, last: int, doubted: bool) -> None:  # noqa: FBT001
    """One in five or fewer, and no more than two."""
    found = english(doubtful_last_visit(table(*["2026-06-30"] * usual, *["2026-07-14"] * last)))
    assert bool(found) == doubted
    if found:
        assert f"The latest visit, 2026-07-14, holds {last} reading" in found[0]
        assert "--visit 2026-06-30" in found[0]


SEASON = table("2026-05-20", "2026-07-13", "2026-07-14", "2026-07-15", "2026-06-30", "2026-07-01")


def asked(visit: dict) -> Settings:
    return Settings.model_validate({**ranch.settings().model_dump(), "visit": visit})


@pytest.mark.parametrize(
    ("visit", "on", "expected"),
    [
        ({}, None, ("2026-07-13", "2026-07-15")),
        ({}, "2026-06-30", ("2026-06-30", "2026-07-01")),
        ({"from": "2026-07-14", "to": "2026-07-15"}, None, ("2026-07-14", "2026-07-15")),
        ({"from": "2026-07-14"}, None, ("2026-07-14", "2026-07-15")),
        ({"to": "2026-05-31"}, None, ("2026-05-20", "2026-05-31")),
        ({"from": "2026-07-14", "to": "2026-07-15"}, "2026-05-20", ("2026-05-20", "2026-05-20")),
    ],
)
def test_the_visit(visit: dict, on: str | None, expected: tuple[str, str]) -> None:
    day = dt.date.fromisoformat(on) if on else None
    chosen = choose_visit(SEASON, asked(visit), day)
    assert tuple(map(str, chosen)) == expected


def test_a_day_is_local() -> None:
    late = pd.DataFrame({"time": pd.to_datetime(["2026-07-15T02:00Z"]).tz_convert(ranch.ZONE)})
    assert choose_visit(late, asked({})) == (dt.date(2026, 7, 14), dt.date(2026, 7, 14))


@pytest.mark.parametrize(
    ("readings", "visit", "on", "kind", "message"),
    [
        (
            pd.DataFrame({"time": pd.to_datetime([None]).tz_localize("UTC")}),
            {},
            None,
            DataError,
            "readings.csv: no reading has a time, so there is no visit to map. "
            "Write date and time of each reading.",
        ),
        (
            SEASON,
            {},
            "2026-07-02",
            SettingsError,
            "command line: --visit 2026-07-02: no reading was taken on that day. "
            "The readings hold 2026-05-20, 2026-06-30 to 2026-07-01, 2026-07-13 to 2026-07-15.",
        ),
        (
            SEASON,
            {"from": "2026-08-01"},
            None,
            SettingsError,
            "ranch.toml, column visit.from: there is no reading in the visit from 2026-08-01 to the last. "
            "The readings hold 2026-05-20, 2026-06-30 to 2026-07-01, 2026-07-13 to 2026-07-15.",
        ),
    ],
)
def test_no_such_visit(
    readings: pd.DataFrame, visit: dict, on: str | None, kind: type[StressmapError], message: str
) -> None:
    day = dt.date.fromisoformat(on) if on else None
    with pytest.raises(kind) as error:
        choose_visit(readings, asked(visit), day)
    assert str(error.value) == message


def test_a_stray_latest_day_is_remarked_upon() -> None:
    many = table(*["2026-07-14"] * 30, "2027-07-14")
    assert english(doubtful_last_visit(many)) == [
        "The latest visit, 2027-07-14, holds 1 reading only; a wrong date would do that. "
        "For the visit before it: --visit 2026-07-14."
    ]
    assert doubtful_last_visit(SEASON) == ()


@pytest.mark.parametrize(
    ("strays", "told"),
    [
        (["2062-07-14"], "1 reading of 2062-07-14 is dated"),
        (["2062-07-14", "2062-07-15"], "2 readings of 2062-07-14 are dated"),
        (["2062-07-14", "2077-07-14"], "1 reading of 2077-07-14 is dated"),
    ],
)
def test_a_slip_of_the_year_makes_no_visit(strays: list[str], told: str) -> None:
    """How far is too far: common practice, no source."""
    readings, day = table(*["2026-07-14"] * 24, *strays), dt.date(2026, 7, 14)
    assert choose_visit(readings, asked({})) == (day, day)
    assert choose_visit(readings, asked({"from": day})) == (day, day)
    assert english(doubtful_last_visit(readings)) == [
        f"{told} more than a year after all others: no visit is made of that. "
        f"Correct the date, or name the day: --visit {told.split()[3]}."
    ]
    wanted = dt.date.fromisoformat(strays[0])
    assert choose_visit(readings, asked({}), wanted)[0] == wanted


def test_a_whole_visit_after_more_than_a_year_is_one() -> None:
    readings = table(*["2024-07-14"] * 24, *["2026-07-14"] * 24)
    assert choose_visit(readings, asked({}))[0] == dt.date(2026, 7, 14)
