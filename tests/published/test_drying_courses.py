"""Published drying and recovery of trees, held against how seasons tell days left and dryness.

- Influence of preharvest irrigation cutoff duration and postharvest water deprivation in almond, conference
  abstract (read; the paper: Irrigation Science 19:125-131, 2000): sandy loam, well watered before, predawn
  -18 bar ten and -31 bar twenty days after the last water.
- Interpretation for the Beginner, university extension manual on stem water potential (read): walnut goes
  from -4 to -5 bar after an irrigation to about -8 bar before the next, 3 to 4 bar a cycle.
- Purchasing a Pressure Chamber and Preparing to Monitor, the same manual (read): measure from 13 to 15 h,
  daylight time.
- Recovery within one to three days after mild stress: from memory only.

Other rows of the same kind: prune's and almond's water use under stress stand in ``test_prune_water_use.py``
and ``test_almond_water_use.py``. Not held here: leaf drop from thirty days on (nothing foretells it),
recovery over one to two weeks or never after severe stress (from memory only; the model takes a day or two
after any set).
"""

import datetime as dt

import numpy as np
import pytest

from stressmap.core.settings import Reading
from stressmap.season.days_left import days_left, first_crossing
from stressmap.season.dryness import WaterDays, felt_dryness
from stressmap.season.irrigation_cycles import RECOVERY_DAYS


def test_the_day_on_which_almond_passed_a_level_after_the_last_water_is_found_on_its_course() -> None:
    # from -5 bar at the last water (well watered; common practice, no source) by -18 to -31 bar
    course = np.interp(np.arange(22.0), [0.0, 10.0, 20.0], [5.0, 18.0, 31.0])[:, None]
    assert first_crossing(course, np.array([18.0])).tolist() == [10.0]
    # 1.3 bar a day in the second ten days: 6.5 bar more are five days
    assert first_crossing(course, np.array([24.5]))[0] == pytest.approx(15.0)
    left = days_left(course, np.full((22, 22, 1), 1.3**2), np.array([24.5]))
    assert left.mean[0] == pytest.approx(15.0, abs=0.05)
    # an error of a day's drying that stays the same: nine in ten within 1.645 days on both sides
    assert (left.high - left.low)[0] == pytest.approx(2 * 1.645, abs=0.15)


@pytest.mark.parametrize(("after", "before", "days"), [(-4.0, -8.0, 8), (-5.0, -8.0, 8), (-4.0, -8.0, 7)])
def test_a_walnut_cycle_is_due_again_when_it_was_watered_again(
    after: float, before: float, days: int
) -> None:
    # seven or eight days from one irrigation to the next: common practice, no source
    course = -(after + (before - after) * np.arange(22.0) / days)[:, None]
    assert days_left(course, np.zeros((22, 22, 1)), np.array([-before])).mean[0] == pytest.approx(
        days, abs=1e-6
    )


def test_trees_are_felt_to_be_back_within_three_days_of_a_set_and_read_after_two() -> None:
    sets = np.zeros((14, 1))
    sets[9] = 100.0
    one = np.ones(1)
    # the trees use nothing after the set, so that only their recovery is seen
    et = np.where(np.arange(14) < 9, 6.0, 0.0)
    felt = felt_dryness(WaterDays(et, sets, 14), 100.0 * one, 14.0 * one, one)[:, 0]
    back = 1.0 - felt[9:13] / felt[8]
    assert 0.3 <= back[0] < 0.9  # not within the day itself
    assert back[2] >= 0.8  # by the third day
    assert RECOVERY_DAYS == 2.0


def test_readings_count_in_the_published_hours() -> None:
    assert Reading().window == (dt.time(13), dt.time(15))
