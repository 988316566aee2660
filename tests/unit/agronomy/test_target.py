"""The season target: between and beyond points, over the year end, by harvest, for young trees."""

import numpy as np
import pandas as pd
import pytest

from stressmap.agronomy import target

PRUNE = [("05-01", -6.0), ("08-01", -14.0)]
SOUTH = [("11-01", -6.0), ("02-01", -14.0)]


@pytest.mark.parametrize(
    ("day", "bar"),
    [
        ("2026-01-01", -6.0),
        ("2026-05-01", -6.0),
        ("2026-06-16", -10.0),  # 46 of 92 days
        ("2026-08-01", -14.0),
        ("2026-12-31", -14.0),
        ("2028-02-29", -6.0),
    ],
)
def test_straight_between_and_flat_outside(day: str, bar: float) -> None:
    assert target.target_bar([day], PRUNE).tolist() == [bar]


@pytest.mark.parametrize(
    ("day", "bar"),
    [
        ("2026-11-01", -6.0),
        ("2026-12-17", -10.0),  # 46 of 92 days
        ("2027-01-01", -10 - 8 * 15 / 92),
        ("2027-02-01", -14.0),
        ("2027-04-30", -14.0),
        ("2027-09-01", -6.0),
        ("2026-10-31", -6.0),
    ],
)
def test_a_southern_season_runs_over_the_year_end(day: str, bar: float) -> None:
    assert target.target_bar([day], SOUTH).tolist() == pytest.approx([bar])


def test_the_common_let_down_of_prune() -> None:
    """Common practice, no source: about linear from 5-7 bar of tension in May to about 14 at harvest."""
    days = pd.date_range("2026-05-01", "2026-08-01")
    tension = -target.target_bar(days, PRUNE)
    assert 5.0 <= tension[0] <= 7.0
    assert tension[-1] == 14.0
    assert np.diff(tension) == pytest.approx(np.full(len(days) - 1, 8.0 / 92.0))


@pytest.mark.parametrize(
    ("from_day", "to_day", "wet_bar", "dry_bar"),
    [
        # prune, the sources named under [sources.levels] of its profile; read
        ("04-25", "06-15", -8.0, -12.0),
        ("06-25", "08-10", -12.0, -16.0),
    ],
)
def test_the_let_down_against_the_published_monthly_ranges(
    from_day: str, to_day: str, wet_bar: float, dry_bar: float
) -> None:
    """The common let-down starts wetter (-6 in May) than the pages' range and meets it by mid-season."""
    days = pd.date_range(f"2026-{from_day}", f"2026-{to_day}")
    line = target.target_bar(days, PRUNE)
    assert line.min() >= dry_bar
    assert line[-1] <= wet_bar


def test_harvest_moves_the_last_point() -> None:
    late = target.target_bar(["2026-08-01", "2026-08-31"], PRUNE, harvest="08-31")
    assert late[0] > -14.0
    assert late[1] == -14.0
    early = target.target_bar(
        ["2026-07-10"], [("05-01", -6.0), ("07-20", -12.0), ("08-01", -14.0)], harvest="07-10"
    )
    assert early.tolist() == [-14.0]


def test_harvest_over_the_year_end() -> None:
    assert target.target_bar(["2027-02-20"], SOUTH, harvest="02-20").tolist() == [-14.0]


def test_harvest_before_the_season_is_refused() -> None:
    with pytest.raises(ValueError, match="harvest 04-15 is not after the season's first point, 05-01"):
        target.target_bar(["2026-06-01"], PRUNE, harvest="04-15")


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([], "a season needs at least one point"),
        ([("05-01", -6.0), ("05-01", -7.0)], "a day comes twice among the points of the season"),
        ([("05-01", -6.0), ("03-01", -7.0), ("06-01", -8.0)], "not in the order of the season"),
        ([("5/1", -6.0)], "'5/1' is not a day of the year"),
    ],
)
def test_points_in_no_order_are_refused(points: list[tuple[str, float]], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        target.target_bar(["2026-06-01"], points)


def test_the_day_is_that_of_the_ranch_clock() -> None:
    late = pd.DatetimeIndex(["2026-07-31 23:00"], tz="America/Los_Angeles")
    assert target.target_bar(late, PRUNE)[0] > -14.0
    assert target.target_bar(late.tz_convert("UTC"), PRUNE)[0] == -14.0


def test_no_time_gives_no_target() -> None:
    assert np.isnan(target.target_bar([pd.NaT, pd.Timestamp("2026-06-16")], PRUNE)).tolist() == [True, False]


def test_half_a_year_twice_is_the_same_season() -> None:
    assert target.six_months_on(target.six_months_on(PRUNE)) == tuple(PRUNE)
