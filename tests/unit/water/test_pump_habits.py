"""What pumps bear: least flow and starts a day, on schedules small enough to see through."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from helpers.water_cases import PLAIN, need, terms

from stressmap.core.settings import Water
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.pump_habits import fault, mend_for_pumps
from stressmap.water.pump_schedule import Set
from stressmap.water.schedule import Schedule, steps_by_valve
from stressmap.water.water_plan import advise, plan_table, timetable_table

FIRST = dt.date(2026, 7, 16)
FREE = PLAIN | {"rest_hours": 0.0, "draws": 0}


def case_of(count: int, **water: Any) -> PlanInputs:
    """Valves of 60 m3/h each at pump A; cells of half an hour."""
    settings = Water.model_validate(FREE | water)
    return formulate([need(k, pump="A") for k in range(count)], settings, FIRST, ZoneInfo("UTC"))


def mended(case: PlanInputs, *sets: Set) -> list[Set]:
    steps = steps_by_valve(sets, len(case.problem), case.calendar)
    return list(mend_for_pumps(case.problem, case.calendar, Schedule(sets, steps)).sets)


@pytest.mark.parametrize(
    ("load", "least", "starts", "wrong"),
    [
        ([0, 0, 0, 0], 50.0, 1, 0),
        ([60, 60, 0, 0], 50.0, 1, 0),
        ([60, 40, 0, 0], 50.0, 1, 1),
        ([60, 0, 60, 0], 50.0, 1, 1),
        ([60, 0, 60, 0], 50.0, 2, 0),
        ([60, 0, 60, 0], 50.0, None, 0),
        ([40, 0, 40, 0], 50.0, 1, 3),
    ],
)
def test_cells_of_little_flow_and_starts_too_many_are_counted(
    load: list[float], least: float, starts: int | None, wrong: int
) -> None:
    assert fault(np.array(load, dtype=float), [1, 1, 1, 1], least, starts) == wrong
    assert fault(np.array(load, dtype=float), [1, 1, 2, 2], least, 1) <= wrong, "each day has its own starts"


def test_a_pump_without_habits_is_left_alone() -> None:
    case = case_of(2)
    assert mended(case, Set(0, 4, 0), Set(10, 14, 1)) == [Set(0, 4, 0), Set(10, 14, 1)]


def test_sets_are_moved_beside_each_other_for_the_least_flow() -> None:
    """Two valves of 60 m3/h at a pump that gives 100 at least run together or not at all."""
    case = case_of(2, pumps={"A": "200 m3/h"}, pump_least={"A": "100 m3/h"})
    found = mended(case, Set(0, 4, 0), Set(10, 14, 1))
    assert [(one.start, one.end) for one in found] == [(found[0].start, found[0].end)] * 2
    assert mended(case, Set(0, 4, 0)) == [], "alone it cannot run"


def test_sets_follow_each_other_where_the_pump_may_start_once_a_day() -> None:
    case = case_of(2, pumps={"A": "70 m3/h"}, pump_starts=1, days=1)
    one, other = mended(case, Set(0, 4, 0), Set(10, 14, 1))
    assert one.end == other.start
    assert {one.valve, other.valve} == {0, 1}


def test_no_day_of_a_plan_has_more_starts_than_allowed_and_the_reason_is_the_pump() -> None:
    """Nights only, two valves at a time of which none fits beside another: one start a night."""
    settings = Water.model_validate(
        {"pumps": {"A": "70 m3/h"}, "pump_starts": 1, "days": 3, "hours": ["06:00", "18:00"], "draws": 0}
    )
    needs = [need(k, pump="A") for k in range(4)]
    made = advise(formulate(needs, settings, FIRST, ZoneInfo("UTC")), terms(settings, FIRST))
    sets = timetable_table(made).sort_values("start")
    begun = sets["start"][sets["start"] != sets["end"].shift()]
    assert max(Counter(moment.date() for moment in begun).values()) == 1
    assert plan_table(made)["hours"].sum() == pd.to_numeric(sets["hours"]).sum() > 0


def test_a_valve_alone_under_the_least_flow_of_its_pump_is_dry_because_of_the_pump() -> None:
    settings = Water.model_validate(
        {"pumps": {"A": "200 m3/h"}, "pump_least": {"A": "150 m3/h"}, "draws": 0, "days": 7}
    )
    case = formulate([need(k, pump="A") for k in range(2)], settings, FIRST, ZoneInfo("UTC"))
    plan = plan_table(advise(case, terms(settings, FIRST)))
    assert plan["hours"].tolist() == [0.0, 0.0]
    assert plan["limited_by"].tolist() == ["pump", "pump"]
