"""What the crew can open and close, as rows of the allocation: by hand, and against sets truly placed."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from helpers.water_cases import PLAIN, need

from stressmap.core.settings import Water
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.capacity_constraints import crew_constraints
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.milp import solve_milp
from stressmap.water.plan_and_schedule import plan_and_schedule
from stressmap.water.pump_schedule import PumpSchedule

FIRST, UTC = dt.date(2026, 7, 16), ZoneInfo("UTC")
NIGHTS = {"hours": ["20:00", "06:00"], "crews": 1, "crew_valves": 2, "travel_minutes": 0}


def case_of(count: int, *, min_hours: float, **water: object) -> PlanInputs:
    needs = [need(k, dry_bar=6.0, min_hours=min_hours, max_hours=12.0) for k in range(count)]
    return formulate(needs, Water.model_validate(PLAIN | NIGHTS | water), FIRST, UTC)


def kinds(problem: AllocationProblem) -> np.ndarray:
    return np.array([i for i, lengths in enumerate(problem.set_lengths) for _ in lengths])


def test_sets_of_a_whole_night_are_as_many_as_the_crew_can_open_at_its_start() -> None:
    """By hand: two valves a half hour, three nights of ten hours, sets of ten hours: six sets."""
    case = case_of(8, min_hours=10.0, days=3, turns=1)
    assert solve_milp(case.problem).steps.sum() == 6 * 20
    planned = plan_and_schedule(case.problem, case.calendar, case.benefit_model.dry_bar)
    assert len(planned.timetable.sets) == 6
    assert planned.solution.gap < 1e-5


def test_where_the_crew_is_large_there_are_no_rows() -> None:
    problem = case_of(8, min_hours=10.0, days=3, turns=1, crews=4).problem
    assert crew_constraints(problem, kinds(problem)).shape[0] == 0


@pytest.mark.parametrize("step_hours", [0.25, 0.5, 1.0])
def test_no_sets_that_find_a_place_break_a_row(step_hours: float) -> None:
    """Sets drawn at random and placed wherever the hours and the crew allow."""
    case = case_of(12, min_hours=4.0, days=4, step_hours=step_hours)
    problem = replace(case.problem, capacity_m3_h=np.array([np.inf]))
    set_of = kinds(problem)
    rows = crew_constraints(problem, set_of)
    assert rows.shape[0] > 0
    for seed in range(12):
        rng = np.random.default_rng([5, seed])
        steps, count = np.zeros(len(problem)), np.zeros(len(set_of))
        placing = PumpSchedule(problem, case.calendar, 0)
        for valve in rng.permutation(np.repeat(np.arange(len(problem)), 3)).tolist():
            low, high = problem.set_lengths[valve][0]
            length = high if seed == 0 else int(rng.integers(low, high + 1))
            starts = placing.feasible_starts(valve, length)
            if len(starts):
                placing.add(valve, int(starts[0] if seed < 6 else rng.choice(starts)), length)
                steps[valve] += length
                count[valve] += 1
        assert (rows @ np.concatenate([steps, count]) <= 1.0 + 1e-9).all()
