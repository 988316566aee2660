"""Plans over seven days: no seven days bring much more than their share. Against hours worked out by hand."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers.water_cases import need, terms

from stressmap.core.settings import Water
from stressmap.water.formulation import formulate
from stressmap.water.set_rules import set_rules
from stressmap.water.water_plan import advise, plan_table, timetable_table

FIRST, WEEK = dt.date(2026, 7, 16), pd.Timedelta(days=7)


def planned(days: int, **own: Any) -> tuple[pd.Series, pd.DataFrame]:
    """A drip valve that needs 90 mm, of a crop that uses 4 mm a day."""
    water = Water.model_validate({"pump": "100 m3/h", "days": days, "draws": 0})
    valve = need(
        0, system="drip", dry_bar=6.0, daily_use_mm=4.0, most_net_mm=1.3 * 4.0 * days, max_hours=12.0, **own
    )
    made = advise(formulate([valve], water, FIRST, ZoneInfo("UTC")), terms(water, FIRST))
    return plan_table(made).iloc[0], timetable_table(made)


def most_hours_in_a_week(sets: pd.DataFrame) -> float:
    """The fullest seven days begin with a set or end with one."""
    begins = [*sets["start"], *(sets["end"] - WEEK)]
    inside = [
        (sets["end"].clip(upper=begin + WEEK) - sets["start"].clip(lower=begin)).clip(lower=pd.Timedelta(0))
        for begin in begins
    ]
    return max(one.sum() / pd.Timedelta(hours=1) for one in inside)


@pytest.mark.parametrize("days", [7, 10, 14])
def test_seven_days_bring_no_more_than_their_share(days: int) -> None:
    """1.3 x 4 mm x 7 days / 0.9 / 1.5 mm/h are 26.96 h; over the plan as much for each of its days."""
    row, sets = planned(days)
    assert most_hours_in_a_week(sets) <= 26.96
    assert row["hours"] <= 26.96 * days / 7
    assert row["hours"] >= 24.0
    assert row["limited_by"] == "rules"


def test_two_weeks_bring_about_twice_as_much_as_one() -> None:
    row, _ = planned(14)
    assert row["hours"] >= 48.0


def test_one_least_set_may_come_whatever_the_week_may_bring() -> None:
    """8 mm of drip at 1.5 mm/h are 5.5 h in whole steps; 0.5 mm a day for seven days would be 3.4 h."""
    water = Water.model_validate({"days": 14})
    valve = need(0, system="drip", daily_use_mm=0.5, most_net_mm=1.3 * 0.5 * 14)
    assert set_rules(valve, water).week_steps == 11
