"""Days left, intervals and peaks of valve zones; never a point without its range."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from stressmap.geostat.samples import Estimate
from stressmap.season.calendar_days import HORIZON_DAYS
from stressmap.season.days_left import DaysLeft, days_left, first_crossing
from stressmap.season.due_table import (
    Ahead,
    Turns,
    counts_of,
    due_calendar,
    due_table,
    passed_after,
    past_today,
    usual_interval,
)

TODAY = dt.date(2026, 7, 14).toordinal()
NONE = DaysLeft(*(np.full(4, np.nan) for _ in range(3)))


def table(now: list[float], rate: list[float], sd: float = 0.5) -> pd.DataFrame:
    facts = pd.DataFrame(
        {"valve": list("ABCD"), "block": list("XXYY"), "crop": "prune", "pump": None, "area_ha": 1.0,
         "allowed_bar": 4.0}
    )  # fmt: skip
    day = np.arange(HORIZON_DAYS + 1.0)[:, None]
    mean = np.array(now) + day * np.array(rate)
    together = np.full((len(mean), len(mean), 4), sd**2)
    ahead = Ahead(mean, together, np.array(now) + day * 1.2 * np.array(rate))
    turns = Turns(np.array([3.0, 2.0, 6.0, np.nan]), np.array([8.0, 7.0, 7.0, np.nan]), NONE)
    return due_table(facts, ahead, Estimate(np.array(rate), np.full(4, 0.01)), turns, TODAY, TODAY + 7)


def test_a_constructed_dry_down_is_found_to_the_digits() -> None:
    # walnut goes from -4 to about -8 bar from one irrigation to the next (university extension manual
    # "Interpretation for the Beginner", read): 4 bar in 8 days is half a bar a day
    found = table([0.0, 1.0, 2.0, 5.0], [0.5, 0.25, 0.1, 0.1], sd=0.0).set_index("valve")
    assert found["days_left"].tolist() == pytest.approx([0.0, 8.0, 12.0, 20.0], abs=1e-6)
    assert found.loc["A", "due"] == dt.date(2026, 7, 22)
    assert found.loc["A", "interval_advised_days"] == pytest.approx(11.0, abs=1e-6)
    assert found.loc["A", "peak_bar"] == 2.5
    assert found.loc["A", "days_left_hot"] == pytest.approx(8.0 / 1.2)


def test_the_first_to_be_due_stands_first_and_what_is_past_before_all() -> None:
    assert table([0.0, 1.0, 2.0, 5.0], [0.5, 0.25, 0.1, 0.1])["valve"].tolist() == ["D", "A", "B", "C"]


def test_over_three_weeks_is_an_answer_and_not_known_is_another() -> None:
    found = table([0.0, np.nan, 3.9, 1.0], [0.01, 0.1, 0.0, 0.5]).set_index("valve")
    assert found.loc["A", "known"]
    assert np.isnan(found.loc["A", "days_left"])
    assert found.loc["A", "due"] is None
    assert not found.loc["B", "known"]
    # the mean never gets there, the upper bound is there already
    assert np.isnan(found.loc["C", "days_left"])
    assert found.loc["C", "days_left_low"] == 0.0
    assert found["before_next_visit"].to_dict() == {"A": "no", "B": "no", "C": "maybe", "D": "yes"}


def test_a_turn_whose_soonest_day_is_over_already_has_a_lower_bound_all_the_same() -> None:
    found = table([3.5, 1.0, 2.0, 3.5], [0.25, 0.25, 0.1, 0.25]).set_index("valve").loc["A"]
    assert found["days_left_low"] == 0.0
    # trees recover in two days (see RECOVERY_DAYS), watered three days ago
    assert found["interval_low_days"] == 2.0 < found["interval_advised_days"] < found["interval_high_days"]


def test_what_is_due_soon_is_counted_by_dates() -> None:
    due = pd.DataFrame({"days_left": [0.0, 0.6, 3.6, 4.0], "days_left_high": [0.0, 2.0, 8.0, 9.0]})
    assert counts_of(due, 7) == {"overdue": 1, "now": 1, "soon": 1, "before": 4}


def test_every_point_lies_within_its_range() -> None:
    found = table([0.0, 1.0, 2.0, 5.0], [0.5, 0.25, 0.3, 0.1])
    left = found[["days_left_low", "days_left", "days_left_high"]].fillna(HORIZON_DAYS).to_numpy()
    assert (np.diff(left, axis=1) >= 0).all()
    assert (found["peak_low_bar"] <= found["peak_bar"])[found["peak_bar"].notna()].all()
    assert (found["drying_low"] <= found["drying_bar_per_day"]).all()


def test_a_course_that_falls_back_was_past_all_the_same() -> None:
    path = np.array([[1.0], [5.0], [2.0]])
    assert first_crossing(path, np.array([4.0])).tolist() == [0.75]
    assert days_left(path, np.zeros((3, 3, 1)), np.array([4.0])).high[0] == pytest.approx(0.75, abs=1e-4)


def test_the_interval_of_a_zone_that_is_past_ends_where_it_passed() -> None:
    path = np.linspace(0.0, 6.0, 13)[:, None]
    passed = passed_after(path, np.zeros_like(path), np.array([10.0]), np.array([4.0]))
    assert passed.mean.tolist() == [6.0]
    # past as soon as it has recovered: no interval helps there
    high = passed_after(path + 5.0, np.zeros_like(path), np.array([10.0]), np.array([4.0]))
    assert np.isnan(high.mean).all()


def test_the_calendar_lists_by_day_and_pump() -> None:
    found = due_calendar(table([0.0, 1.0, 2.0, 5.0], [0.5, 0.25, 0.1, 0.1]))
    assert found["day"].is_monotonic_increasing
    assert found["valve"].tolist()[0] == "D"
    surely, unsure = past_today(table([0.0, 1.0, 2.0, 5.0], [0.5, 0.25, 0.1, 0.1]))
    assert (surely | unsure).tolist() == [True, False, False, False]


def test_a_zone_without_two_irrigations_takes_the_interval_of_its_block() -> None:
    zone, start = np.array([0, 0, 0, 2]), np.array([1.0, 7.0, 14.0, 3.0])
    assert usual_interval(zone, start, np.array([0, 0, 1]))[:2].tolist() == [6.5, 6.5]
