"""Sets that can wait are moved out of the hours of dear power, where a plan could not leave those out."""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar, Span
from stressmap.water.fill_schedule import split_by_pump
from stressmap.water.pump_habits import move_set
from stressmap.water.pump_schedule import PumpSchedule, Set
from stressmap.water.schedule import Schedule


def out_of_dear_hours(
    problem: AllocationProblem, calendar: Calendar, schedule: Schedule, dear: tuple[Span, ...]
) -> Schedule:
    """Move each set to where it runs the least in dear hours, beside all the others as they are.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    schedule : Schedule
        Sets scheduled.
    dear : tuple of (int, int)
        First cell and the cell after the last of each stretch of dear hours.

    Returns
    -------
    Schedule
        The same lengths of the same valves, within every limit; what is flooded stays where it is. No set
        can be moved to fewer dear hours then.
    """
    is_dear = np.zeros(len(calendar.water_allowed) + 1, dtype=np.int64)
    for first, last in dear:
        is_dear[first + 1 : last + 1] = 1
    so_far = np.cumsum(is_dear)
    pump_schedules = split_by_pump(problem, calendar, schedule)
    moved = True
    while moved:
        moved = False
        for pump, one in enumerate(pump_schedules):
            can_wait = [s for s in sorted(one.sets) if problem.gate[s.valve] < 0]
            for old in can_wait:
                moved |= so_far[old.end] > so_far[old.start] and _move(one, pump, old, so_far)
    sets = tuple(sorted(s for one in pump_schedules for s in one.sets))
    return Schedule(sets, schedule.steps)


def _move(pump_schedule: PumpSchedule, pump: int, old: Set, so_far: Ints) -> bool:
    """Move a set to the nearest of the places with the fewest dear cells, if there are fewer than now."""

    def better(starts: Ints) -> Ints:
        dear = so_far[starts + (old.end - old.start)] - so_far[starts]
        fewer = dear < so_far[old.end] - so_far[old.start]
        order = np.lexsort((np.abs(starts - old.start)[fewer], dear[fewer]))
        return np.asarray(starts[fewer][order])

    return move_set(pump_schedule, pump, old, better)
