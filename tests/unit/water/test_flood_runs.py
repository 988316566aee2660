"""Flooding by head: gates in order, blocks that are due, all checks of a block or none."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from helpers.water_cases import PLAIN, need, terms

from stressmap.core.settings import Water
from stressmap.output.view.manner_words import head_lines
from stressmap.output.view.plan_words import WaterWords
from stressmap.water.alternatives import driest_first, equal_share
from stressmap.water.flood_runs import gate_order, runs_of_checks, waits_for_head
from stressmap.water.formulation import formulate
from stressmap.water.milp import solve_milp
from stressmap.water.pump_schedule import Set
from stressmap.water.requirement import Requirement
from stressmap.water.schedule import Schedule, whole_runs
from stressmap.water.unbroken_heads import rests_of_heads, without_idle_heads
from stressmap.water.water_plan import advise, plan_table, timetable_table
from stressmap.water.water_sources import ValveSupply

DAY, ZONE = dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles")


def check(k: int, **own: Any) -> Requirement:
    """A check of a hectare that takes 12 mm/h: 7 full hours for its 75 mm or more."""
    facts: dict[str, Any] = {
        "system": "flood", "area_ha": 1.0, "rate_mm_h": 12.0, "factor": 0.8, "missing_mm": 60.0,
        "dry_bar": 2.0, "mm_per_bar": 14.0, "etc_until_mm": 35.0, "most_net_mm": 45.0,
    }  # fmt: skip
    return need(k, **(facts | own))


def water(available: float, **own: Any) -> Water:
    return Water.model_validate({"available": f"{available} m3", "pump": "120 m3/h", "days": 7} | own)


def test_gates_go_before_names_and_names_by_their_numbers() -> None:
    checks = [replace(check(k), valve=name) for k, name in enumerate(("HO10", "HO2", "A", "B"))]
    supplies = {"A": ValveSupply(None, 2.0), "B": ValveSupply(None, 1.0)}
    assert gate_order(checks, supplies).tolist() == [3, 2, 1, 0]
    assert gate_order([need(0)], {}).tolist() == [-1]


def test_a_block_waits_until_its_root_zones_take_a_whole_set() -> None:
    """75 mm at 0.8 are 60 mm for the trees: 50 mm and 3.5 days of 5 mm are more, 40 mm are less.

    By area: 3 ha that lack 40 mm and 1 ha that lacks 60 mm are 45 mm, and 62.5 mm in the middle of the week.
    """
    plan = water(1000.0)
    assert waits_for_head([check(0, missing_mm=50.0)], plan) == (False,)
    assert waits_for_head([check(0, missing_mm=40.0)], plan) == (True,)
    mixed = [check(0, missing_mm=40.0, area_ha=3.0), check(1, missing_mm=60.0), need(2)]
    assert waits_for_head(mixed, plan) == (False, False, False)
    assert waits_for_head([check(0, missing_mm=float("nan"))], plan) == (False,), "not known: not held back"
    case = formulate([check(0, missing_mm=40.0), need(1)], plan, DAY, ZONE)
    assert case.barred == ("waits", "")


def test_only_checks_of_one_block_that_may_run_go_together() -> None:
    checks = [check(k, block=block) for k, block in enumerate("AABA")]
    assert runs_of_checks(checks, [True, True, True, True]) == ((0, 1, 3),)
    assert runs_of_checks(checks, [False, True, True, True]) == ((1, 3),)


@pytest.mark.parametrize(("available", "served"), [(2 * 840.0, 0), (3 * 840.0, 3), (3 * 840.0 + 200.0, 3)])
def test_a_head_waters_all_its_checks_or_does_not_come(available: float, served: int) -> None:
    """Three checks of 840 m3 each: water for two of them waters none, even though one is far drier."""
    case = formulate([check(0, dry_bar=4.0), check(1), check(2)], water(available), DAY, ZONE)
    made = advise(case, terms(water(available), DAY))
    table, sets = plan_table(made), timetable_table(made)
    assert int((table["hours"] > 0).sum()) == served
    assert sets["valve"].tolist() == ["V1", "V2", "V3"][:served], "in the order of the gates"
    assert (sets["start"].iloc[1:].to_numpy() >= sets["end"].iloc[:-1].to_numpy()).all()
    for steps in (equal_share(case), driest_first(case), solve_milp(case.problem).steps):
        assert int((steps > 0).sum()) in {0, 3}
    assert solve_milp(case.problem).bound >= made.solution.benefit


def test_a_valve_beside_the_head_gets_what_is_not_enough_for_it() -> None:
    plan = water(2 * 840.0, **PLAIN)
    case = formulate([check(0), check(1), check(2), need(3)], plan, DAY, ZONE)
    made = advise(case, terms(plan, DAY))
    assert [bool(steps) for steps in made.solution.steps] == [False, False, False, True]


def test_runs_in_part_are_taken_away() -> None:
    problem = formulate([check(0), check(1), need(2)], water(5000.0), DAY, ZONE).problem
    assert problem.run_of(1) == (0, 1)
    assert problem.run_of(2) == (2,)
    assert problem.whole_runs(np.array([14, 0, 3])).tolist() == [0, 0, 3]
    assert problem.whole_runs(np.array([14, 16, 0])).tolist() == [14, 16, 0]
    kept = Schedule((), np.array([14, 14, 0]))
    assert whole_runs(problem, kept) is kept


def test_a_head_goes_on_through_the_night_and_where_nobody_turns_checks_then_the_plan_says_so() -> None:
    """Four checks of 7 h one after another are 28 h. With a crew from 5 to 21 two fit a day: the head stands
    from 19 or later to 5 on the next day; a set of 7 h between 21 and 5 could not be closed.
    """
    checks = [check(k) for k in range(4)]
    for own, rests in (({}, 0), ({"crew_hours": ["05:00", "21:00"]}, 1)):
        plan = water(4 * 840.0, **own)
        made = advise(formulate(checks, plan, DAY, ZONE), terms(plan, DAY))
        sets = timetable_table(made).sort_values("start")
        gaps = [(b.start - a.end).total_seconds() / 3600 for a, b in pairwise(sets.itertuples())]
        assert len(sets) == 4
        assert sum(gap > 0 for gap in gaps) == rests
        lines = [line for language in ("en", "es") for line in head_lines(made, WaterWords(language))]
        assert len(lines) == 2 * rests
        if rests:
            assert max(gaps) <= 10, "the night, and hours too few for another check"
            assert "stands from Thu Jul 16" in lines[0]
            assert "05:00" in lines[0]
            assert "se detiene (jue 16 jul" in lines[1]


def test_a_check_that_waits_for_nothing_is_opened_as_soon_as_the_head_is_free() -> None:
    """By hand: the second of two checks moved 24 h later comes back to where the first one ends."""
    plan = water(2 * 840.0)
    case = formulate([check(0), check(1)], plan, DAY, ZONE)
    length = 7 * 2 * case.calendar.cells_per_step
    late = (Set(0, length, 0), Set(length + 48, 2 * length + 48, 1))
    schedule = Schedule(late, np.array([14, 14]))
    assert [(rest.first, rest.last) for rest in rests_of_heads(case.problem, schedule)] == [
        (length, length + 48)
    ]
    closed = without_idle_heads(case.problem, case.calendar, schedule)
    assert closed.sets == (Set(0, length, 0), Set(length, 2 * length, 1))
    assert rests_of_heads(case.problem, closed) == []
