"""Hours of dear power: left out where that costs next to nothing, and the crew's time around them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from helpers.water_cases import need, terms

from stressmap.core.settings import Water
from stressmap.output.view.manner_words import dear_lines
from stressmap.output.view.plan_words import WaterWords
from stressmap.water.calendar import calendar
from stressmap.water.crew_turns import CrewTurns, Pause, pauses_of
from stressmap.water.equal_sets import most_in_equal_sets, sets_in_turn
from stressmap.water.formulation import formulate
from stressmap.water.plan_and_schedule import plan_and_schedule
from stressmap.water.valve_hours import stretches_within
from stressmap.water.water_plan import Advice, advise, timetable_table

DAY, ZONE = dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles")
DEAR = (dt.time(16), dt.time(21))


def advice(count: int, pump: float, use_mm: float = 5.0, **own: Any) -> Advice:
    keys = {"pump": f"{pump} m3/h", "days": 2, "crew_hours": ["05:00", "21:00"], "draws": 0} | own
    water = Water.model_validate(keys)
    needs = [need(k, system="drip", area_ha=1.0, etc_until_mm=use_mm, dry_bar=0.5) for k in range(count)]
    return advise(formulate(needs, water, DAY, ZONE), terms(water, DAY))


def in_dear_hours(made: Advice) -> list[str]:
    found = []
    for one in timetable_table(made).itertuples():
        clock = pd.date_range(one.start, one.end, freq="15min", inclusive="left")
        if ((clock.hour >= 16) & (clock.hour < 21)).any():
            found.append(one.valve)
    return found


def test_dear_hours_are_left_out_where_there_is_time_enough() -> None:
    made = advice(4, 100.0)
    assert made.avoids_dear
    assert made.dear_cost == pytest.approx(0.0, abs=1e-9)
    assert in_dear_hours(made) == []
    (line,) = dear_lines(made, WaterWords("en", "metric"))
    assert line.startswith("Nothing that can wait runs from 16:00 to 21:00")


def test_dear_hours_are_used_where_much_would_be_lost_and_the_plan_says_so() -> None:
    """One valve at a time: 33 of 43 hours are cheap, all 43 are needed."""
    made = advice(6, 16.0, use_mm=20.0)
    assert not made.avoids_dear
    assert made.dear_cost is not None
    assert made.dear_cost > 0.03
    assert in_dear_hours(made)
    assert "would be lost" in dear_lines(made, WaterWords("en", "metric"))[0]
    assert "se perdería" in dear_lines(made, WaterWords("es", "metric"))[0]


def test_no_dear_hours_no_word() -> None:
    made = advice(2, 100.0, dear_hours=[])
    assert made.dear_cost is None
    assert dear_lines(made, WaterWords("en", "metric")) == []


def test_one_crew_sets_many_valves_while_the_pump_stands() -> None:
    """Thirty valves at night with six turns in half an hour: those of 21:00 are opened from 16:00 on."""
    needs = [need(k, system="drip", area_ha=1.0, etc_until_mm=8.0 + 0.25 * k, dry_bar=1.0) for k in range(30)]
    water = Water.model_validate({"days": 3, "crew_hours": ["05:00", "21:00"], "draws": 0})
    case = formulate(needs, water, DAY, ZONE)
    made = plan_and_schedule(case.problem, case.calendar, case.benefit_model.dry_bar, cheap=case.cheap)
    assert made.problem is case.cheap
    opened = pd.Series([case.calendar.clock(one.start).hour for one in made.timetable.sets]).value_counts()
    assert opened.get(21, 0) > 6
    assert (made.timetable.steps > 0).all()


def test_pauses_hold_what_the_crew_turns_in_them() -> None:
    """16 to 21 with the crew until 20:00: four hours, eight half hours of six valves."""
    laid = calendar(DAY, 1, ZONE, crew=(dt.time(5), dt.time(20)))
    stretches = stretches_within(laid, DEAR)
    assert stretches == ((32, 42),)
    (pause,) = pauses_of(laid, stretches, 6)
    assert (pause.first, pause.last) == (32, 42)
    assert pause.most in {48, 54}, "the last moment of the crew may count as one more"


def test_turns_in_a_pause_are_counted_together_and_on_running_pumps_by_the_half_hour() -> None:
    crew = CrewTurns(48, 30, 2, (Pause(32, 42, 3),))
    for end in (45, 48):
        crew.add(42, end, stands=True)
    assert crew.can_turn(4, stands=True)[42]
    crew.add(36, 44)
    assert not crew.can_turn(4, stands=True)[42], "three turns, one of them on a pump that runs"
    assert not crew.can_turn(2)[37], "nor has it time for others"
    crew.add(36, 44, -1)
    assert crew.can_turn(4, stands=True)[42]
    assert np.flatnonzero(~crew.can_turn(4)).tolist() == [], "two more fit at any moment of a running pump"


def test_the_most_in_equal_sets_by_hand() -> None:
    """Nights of 19 h from 21 to 16, the crew from 5 to 21: of 16 h every second night, three in a week."""
    keys = {"days": 7, "crew_hours": ["05:00", "21:00"], "draws": 0, "least_set_mm": {"drip": 15}}
    needs = [need(0, system="drip", rate_mm_h=1.2, etc_until_mm=70.0, area_ha=1.0)]
    case = formulate(needs, Water.model_validate(keys), DAY, ZONE)
    assert case.cheap is not None
    assert sets_in_turn(case.cheap.hours[0], 32, (48, 0), 9) == 3
    assert sets_in_turn(case.cheap.hours[0], 22, (48, 0), 9) == 4, "11 h fit a day too"
    assert most_in_equal_sets(case.cheap).tolist() == [96]
    assert case.cheap.max_steps.tolist() == [96]
    none = replace(case.cheap, set_lengths=((),))
    assert most_in_equal_sets(none).tolist() == [0]
