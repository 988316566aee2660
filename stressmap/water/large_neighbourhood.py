"""Timetables made better by taking some sets out and using what that frees, as long as it pays."""

from __future__ import annotations

import numpy as np

from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar
from stressmap.water.fill_schedule import fill_schedule
from stressmap.water.schedule import Schedule, Set, steps_of

SEED = 11
TRIES = 80
MOST_VALVES = 120
"""Above so many valves the timetable is left as it is: a try would take too long for what it gains."""
NEAR_ENOUGH = 1e-3


def large_neighbourhood_search(
    problem: AllocationProblem, calendar: Calendar, table: Schedule, bound: float
) -> Schedule:
    """Look for a better timetable beside one.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    table : Schedule
        What is laid so far.
    bound : float
        No plan relieves more [ha·bar²]; within a thousandth of it nothing more is tried.

    Returns
    -------
    Schedule
        Worth at least as much, within every limit; the same for the same input.
    """
    generator = np.random.default_rng(SEED)
    best, worth = table, problem.worth(table.steps)
    for attempt in range(TRIES if len(problem) <= MOST_VALVES else 0):
        if worth >= bound * (1.0 - NEAR_ENOUGH):
            break
        kept = _without_some(problem, calendar, best.sets, attempt, generator)
        tried = fill_schedule(problem, calendar, Schedule(kept, steps_of(kept, len(problem), calendar)))
        if problem.worth(tried.steps) > worth * (1.0 + 1e-9):
            best, worth = tried, problem.worth(tried.steps)
    return best


def _without_some(
    problem: AllocationProblem,
    calendar: Calendar,
    sets: tuple[Set, ...],
    attempt: int,
    generator: np.random.Generator,
) -> tuple[Set, ...]:
    """Take out sets of one pump: most of one stretch, some of all, or all sets of a few valves, in turn."""
    pump = int(generator.integers(len(problem.capacity_m3_h)))
    first, last = calendar.windows[int(generator.integers(len(calendar.windows)))]
    chance = generator.random(len(sets))
    few = set(generator.integers(len(problem), size=3).tolist())
    ways = (
        lambda k, s: s.start < last and s.end > first and chance[k] < 0.6,
        lambda k, _: chance[k] < 0.2,
        lambda _, s: s.valve in few,
    )
    out = ways[attempt % len(ways)]
    return tuple(s for k, s in enumerate(sets) if problem.pump[s.valve] != pump or not out(k, s))
