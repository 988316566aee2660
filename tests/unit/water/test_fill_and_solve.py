"""A bound that proves something, and a schedule that is filled while there is water."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from helpers.water_cases import need

from stressmap.core.settings import Water
from stressmap.water.fill_schedule import fill_schedule
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.milp import solve_milp
from stressmap.water.schedule import Schedule


def case_of(available: str) -> PlanInputs:
    needs = [need(k, area_ha=2.0 + 0.3 * k, dry_bar=1.0 + 0.4 * k, min_hours=2.0) for k in range(6)]
    settings = Water.model_validate({"available": available})
    return formulate(needs, settings, dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles"))


@pytest.mark.parametrize("available", ["600 m3", "1500 m3"])
def test_the_bound_of_a_small_plan_is_hardly_over_what_the_plan_brings(available: str) -> None:
    """It proves the plan optimal to a thousandth, where all the water there could be would bring far more."""
    problem = case_of(available).problem
    found = solve_milp(problem)
    everything = solve_milp(case_of("100000 m3").problem)
    assert found.benefit <= found.bound <= 1.001 * found.benefit
    assert found.benefit < 0.8 * everything.benefit


@pytest.mark.parametrize("available", ["600 m3", "1500 m3"])
def test_an_empty_schedule_is_filled_until_the_water_is_used(available: str) -> None:
    made = case_of(available)
    problem = made.problem
    empty = Schedule((), np.zeros(len(problem), dtype=np.int64))
    full = fill_schedule(problem, made.calendar, empty)
    used = problem.volume_of(full.steps)
    assert used <= problem.volume_m3 * (1 + 1e-9)
    largest = float((problem.flow_m3_h * problem.step_hours).max())
    assert used > problem.volume_m3 - 2.0 / problem.step_hours * largest, "less than a shortest set is left"
