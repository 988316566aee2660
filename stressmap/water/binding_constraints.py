"""What limits each valve: a binding constraint (water, pump, hours, set length) or no more benefit."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from stressmap.water.fill_schedule import affordable_steps, marginal_benefit, split_by_pump
from stressmap.water.formulation import NEAR, PlanInputs
from stressmap.water.pump_schedule import PumpSchedule
from stressmap.water.schedule import Schedule
from stressmap.water.set_placing import grow

BindingConstraint = Literal["", "water", "pump", "crew", "turns", "rules", "hours", "worth"]
BINDING_CONSTRAINTS: tuple[BindingConstraint, ...] = (
    "water", "pump", "crew", "turns", "rules", "hours", "worth",
)  # fmt: skip
"""The amount, or the source's; the pump beside other valves; turns that the crew can do in half an hour;
longest set times turns; depth, length and number of sets, and the depth of seven days, by the rules; hours,
days, crew hours and rests; more water does no more good by what the valve's zone counts."""


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
    return tuple(
        ""
        if case.barred[i] or _has_enough(case, schedule, i)
        else _binding_constraint(case, schedule, i, turns)
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


def _binding_constraint(case: PlanInputs, schedule: Schedule, valve: int, turns: int) -> BindingConstraint:
    problem, steps = case.problem, int(schedule.steps[valve])
    more = _least_more(case, valve, steps)
    if more is None:
        return _own_constraint(case, valve, steps, turns)
    if more > affordable_steps(problem, valve, schedule.steps):
        return "water"
    if marginal_benefit(problem, schedule.steps, valve) <= 0.0:
        return "worth"
    if _fits(case, schedule, valve, alone=True):
        return _shared_constraint(case, schedule, valve)
    sets = sum(one.valve == valve for one in schedule.sets)
    if sets < problem.max_sets[valve]:
        return "rules" if _is_held_by_week(case, schedule, valve) else "hours"
    return "turns" if problem.max_sets[valve] == turns else "rules"


def _is_held_by_week(case: PlanInputs, schedule: Schedule, valve: int) -> bool:
    """Tell whether the valve could run longer if it were not for the depth of seven days."""
    freed = replace(case, problem=replace(case.problem, week_steps=None))
    return case.problem.week_steps is not None and _fits(freed, schedule, valve, alone=True)


def _shared_constraint(case: PlanInputs, schedule: Schedule, valve: int) -> BindingConstraint:
    """Tell crew and pump apart; where both have place, it is the pump's least flow or its starts."""
    problem, pump = case.problem, case.problem.pump[valve]
    has_habits = problem.pump_starts is not None or problem.pump_least_m3_h[pump] > 0.0
    if _fits(case, schedule, valve, alone=False):
        return "pump" if has_habits and _crew_fits(case, schedule, valve) else "crew"
    return "pump" if np.isfinite(problem.capacity_m3_h[pump]) else "hours"


def _crew_fits(case: PlanInputs, schedule: Schedule, valve: int) -> bool:
    """Tell whether the valve could run longer beside all the others, with the hands that there are."""
    problem = case.problem
    own = split_by_pump(problem, case.calendar, schedule)[int(problem.pump[valve])]
    free = int(problem.max_steps[valve] - schedule.steps[valve])
    return grow(own, valve, int(min(free, affordable_steps(problem, valve, schedule.steps)))) > 0


def _least_more(case: PlanInputs, valve: int, steps: int) -> int | None:
    """Return the fewest steps that could be added by the valve's own limits; None where there are none."""
    problem = case.problem
    for total in range(steps + 1, int(problem.max_steps[valve]) + 1):
        if problem.feasible_steps(valve, total) == total:
            return total - steps
    return None


def _own_constraint(case: PlanInputs, valve: int, steps: int, turns: int) -> BindingConstraint:
    longest = case.requirements[valve].max_hours / case.problem.step_hours
    if steps >= turns * np.floor(min(longest, 1e6) + NEAR):
        return "turns"
    return "hours" if steps >= case.problem.hours[valve].steps else "rules"


def _fits(case: PlanInputs, schedule: Schedule, valve: int, *, alone: bool) -> bool:
    """Tell whether the valve could run longer if it had its pump to itself, or the crew no end of hands."""
    problem = case.problem
    pump_schedule = PumpSchedule(
        replace(problem, crew_turns=len(problem) * 2), case.calendar, int(problem.pump[valve])
    )
    for one in schedule.sets:
        if one.valve == valve or (not alone and problem.pump[one.valve] == problem.pump[valve]):
            pump_schedule.put(one)
    free = int(problem.max_steps[valve] - schedule.steps[valve])
    return grow(pump_schedule, valve, int(min(free, affordable_steps(problem, valve, schedule.steps)))) > 0
