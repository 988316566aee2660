"""Large neighbourhood search: a schedule is destroyed in part and repaired, kept if better."""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.water.allocation_problem import AllocationProblem, Solution
from stressmap.water.calendar import Calendar
from stressmap.water.fill_schedule import fill_schedule
from stressmap.water.pump_schedule import Set
from stressmap.water.schedule import Schedule, steps_by_valve, whole_runs

SEED = 11
ITERATIONS, PATIENCE, SMALL = 80, 25, 30
"""Repairs tried at most, those in vain one after another, and valves up to which none is spared."""
MOST_VALVES = 120
"""Above so many valves there is no search: an iteration would take too long for its gain."""
NEAR_ENOUGH = 1e-3


def large_neighbourhood_search(
    problem: AllocationProblem, calendar: Calendar, schedule: Schedule, bound: Solution
) -> Schedule:
    """Improve a schedule by destroying and repairing parts of it.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    schedule : Schedule
        The schedule to improve.
    bound : Solution
        With the proven bounds; within a thousandth of both nothing more is repaired.

    Returns
    -------
    Schedule
        Worth at least as much, within every limit; the same for the same input.
    """
    generator = np.random.default_rng(SEED)
    best, merit, last = schedule, problem.merit(schedule.steps), 0
    for iteration in range(ITERATIONS if len(problem) <= MOST_VALVES else 0):
        in_vain = iteration - last > PATIENCE and len(problem) > SMALL
        if in_vain or is_as_good(problem, best.steps, bound.past_limit_bound, bound.bound):
            break
        kept = _destroy(problem, calendar, best.sets, iteration, generator)
        left = whole_runs(problem, Schedule(kept, steps_by_valve(kept, len(problem), calendar)))
        repaired = fill_schedule(problem, calendar, left)
        if problem.merit(repaired.steps) > merit * (1.0 + 1e-9):
            best, merit, last = repaired, problem.merit(repaired.steps), iteration
    return best


def is_as_good(
    problem: AllocationProblem, steps: Ints, past_limit: float, benefit: float, within: float = NEAR_ENOUGH
) -> bool:
    """Tell whether a plan relieves as much as another, beyond the limits to a thousandth, and within them.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    steps : array of int, shape (n,)
        Of the plan.
    past_limit, benefit : float
        What the other relieves beyond the crops' limits and beyond the allowance [ha·bar·d].
    within : float
        Share of the latter that may be missing.

    Returns
    -------
    bool
        Each by itself: in one figure, what is beyond the limits would drown the rest.
    """
    enough = problem.benefit(steps) >= benefit * (1.0 - within)
    return enough and problem.past_limit(steps) >= past_limit * (1.0 - NEAR_ENOUGH)


def _destroy(
    problem: AllocationProblem,
    calendar: Calendar,
    sets: tuple[Set, ...],
    iteration: int,
    generator: np.random.Generator,
) -> tuple[Set, ...]:
    """Destroy a part: most sets of one stretch, some of all, or all of a few valves, of one pump, in turn."""
    pump = int(generator.integers(len(problem.capacity_m3_h)))
    first, last = calendar.windows[int(generator.integers(len(calendar.windows)))]
    chance = generator.random(len(sets))
    few = set(generator.integers(len(problem), size=3).tolist())
    moves = (
        lambda k, s: s.start < last and s.end > first and chance[k] < 0.6,
        lambda k, _: chance[k] < 0.2,
        lambda _, s: s.valve in few,
    )
    out = moves[iteration % len(moves)]
    return tuple(s for k, s in enumerate(sets) if problem.pump[s.valve] != pump or not out(k, s))
