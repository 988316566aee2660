"""What keeps each valve from more water: the water there is, its pump, the hours, or its longest sets."""

from __future__ import annotations

from typing import Literal

import numpy as np

from stressmap.water.fill_schedule import affordable, another_of, longer_by, marginal_benefit
from stressmap.water.formulation import NEAR, PlanInputs
from stressmap.water.schedule import PumpSchedule, Schedule

Limit = Literal["", "water", "pump", "turns", "hours", "worth"]
LIMITS: tuple[Limit, ...] = ("water", "pump", "turns", "hours", "worth")
"""The amount; the pump beside other valves; longest set times turns, or the number of sets; hours, days, crew
and rests; more water does no more good by what the valve's zone counts."""


def limits_of(case: PlanInputs, table: Schedule, turns: int) -> tuple[Limit, ...]:
    """Tell for each valve what stops it short of its need.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    table : Schedule
        The finished plan.
    turns : int
        Longest sets that a valve may get.

    Returns
    -------
    tuple of str, length n
        One of :data:`LIMITS`; ``""`` for a valve that has what it needs, or cannot or need not run.
    """
    left = left_over_m3(case, table)
    return tuple(
        "" if case.barred[i] or _has_enough(case, table, i) else _limit(case, table, (i, turns), left)
        for i in range(len(case.problem))
    )


def left_over_m3(case: PlanInputs, table: Schedule) -> float:
    """Give the water that a plan leaves unused.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    table : Schedule
        The finished plan.

    Returns
    -------
    float
        [m3]; infinite where no volume was given.
    """
    return case.problem.volume_m3 * (1 + NEAR) - case.problem.volume_of(table.steps)


def _has_enough(case: PlanInputs, table: Schedule, valve: int) -> bool:
    need = case.needs[valve]
    return float(table.steps[valve] * case.net_mm_per_step[valve]) >= need.need_mm * (1 - NEAR)


def _limit(case: PlanInputs, table: Schedule, asked: tuple[int, int], left_m3: float) -> Limit:
    valve, turns = asked
    problem, steps = case.problem, int(table.steps[valve])
    more = _least_more(case, valve, steps)
    if more is None:
        return _own_limit(case, valve, steps, turns)
    if more > affordable(problem, valve, left_m3):
        return "water"
    if marginal_benefit(problem, table.steps, valve) <= 0.0:
        return "worth"
    if _fits_alone(case, table, valve, left_m3):
        return "pump" if np.isfinite(problem.capacity_m3_h[problem.pump[valve]]) else "hours"
    sets = sum(one.valve == valve for one in table.sets)
    return "turns" if sets >= problem.most_sets[valve] else "hours"


def _least_more(case: PlanInputs, valve: int, steps: int) -> int | None:
    """Return the fewest steps that could be added by the valve's own limits; None where there are none."""
    problem = case.problem
    for total in range(steps + 1, int(problem.most_steps[valve]) + 1):
        if problem.allowed(valve, total) == total:
            return total - steps
    return None


def _own_limit(case: PlanInputs, valve: int, steps: int, turns: int) -> Limit:
    longest = case.needs[valve].max_hours / case.problem.step_hours
    return "turns" if steps >= turns * np.floor(min(longest, 1e6) + NEAR) else "hours"


def _fits_alone(case: PlanInputs, table: Schedule, valve: int, left_m3: float) -> bool:
    """Tell whether the valve could run longer if it had its pump to itself."""
    problem, calendar = case.problem, case.calendar
    lane = PumpSchedule(problem, calendar, int(problem.pump[valve]))
    for one in table.sets:
        if one.valve == valve:
            lane.put(valve, one.start, (one.end - one.start) // calendar.cells_per_step)
    free = int(problem.most_steps[valve] - table.steps[valve])
    most = int(min(free, affordable(problem, valve, left_m3)))
    return bool(longer_by(lane, valve, most) or another_of(lane, valve, most))
