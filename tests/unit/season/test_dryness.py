"""Dryness of zones: sets, books, recovery, the cap of what was not written down, days to come."""

import numpy as np
import pytest

from stressmap.geostat.drying_by_soil import SANDY
from stressmap.season.dryness import CAP_IN_GAPS, MOST_MM, WaterDays, felt_dryness, usual_gap_days

ET_MM, GAP = 6.0, 8


def sets(days: int, at: tuple[int, ...], mm: float = 100.0) -> np.ndarray:
    found = np.zeros((days, 1))
    found[list(at)] = mm
    return found


def felt(
    given: np.ndarray, known: int | None = None, *, holds: float = 400.0, soil: float = 1.0
) -> np.ndarray:
    one = np.ones(given.shape[1])
    days = WaterDays(np.full(len(given), ET_MM), given, len(given) if known is None else known)
    return felt_dryness(days, holds * one, GAP * one, soil * one)


def test_a_zone_dries_by_evapotranspiration_and_recovers_in_days() -> None:
    found = felt(sets(30, (8, 16, 24)))[:, 0]
    # 8 days at 6 mm since the set that brought all back
    assert found[23] == pytest.approx(7 * ET_MM)
    assert found[24] == pytest.approx(found[23] / 2)
    assert np.diff(found[27:30]) == pytest.approx(ET_MM)


def test_a_small_set_counts_half_as_much_as_one_that_brings_all_back() -> None:
    small = sets(30, (8, 16))
    small[16] = 20.0
    # in 8 days 48 mm went and 20 came: 28 mm more are lacking by the books, none since the set
    assert felt(small)[20, 0] - felt(sets(30, (8, 16)))[20, 0] == pytest.approx(28.0 / 2)


def test_a_set_that_was_not_written_down_dries_a_zone_no_further_than_the_cap() -> None:
    missed = felt(sets(40, (8, 16, 32)))[:, 0]
    assert missed[31] == pytest.approx(CAP_IN_GAPS * GAP * ET_MM)
    # and the days after the next set are as if it had been
    assert missed[38] == pytest.approx(felt(sets(40, (8, 16, 24, 32)))[38, 0])


def test_days_to_come_dry_on_from_what_is_felt_until_the_planned_set() -> None:
    given = sets(60, (8, 16, 24, 55))
    found = felt(given, known=40)[:, 0]
    assert found[39] == pytest.approx(CAP_IN_GAPS * GAP * ET_MM)
    assert np.diff(found[39:54]) == pytest.approx(ET_MM)
    assert found[55] < found[54]


def test_a_zone_that_the_log_never_names_is_as_dry_as_the_others() -> None:
    given = np.column_stack([sets(30, (8, 16, 24)), sets(30, (5, 13, 21)), np.zeros((30, 1))])
    found = felt(given)
    assert found[:, 2] == pytest.approx(found[:, :2].mean(axis=1))


def test_sand_dries_faster_and_rain_puts_off() -> None:
    given = sets(30, (8, 16, 24))
    assert felt(given, soil=SANDY) == pytest.approx(1.25 * felt(given))
    rain = np.where(np.arange(30) == 27, 10.0, 0.0)
    one = np.ones(1)
    wet = felt_dryness(WaterDays(np.full(30, ET_MM), given, 30, rain), 400 * one, GAP * one, one)
    assert wet[28, 0] < felt(given)[28, 0]
    assert wet[26, 0] == felt(given)[26, 0]


def test_the_usual_gap_is_that_of_the_block_or_of_all_or_of_the_log() -> None:
    given = np.column_stack([sets(40, (0, 6, 12, 30)), sets(40, (1, 11)), np.zeros((40, 1))])
    assert usual_gap_days(given, np.array([0, 1, 2])).tolist() == [6.0, 10.0, 8.0]
    assert usual_gap_days(np.zeros((40, 1)), np.zeros(1, dtype=np.int64)).tolist() == [40.0]


def test_sets_that_go_on_past_midnight_are_one_and_daily_water_is_daily() -> None:
    past_midnight = sets(40, (0, 1, 8, 9, 16, 17, 24, 25))
    assert usual_gap_days(past_midnight, np.zeros(1, dtype=np.int64)).tolist() == [7.0]
    daily = sets(40, tuple(range(40)))
    assert usual_gap_days(daily, np.zeros(1, dtype=np.int64)).tolist() == [1.0]


def test_no_zone_is_drier_than_the_most_whatever_the_log_leaves_out() -> None:
    assert felt(sets(120, (3,)), known=1)[-1, 0] == MOST_MM
