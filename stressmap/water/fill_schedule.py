"""Greedy filling of a schedule: water and pump hours left over go where the marginal benefit is largest."""

from __future__ import annotations

import heapq
from collections import Counter

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar
from stressmap.water.pump_schedule import PumpSchedule, crew_of
from stressmap.water.schedule import Schedule, steps_by_valve
from stressmap.water.set_placing import grow, join

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
    pump_schedules = split_by_pump(problem, calendar, schedule)
    steps = schedule.steps.copy()
    queue = [
        (-marginal_benefit(problem, steps, i), i)
        for i in range(len(problem))
        if marginal_benefit(problem, steps, i) > 0
    ]
    heapq.heapify(queue)
    while queue:
        _, i = heapq.heappop(queue)
        most = int(min(problem.max_steps[i] - steps[i], affordable_steps(problem, i, steps)))
        pump_schedule = pump_schedules[int(problem.pump[i])]
        if not steps[i] and len(problem.run_of(i)) > 1:
            added = _begin_run(problem, pump_schedule, i, steps)
        else:
            added = grow(pump_schedule, i, most)
            steps[i] += added
        if added and marginal_benefit(problem, steps, i) > 0:
            heapq.heappush(queue, (-marginal_benefit(problem, steps, i), i))
    sets = [one for pump_schedule in pump_schedules for one in pump_schedule.sets]
    return Schedule(tuple(sorted(sets)), steps_by_valve(sets, len(problem), calendar))


def _begin_run(problem: AllocationProblem, pump_schedule: PumpSchedule, valve: int, steps: Ints) -> int:
    """Give the first set to all checks that a head waters together, or none; counts steps in place."""
    begun: list[int] = []
    for i in problem.run_of(valve):
        most = int(min(problem.max_steps[i] - steps[i], affordable_steps(problem, i, steps)))
        added = grow(pump_schedule, i, most)
        steps[i] += added
        begun.append(i)
        if not added:
            for other in begun:
                pump_schedule.take_valve(other)
                steps[other] = 0
            return 0
    return int(steps[valve])


def join_sets(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> Schedule:
    """Join the sets of a valve into fewer wherever that is feasible beside all the others.

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
    pump_schedules = split_by_pump(problem, calendar, schedule)
    for pump_schedule in pump_schedules:
        before = len(pump_schedule.sets) + 1
        # A valve that is joined may free the time that another one needs.
        while len(pump_schedule.sets) < before:
            before = len(pump_schedule.sets)
            count = Counter(one.valve for one in pump_schedule.sets)
            for valve in sorted(valve for valve, sets in count.items() if sets > 1):
                join(pump_schedule, valve)
    return Schedule(
        tuple(sorted(one for pump_schedule in pump_schedules for one in pump_schedule.sets)), schedule.steps
    )


def split_by_pump(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> list[PumpSchedule]:
    """Split a schedule by pump; one crew goes to all.

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
    list of PumpSchedule
        One a pump.
    """
    crew = crew_of(problem, calendar)
    pumps = range(len(problem.capacity_m3_h))
    pump_schedules = [PumpSchedule(problem, calendar, pump, crew) for pump in pumps]
    for one in schedule.sets:
        pump_schedules[int(problem.pump[one.valve])].put(one)
    return pump_schedules


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


def affordable_steps(problem: AllocationProblem, valve: int, steps: Ints) -> float:
    """Give the steps that the water left is enough for: all the water, and that of the valve's source.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    valve : int
        Place of the valve.
    steps : array of int, shape (n,)
        That all get.

    Returns
    -------
    float
        A whole number, or infinite.
    """
    left = problem.volume_m3 * (1 + NEAR) - problem.volume_of(steps)
    source = int(problem.source[valve])
    if source >= 0:
        left = min(left, float(problem.source_left_m3(steps)[source] + NEAR * problem.source_m3[source]))
    return float(np.floor(left / (float(problem.flow_m3_h[valve]) * problem.step_hours) + NEAR))
