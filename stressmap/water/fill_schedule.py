"""Greedy filling of a schedule: water and pump hours left over go where the marginal benefit is largest."""

from __future__ import annotations

import heapq
from collections import Counter

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar
from stressmap.water.schedule import (
    PumpSchedule,
    Schedule,
    Set,
    is_feasible_length,
    place_whole,
    steps_by_valve,
)

NEAR = 1e-9


def fill_schedule(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> Schedule:
    """Use what is left, step by step, at the largest marginal benefit per water.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    schedule : Schedule
        Sets scheduled so far.

    Returns
    -------
    Schedule
        Within every limit; never less for any valve.
    """
    pump_schedules = _split_by_pump(problem, calendar, schedule)
    steps = schedule.steps.copy()
    left = problem.volume_m3 * (1 + NEAR) - problem.volume_of(steps)
    queue = [
        (-marginal_benefit(problem, steps, i), i)
        for i in range(len(problem))
        if marginal_benefit(problem, steps, i) > 0
    ]
    heapq.heapify(queue)
    while queue:
        _, i = heapq.heappop(queue)
        most = int(min(problem.max_steps[i] - steps[i], affordable_steps(problem, i, left)))
        added = lengthen_set(pump_schedules[int(problem.pump[i])], i, most) or add_shortest_set(
            pump_schedules[int(problem.pump[i])], i, most
        )
        steps[i] += added
        left -= added * float(problem.flow_m3_h[i]) * problem.step_hours
        if added and marginal_benefit(problem, steps, i) > 0:
            heapq.heappush(queue, (-marginal_benefit(problem, steps, i), i))
    sets = [one for pump_schedule in pump_schedules for one in pump_schedule.sets]
    return Schedule(tuple(sorted(sets)), steps_by_valve(sets, len(problem), calendar))


def join_sets(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> Schedule:
    """Join the sets of a valve into one wherever that is feasible beside all the others.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    schedule : Schedule
        Sets scheduled.

    Returns
    -------
    Schedule
        The same steps for each valve.
    """
    pump_schedules = _split_by_pump(problem, calendar, schedule)
    for pump_schedule in pump_schedules:
        before = len(pump_schedule.sets) + 1
        # A valve that is joined may free the time that another one needs.
        while len(pump_schedule.sets) < before:
            before = len(pump_schedule.sets)
            count = Counter(one.valve for one in pump_schedule.sets)
            for valve in sorted(valve for valve, sets in count.items() if sets > 1):
                _join_valve(pump_schedule, valve)
    return Schedule(
        tuple(sorted(one for pump_schedule in pump_schedules for one in pump_schedule.sets)), schedule.steps
    )


def _split_by_pump(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> list[PumpSchedule]:
    """Split a schedule by pump."""
    pump_schedules = [PumpSchedule(problem, calendar, pump) for pump in range(len(problem.capacity_m3_h))]
    for one in schedule.sets:
        pump_schedule = pump_schedules[int(problem.pump[one.valve])]
        pump_schedule.add(one.valve, one.start, (one.end - one.start) // calendar.cells_per_step)
    return pump_schedules


def _join_valve(pump_schedule: PumpSchedule, valve: int) -> None:
    """Join a valve's sets into a single one if it is feasible; else leave them as they are."""
    own = pump_schedule.remove_valve(valve)
    step = pump_schedule.calendar.cells_per_step
    if not place_whole(pump_schedule, valve, sum(one.end - one.start for one in own) // step):
        for one in own:
            pump_schedule.add(valve, one.start, (one.end - one.start) // step)


def marginal_benefit(problem: AllocationProblem, steps: Ints, valve: int) -> float:
    """Give the marginal benefit of one more step per unit of flow.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    steps : array of int, shape (n,)
        That they get.
    valve : int
        Place of the valve.

    Returns
    -------
    float
        [ha·bar·d per m3/h]; 0 where the valve has all it may get.
    """
    if steps[valve] >= problem.max_steps[valve]:
        return 0.0
    now, then = problem.curves[valve].at([steps[valve], steps[valve] + 1])
    return float(then - now) / float(problem.flow_m3_h[valve])


def affordable_steps(problem: AllocationProblem, valve: int, left_m3: float) -> float:
    """Give the steps that the water left is enough for.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    valve : int
        Place of the valve.
    left_m3 : float
        Water left [m3].

    Returns
    -------
    float
        A whole number, or infinite.
    """
    return float(np.floor(left_m3 / (float(problem.flow_m3_h[valve]) * problem.step_hours) + NEAR))


def lengthen_set(pump_schedule: PumpSchedule, valve: int, most: int) -> int:
    """Lengthen one of a valve's sets at its end or its start, by as little as is feasible.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours; changed if a set fits.
    valve : int
        Place of the valve.
    most : int
        Steps to add at most.

    Returns
    -------
    int
        Steps added, 0 if none fits.
    """
    set_lengths, step = pump_schedule.problem.set_lengths[valve], pump_schedule.calendar.cells_per_step
    for place, one in enumerate(pump_schedule.sets):
        if one.valve != valve:
            continue
        length = (one.end - one.start) // step
        sizes = [more for more in range(1, most + 1) if is_feasible_length(set_lengths, length + more)]
        for more in sizes[:1] if len(pump_schedule.calendar.set_lengths) == 1 else sizes:
            longer = (
                Set(one.start, one.end + more * step, valve),
                Set(one.start - more * step, one.end, valve),
            )
            if any(_replace_if_feasible(pump_schedule, place, new) for new in longer):
                return more
    return 0


def _replace_if_feasible(pump_schedule: PumpSchedule, place: int, new: Set) -> bool:
    """Replace a set by a longer one, if it is feasible."""
    old = pump_schedule.sets[place]
    if new.start < 0 or new.end > len(pump_schedule.calendar.water_allowed):
        return False
    pump_schedule.load[old.start : old.end] -= pump_schedule.problem.flow_m3_h[old.valve]
    del pump_schedule.sets[place]
    steps = (new.end - new.start) // pump_schedule.calendar.cells_per_step
    fits = new.start in pump_schedule.feasible_starts(new.valve, steps)
    kept = new if fits else old
    pump_schedule.load[kept.start : kept.end] += pump_schedule.problem.flow_m3_h[old.valve]
    pump_schedule.sets.insert(place, kept)
    return fits


def add_shortest_set(pump_schedule: PumpSchedule, valve: int, most: int) -> int:
    """Add one more set of the valve's least length.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours; changed if a set fits.
    valve : int
        Place of the valve.
    most : int
        Steps to add at most.

    Returns
    -------
    int
        Steps added, 0 if none fits.
    """
    set_lengths = pump_schedule.problem.set_lengths[valve]
    least = set_lengths[0][0] if set_lengths else most + 1
    count = sum(one.valve == valve for one in pump_schedule.sets)
    if least > most or count >= pump_schedule.problem.max_sets[valve]:
        return 0
    return least if place_whole(pump_schedule, valve, least) else 0
