"""Irrigations: which rows of a log are one, on which days they are looked at, what each did."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from stressmap.geostat.samples import Estimate
from stressmap.season.compared import compared, manners
from stressmap.season.irrigation_cycles import cycle_days, cycle_table, pairs_of, sides_seen
from stressmap.season.irrigations import irrigations_of
from stressmap.season.phases import same_phases
from stressmap.season.zone_courses import ZoneCourses

FIRST = 739_800


def log(starts: list[str], hours: float = 10.0, valve: str = "V") -> pd.DataFrame:
    start = pd.DatetimeIndex(pd.to_datetime(starts, utc=True))
    end = start + pd.Timedelta(hours=hours)
    return pd.DataFrame({"valve": valve, "start": start, "end": end, "mm": np.nan})


def test_nights_in_a_row_are_one_irrigation_and_weekly_sets_are_not() -> None:
    nights = [f"2026-07-{day:02d} 20:00" for day in (1, 2, 3, 12, 13, 14, 23, 24, 25)]
    made = irrigations_of(log(nights), {"V": 0}, np.array([1.5]))
    assert made["sets"].tolist() == [3, 3, 3]
    assert made["mm"].tolist() == [45.0] * 3
    weekly = [f"2026-07-{day:02d} 20:00" for day in (1, 8, 15, 22)]
    assert len(irrigations_of(log(weekly), {"V": 0}, np.array([1.5]))) == 4


def test_drip_every_day_stays_many_irrigations_though_one_was_forgotten() -> None:
    days = [f"2026-07-{day:02d} 06:00" for day in (*range(1, 11), *range(14, 25))]
    assert len(irrigations_of(log(days, 4.0), {"V": 0}, np.array([1.0]))) == 21


def test_rows_of_valves_that_are_not_there_are_passed_over() -> None:
    both = pd.concat([log(["2026-07-01"]), log(["2026-07-01"], valve="W")])
    assert irrigations_of(both, {"V": 0}, np.array([1.0]))["zone"].tolist() == [0]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.floats(0, 60), st.floats(0.1, 3)), max_size=12))
def test_no_water_is_lost_by_putting_rows_together(rows: list[tuple[int, float, float]]) -> None:
    base = pd.Timestamp("2026-06-01", tz="UTC")
    table = pd.DataFrame(
        {"valve": [f"V{z}" for z, _, _ in rows], "start": [base + pd.Timedelta(days=d) for _, d, _ in rows]}
    )
    table["end"] = [base + pd.Timedelta(days=d, hours=4) for _, d, _ in rows]
    table["mm"] = [mm for *_, mm in rows]
    made = irrigations_of(table, {"V0": 0, "V1": 1, "V2": 2}, np.ones(3))
    assert made["mm"].sum() == pytest.approx(sum(mm for *_, mm in rows))


def course() -> tuple[pd.DataFrame, ZoneCourses, object]:
    """A zone that dries half a bar a day and is brought back by 3 bar within two days of day 10."""
    day = np.arange(21.0)
    mean = np.where(day <= 10, 0.5 * day, 0.5 * (day - 10) + 2.0)[:, None]
    mean[11, 0] = 3.4
    made = pd.DataFrame(
        {"zone": [0], "start": [None], "end": [None], "mm": [40.0], "hours": [10.0], "sets": [1]}
    )
    days = cycle_days(np.array([0]), np.array([FIRST + 10.2]), np.array([FIRST + 10.7]), FIRST + 20)
    pairs = pairs_of(np.array([0]), days, FIRST)
    none = Estimate(np.zeros(1), np.zeros(1))
    return made, ZoneCourses(FIRST + day, mean, np.ones_like(mean), none, pairs, np.full(2, 0.5)), days


def test_relief_is_from_the_hour_of_measuring_before_to_two_days_after() -> None:
    made, courses, days = course()
    seen = np.array([1]), np.array([0])
    row = cycle_table(made, days, courses, courses.mean, np.full(21, 5.0), seen).iloc[0]
    assert (row["before_bar"], row["after_bar"], row["relief_bar"]) == (5.0, 3.5, 1.5)
    assert row["relief_low_bar"] == pytest.approx(1.5 - 1.645 * 0.5)
    assert row["recovered"] == pytest.approx(0.3)
    assert row["seen"] == "before"
    # a constructed dry-down: half a bar a day, and with 5 mm a day a tenth of a bar a millimetre
    assert row["drying_bar_per_day"] == pytest.approx(0.5)
    assert row["drying_bar_per_mm"] == pytest.approx(0.1)


def test_a_side_is_seen_only_between_irrigations_and_no_further_than_ten_days() -> None:
    zone, start = np.array([0, 0, 1]), np.array([10.0, 17.0, 10.0])
    days = cycle_days(zone, start, start + 0.4, 40)
    before, after = sides_seen(zone, days, np.array([0, 0, 1]), np.array([8.0, 12.0, 35.0]))
    assert before.tolist() == [1, 1, 0]
    assert after.tolist() == [1, 0, 0]


def test_drip_in_long_sets_with_long_gaps_is_run_like_flood_and_compared_apart() -> None:
    table = pd.DataFrame(
        {"zone": [0, 0, 1, 1], "hours": [30.0, 36.0, 6.0, 6.0], "relief_bar": [3.0, 2.0, 0.2, 0.4],
         "recovered": 0.5, "drying_bar_per_day": 0.3, "drying_bar_per_mm": 0.05, "seen": "both",
         "soil": "loam", "crop": "prune", "system": "drip"}
    )  # fmt: skip
    table["relief_low_bar"], table["relief_high_bar"] = table["relief_bar"] - 1, table["relief_bar"] + 1
    way = manners(table, ["drip", "drip"], np.array([10.0, 2.0]))
    assert way == ["like_flood", None]
    told = compared(table.assign(manner=np.array(way, dtype=object)[table["zone"]]))
    kinds = told[told["by"] == "system"].set_index("kind")["relief_bar"]
    assert kinds.to_dict() == {"drip": pytest.approx(0.3), "drip_like_flood": pytest.approx(2.5)}


def test_reliefs_of_a_kind_are_told_with_how_unsure_each_is() -> None:
    """One irrigation keeps its own 90 % interval; of two far apart, a tenth of both laws lies outside."""
    alone = pd.DataFrame(
        {"relief_bar": [0.9], "relief_low_bar": [-1.7], "relief_high_bar": [3.5], "recovered": 0.5,
         "drying_bar_per_day": 0.3, "drying_bar_per_mm": 0.05, "seen": "both", "soil": "loam",
         "crop": "prune", "system": "drip", "manner": None}
    )  # fmt: skip
    row = compared(alone).iloc[0]
    assert [row["relief_low_bar"], row["relief_high_bar"]] == pytest.approx([-1.7, 3.5], abs=0.03)
    two = pd.concat([alone, alone.assign(relief_bar=9.0, relief_low_bar=8.0, relief_high_bar=10.0)])
    row = compared(two).iloc[0]
    laws = [norm(0.9, 2.6 / norm.ppf(0.95)), norm(9.0, 1.0 / norm.ppf(0.95))]
    assert sum(law.cdf(row["relief_low_bar"]) for law in laws) / 2 == pytest.approx(0.05, abs=0.003)
    assert sum(law.cdf(row["relief_high_bar"]) for law in laws) / 2 == pytest.approx(0.95, abs=0.003)


def test_a_weekly_visit_on_a_weekly_turn_is_told_which_day_shows_the_other_side() -> None:
    names = pd.DataFrame({"valve": ["A", "B", "C"], "block": "X"})
    since = np.array([[1.0, 6.0, 1.0], [1.1, 6.1, 4.0], [0.9, 6.0, 6.0]])
    found = same_phases(since, np.full(3, 7.0), names)
    assert found[["valve", "move_days"]].to_numpy().tolist() == [["A", 5.0], ["B", -4.0]]
    assert same_phases(since[:2], np.full(3, 7.0), names).empty
