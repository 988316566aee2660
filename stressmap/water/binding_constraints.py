"""What limits each valve: a binding constraint (water, pump, hours, set length) or no more benefit."""

from __future__ import annotations

from typing import Literal

import numpy as np

from stressmap.water.fill_schedule import add_shortest_set, affordable_steps, lengthen_set, marginal_benefit
from stressmap.water.formulation import NEAR, PlanInputs
from stressmap.water.schedule import PumpSchedule, Schedule

BindingConstraint = Literal["", "water", "pump", "turns", "hours", "worth"]
BINDING_CONSTRAINTS: tuple[BindingConstraint, ...] = ("water", "pump", "turns", "hours", "worth")
"""The amount; the pump beside other valves; longest set times turns, or the number of sets; hours, days, crew
and rests; more water does no more good by what the valve's zone counts."""


def binding_constraints(case: PlanInputs, schedule: Schedule, turns: int) -> tuple[BindingConstraint, ...]:
    """Find for each valve the constraint that keeps it below its requirement.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    schedule : Schedule
        The finished plan.
    turns : int
        Longest sets that a valve may get.

    Returns
    -------
    tuple of str, length n
        One of :data:`BINDING_CONSTRAINTS`; ``""`` where the requirement is met or the valve is barred.
    """
    left = left_over_m3(case, schedule)
    return tuple(
        ""
        if case.barred[i] or _has_enough(case, schedule, i)
        else _binding_constraint(case, schedule, (i, turns), left)
        for i in range(len(case.problem))
    )


def left_over_m3(case: PlanInputs, schedule: Schedule) -> float:
    """Give the water that a plan leaves unused.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    schedule : Schedule
        The finished plan.

    Returns
    -------
    float
        [m3]; infinite where no volume was given.
    """
    return case.problem.volume_m3 * (1 + NEAR) - case.problem.volume_of(schedule.steps)


def _has_enough(case: PlanInputs, schedule: Schedule, valve: int) -> bool:
    need = case.requirements[valve]
    return float(schedule.steps[valve] * case.net_mm_per_step[valve]) >= need.need_mm * (1 - NEAR)


def _binding_constraint(
    case: PlanInputs, schedule: Schedule, asked: tuple[int, int], left_m3: float
) -> BindingConstraint:
    valve, turns = asked
    problem, steps = case.problem, int(schedule.steps[valve])
    more = _least_more(case, valve, steps)
    if more is None:
        return _own_constraint(case, valve, steps, turns)
    if more > affordable_steps(problem, valve, left_m3):
        return "water"
    if marginal_benefit(problem, schedule.steps, valve) <= 0.0:
        return "worth"
    if _fits_alone(case, schedule, valve, left_m3):
        return "pump" if np.isfinite(problem.capacity_m3_h[problem.pump[valve]]) else "hours"
    sets = sum(one.valve == valve for one in schedule.sets)
    return "turns" if sets >= problem.max_sets[valve] else "hours"


def _least_more(case: PlanInputs, valve: int, steps: int) -> int | None:
    """Return the fewest steps that could be added by the valve's own limits; None where there are none."""
    problem = case.problem
    for total in range(steps + 1, int(problem.max_steps[valve]) + 1):
        if problem.feasible_steps(valve, total) == total:
            return total - steps
    return None


def _own_constraint(case: PlanInputs, valve: int, steps: int, turns: int) -> BindingConstraint:
    longest = case.requirements[valve].max_hours / case.problem.step_hours
    return "turns" if steps >= turns * np.floor(min(longest, 1e6) + NEAR) else "hours"


def _fits_alone(case: PlanInputs, schedule: Schedule, valve: int, left_m3: float) -> bool:
    """Tell whether the valve could run longer if it had its pump to itself."""
    problem, calendar = case.problem, case.calendar
    pump_schedule = PumpSchedule(problem, calendar, int(problem.pump[valve]))
    for one in schedule.sets:
        if one.valve == valve:
            pump_schedule.add(valve, one.start, (one.end - one.start) // calendar.cells_per_step)
    free = int(problem.max_steps[valve] - schedule.steps[valve])
    most = int(min(free, affordable_steps(problem, valve, left_m3)))
    return bool(lengthen_set(pump_schedule, valve, most) or add_shortest_set(pump_schedule, valve, most))
