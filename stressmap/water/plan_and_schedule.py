"""Plan and timetable together: what the plan gives and a timetable can hold."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.water.allocation_problem import AllocationProblem, Solution
from stressmap.water.calendar import Calendar
from stressmap.water.fill_schedule import fill_schedule, join_sets
from stressmap.water.large_neighbourhood import large_neighbourhood_search
from stressmap.water.milp import solve_milp
from stressmap.water.schedule import Schedule, build_schedule

ROUNDS = 2
CLOSE = 1e-9


@dataclass(frozen=True)
class Plan:
    """A plan that can be carried out.

    Parameters
    ----------
    solution : Solution
        What the valves really get by the timetable, held against the proven bound.
    timetable : Schedule
        When.
    asked_worth : float
        What the plan was worth before it was laid in time [ha·bar²].
    """

    solution: Solution
    timetable: Schedule
    asked_worth: float


def plan_and_schedule(
    problem: AllocationProblem,
    calendar: Calendar,
    urgency: Floats,
    *,
    time_limit_s: float = 30.0,
) -> Plan:
    """Find the best plan and lay it in time; where it does not fit, plan again with what does.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    urgency : array of float, shape (n,)
        The higher, the earlier a valve is watered [bar].
    time_limit_s : float
        For all rounds together [s].

    Returns
    -------
    Plan
    """
    began = time.monotonic()
    first = solve_milp(problem, time_limit_s=time_limit_s)
    asked, narrowed = first, problem
    best: Schedule | None = None
    if first.stopped:
        # Cut short, the search may have found little or nothing: a greedy plan is then the better start.
        best = fill_schedule(problem, calendar, Schedule((), np.zeros(len(problem), dtype=np.int64)))
    for _ in range(ROUNDS):
        table = build_schedule(problem, asked.steps, calendar, urgency)
        if (table.steps < asked.steps).any():
            table = fill_schedule(problem, calendar, table)
        if best is None or problem.worth(table.steps) > problem.worth(best.steps) + CLOSE:
            best = table
        left = time_limit_s - (time.monotonic() - began)
        if (table.steps >= asked.steps).all() or left <= 0:
            break
        narrowed = replace(
            narrowed, most_steps=np.where(table.steps < asked.steps, table.steps, narrowed.most_steps)
        )
        asked = solve_milp(narrowed, time_limit_s=left)
    if best is not None:
        best = join_sets(problem, calendar, large_neighbourhood_search(problem, calendar, best, first.bound))
        best = _filled(problem, calendar, best)
    worth = problem.worth(best.steps) if best else 0.0
    steps = best.steps if best else first.steps
    return Plan(
        Solution(steps, worth, max(first.bound, worth), first.stopped),
        best or Schedule((), steps),
        first.worth,
    )


def _filled(problem: AllocationProblem, calendar: Calendar, table: Schedule) -> Schedule:
    """Use what the search's gap and the joining of sets left, until nothing more has a place."""
    for _ in range(ROUNDS):
        fuller = join_sets(problem, calendar, fill_schedule(problem, calendar, table))
        if (fuller.steps == table.steps).all():
            return table
        table = fuller
    return table
