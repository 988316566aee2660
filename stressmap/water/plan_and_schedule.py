"""Allocation and schedule together: solve, schedule, and solve again with what could be scheduled."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem, Solution
from stressmap.water.calendar import Calendar
from stressmap.water.dear_hours import out_of_dear_hours
from stressmap.water.fill_schedule import fill_schedule, join_sets
from stressmap.water.large_neighbourhood import is_as_good, large_neighbourhood_search
from stressmap.water.milp import HELD, bound_beside, solve_milp
from stressmap.water.pump_habits import mend_for_pumps
from stressmap.water.schedule import Schedule, build_schedule
from stressmap.water.unbroken_heads import without_idle_heads

ROUNDS = 2
CLOSE = 1e-9


DEAR_SHARE = 0.03
"""Share of the relief that leaving out the hours of dear power may cost at most: less than what other
draws of the stress change; a judgement."""


@dataclass(frozen=True)
class Plan:
    """An allocation with a feasible schedule.

    Parameters
    ----------
    solution : Solution
        What the valves get by the schedule, against the proven bound of plans in the same hours.
    timetable : Schedule
        When.
    problem : AllocationProblem
        Whose hours it keeps to: all, or those without the dear ones.
    dear_cost : float or None
        Share of the relief that leaving out the dear hours costs at most; None where there are none.
    """

    solution: Solution
    timetable: Schedule
    problem: AllocationProblem
    dear_cost: float | None = None


def plan_and_schedule(
    problem: AllocationProblem,
    calendar: Calendar,
    urgency: Floats,
    *,
    cheap: AllocationProblem | None = None,
    time_limit_s: float = 30.0,
) -> Plan:
    """Find the best allocation and schedule it; where it does not fit, solve again with what does.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    urgency : array of float, shape (n,)
        The higher, the earlier a valve is watered [bar].
    cheap : AllocationProblem, optional
        The same without the hours of dear power. It is kept to where that costs no relief beyond the limits
        and no more than :data:`DEAR_SHARE` of the rest; of what runs in dear hours then, no set could wait.
    time_limit_s : float
        For all rounds together [s].

    Returns
    -------
    Plan
    """
    deadline = time.monotonic() + time_limit_s
    first = solve_milp(problem, time_limit_s=time_limit_s)
    if cheap is None:
        found = _scheduled(problem, calendar, urgency, first, deadline)
        return Plan(_proven(problem, found.steps, first), found, problem)
    own = solve_milp(cheap, time_limit_s=max(1.0, deadline - time.monotonic()))
    best = _scheduled(cheap, calendar, urgency, own, deadline)
    most = first.past_limit, first.benefit
    dear = tuple((pause.first, pause.last) for pause in cheap.pauses)
    if not is_as_good(problem, best.steps, *most, DEAR_SHARE):
        full = _scheduled(problem, calendar, urgency, first, deadline)
        most = problem.past_limit(full.steps), problem.benefit(full.steps)
        if not is_as_good(problem, best.steps, *most, DEAR_SHARE):
            cost = _missing_share(problem, best, most)
            full = out_of_dear_hours(problem, calendar, full, dear)
            return Plan(_proven(problem, full.steps, first), full, problem, cost)
    cost = _missing_share(problem, best, most)
    best = out_of_dear_hours(cheap, calendar, best, dear)
    return Plan(_proven(cheap, best.steps, own), best, cheap, cost)


def _missing_share(problem: AllocationProblem, schedule: Schedule, most: tuple[float, float]) -> float:
    """Return the share that a schedule lacks of what another plan relieves: the larger of the two."""
    got = problem.past_limit(schedule.steps), problem.benefit(schedule.steps)
    return max(
        max(0.0, other - own) / other if other > 0 else 0.0 for own, other in zip(got, most, strict=True)
    )


def _scheduled(
    problem: AllocationProblem, calendar: Calendar, urgency: Floats, first: Solution, deadline: float
) -> Schedule:
    """Schedule an allocation in the problem's hours; where it does not fit, solve again with what does."""
    allocated, narrowed = first, problem
    # A stopped search may have found little or nothing: a greedy plan is then the better start.
    nothing = Schedule((), np.zeros(len(problem), dtype=np.int64))
    best = fill_schedule(problem, calendar, nothing) if first.stopped else nothing
    for _ in range(ROUNDS):
        schedule = build_schedule(problem, allocated.steps, calendar, urgency)
        if (schedule.steps < allocated.steps).any():
            schedule = fill_schedule(problem, calendar, schedule)
        if problem.merit(schedule.steps) > problem.merit(best.steps) + CLOSE:
            best = schedule
        left = deadline - time.monotonic()
        if (schedule.steps >= allocated.steps).all() or left <= 0:
            break
        narrowed = replace(
            narrowed, max_steps=np.where(schedule.steps < allocated.steps, schedule.steps, narrowed.max_steps)
        )
        allocated = solve_milp(narrowed, time_limit_s=left)
    best = join_sets(problem, calendar, large_neighbourhood_search(problem, calendar, best, first))
    best = mend_for_pumps(problem, calendar, _filled(problem, calendar, best))
    return without_idle_heads(problem, calendar, best)


def _proven(problem: AllocationProblem, steps: Ints, allocated: Solution) -> Solution:
    """Return scheduled steps with bounds; where less fits beyond the limits, more may be had within them."""
    benefit, beyond = problem.benefit(steps), problem.past_limit(steps)
    short = beyond < allocated.past_limit * (1.0 - 2.0 * HELD)
    bound = bound_beside(problem, beyond) if short else allocated.bound
    most = max(allocated.past_limit_bound, beyond)
    return Solution(steps, benefit, max(bound, benefit), allocated.stopped, beyond, most)


def _filled(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> Schedule:
    """Use what the search's gap and the joining of sets left, until nothing more fits."""
    for _ in range(ROUNDS):
        fuller = join_sets(problem, calendar, fill_schedule(problem, calendar, schedule))
        if (fuller.steps == schedule.steps).all():
            return schedule
        schedule = fuller
    return schedule
