"""Laws of the allowance: never under the least, no jumps, moved by the harvest, the south six months on."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from helpers.allowance_courses import SOUTH, course
from hypothesis import given
from hypothesis import strategies as st

from stressmap.agronomy.crops import for_variety, load_profiles
from stressmap.agronomy.harvest import at_harvest
from stressmap.agronomy.target import check_season, moved_to_harvest, through_season

CROPS = [("prune", None), ("almond", None), ("walnut", None), ("walnut", "Chandler"), ("walnut", "Serr")]
PROFILES = load_profiles({}, "ranch.toml")
STEEPEST_BAR_A_DAY = 0.7
"""Trees dry and recover within days, not overnight; the steepest is almond's third week of hull split."""


@pytest.mark.parametrize(("crop", "variety"), CROPS)
@pytest.mark.parametrize("harvest", [None, "07-25", "08-30", "10-20"])
def test_never_under_the_least(crop: str, variety: str | None, harvest: str | None) -> None:
    allowance = for_variety(PROFILES[crop], variety).allowance
    assert allowance is not None
    found = course(crop, variety=variety, harvest=harvest)
    assert found.min() >= allowance.least_bar
    assert found.notna().all()


@pytest.mark.parametrize(("crop", "variety"), CROPS)
@pytest.mark.parametrize("latitude", [38.0, SOUTH])
def test_no_jumps_over_the_year_end_either(crop: str, variety: str | None, latitude: float) -> None:
    found = course(crop, variety=variety, latitude=latitude, last="2028-12-31")
    assert np.abs(np.diff(found)).max() <= STEEPEST_BAR_A_DAY


@pytest.mark.parametrize("crop", ["prune", "almond", "walnut"])
@pytest.mark.parametrize("later", [-12, 9, 15])
def test_the_harvest_moves_the_course(crop: str, later: int) -> None:
    usual = PROFILES[crop].usual_harvest
    assert usual is not None
    ripe = pd.Timestamp(f"2026-{usual}") + pd.Timedelta(days=later)
    there, here = course(crop), course(crop, harvest=f"{ripe:%m-%d}")
    assert here[ripe] == pytest.approx(there[pd.Timestamp(f"2026-{usual}")])
    assert here["2026-03-01"] == there["2026-03-01"]
    assert here["2026-11-20"] == there["2026-11-20"]


@pytest.mark.parametrize(("crop", "variety"), CROPS)
def test_the_south_is_the_north_six_months_on(crop: str, variety: str | None) -> None:
    north = course(crop, variety=variety)
    south = course(crop, variety=variety, latitude=SOUTH, first="2026-07-01", last="2027-06-30")
    points = for_variety(PROFILES[crop], variety).allowance
    assert points is not None
    for day, _ in points.points:
        here = pd.Timestamp(f"2026-{day}")
        there = here + pd.DateOffset(months=6)
        there = there if there in south.index else there - pd.DateOffset(years=1)
        assert south[there] == pytest.approx(north[here])


SEASON = [("04-01", 2.0), ("06-15", 4.0), ("08-05", 6.0), ("08-25", 8.0), ("09-08", 4.0), ("11-15", 2.0)]


@given(days=st.integers(min_value=7, max_value=300))
def test_a_moved_season_stays_a_season(days: int) -> None:
    ripe = pd.Timestamp("2026-04-01") + pd.Timedelta(days=days)
    moved = moved_to_harvest(SEASON, "08-25", f"{ripe:%m-%d}")
    check_season(moved)
    assert [value for _, value in moved] == [value for _, value in SEASON]
    assert moved[0] == SEASON[0]
    assert through_season([ripe], moved)[0] == pytest.approx(8.0)


@given(days=st.integers(min_value=40, max_value=200))
def test_moved_there_and_back_is_where_it_was_within_two_days(days: int) -> None:
    ripe = f"{pd.Timestamp('2026-04-01') + pd.Timedelta(days=days):%m-%d}"
    back = moved_to_harvest(moved_to_harvest(SEASON, "08-25", ripe), ripe, "08-25")
    for (was, _), (now, _) in zip(SEASON, back, strict=True):
        assert abs((pd.Timestamp(f"2026-{was}") - pd.Timestamp(f"2026-{now}")).days) <= 2


@pytest.mark.parametrize("crop", ["prune", "almond", "walnut"])
def test_moving_twice_to_the_same_harvest_is_moving_once(crop: str) -> None:
    once = at_harvest(PROFILES[crop], "09-05")
    assert at_harvest(once, "09-05") == once
    assert at_harvest(PROFILES[crop]) == PROFILES[crop]


@pytest.mark.parametrize("harvest", ["02-10", "02-25", "03-15"])
def test_a_southern_harvest_moves_the_southern_course(harvest: str) -> None:
    south = course("prune", latitude=SOUTH, harvest=harvest, first="2026-07-01", last="2027-06-30")
    assert south[f"2027-{harvest}"] == pytest.approx(8.0)
    assert south["2026-10-01"] == south["2027-05-15"] == pytest.approx(2.0)
