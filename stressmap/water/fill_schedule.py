"""What is left of water and pump hours when the timetable stands: sets made longer, or new ones put in."""

from __future__ import annotations

import heapq
from collections import Counter

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar
from stressmap.water.schedule import PumpSchedule, Schedule, Set, can_be, steps_of, whole

NEAR = 1e-9


def fill_schedule(problem: AllocationProblem, calendar: Calendar, table: Schedule) -> Schedule:
    """Use what is left, step by step, where a step relieves the most for its water.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    table : Schedule
        What is laid so far.

    Returns
    -------
    Schedule
        Within every limit; never less for any valve.
    """
    lanes = _lanes_of(problem, calendar, table)
    steps = table.steps.copy()
    left = problem.volume_m3 * (1 + NEAR) - problem.volume_of(steps)
    queue = [
        (-marginal_benefit(problem, steps, i), i)
        for i in range(len(problem))
        if marginal_benefit(problem, steps, i) > 0
    ]
    heapq.heapify(queue)
    while queue:
        _, i = heapq.heappop(queue)
        most = int(min(problem.most_steps[i] - steps[i], affordable(problem, i, left)))
        added = longer_by(lanes[int(problem.pump[i])], i, most) or another_of(
            lanes[int(problem.pump[i])], i, most
        )
        steps[i] += added
        left -= added * float(problem.flow_m3_h[i]) * problem.step_hours
        if added and marginal_benefit(problem, steps, i) > 0:
            heapq.heappush(queue, (-marginal_benefit(problem, steps, i), i))
    sets = [one for lane in lanes for one in lane.sets]
    return Schedule(tuple(sorted(sets)), steps_of(sets, len(problem), calendar))


def join_sets(problem: AllocationProblem, calendar: Calendar, table: Schedule) -> Schedule:
    """Join the sets of a valve into one wherever there is a place for it beside all the others.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    table : Schedule
        What is laid.

    Returns
    -------
    Schedule
        The same steps for each valve.
    """
    lanes = _lanes_of(problem, calendar, table)
    for lane in lanes:
        before = len(lane.sets) + 1
        # A valve that is joined may leave the place that another one wants.
        while len(lane.sets) < before:
            before = len(lane.sets)
            count = Counter(one.valve for one in lane.sets)
            for valve in sorted(valve for valve, sets in count.items() if sets > 1):
                _put_in_one(lane, valve)
    return Schedule(tuple(sorted(one for lane in lanes for one in lane.sets)), table.steps)


def _lanes_of(problem: AllocationProblem, calendar: Calendar, table: Schedule) -> list[PumpSchedule]:
    """Lay what is laid so far into the hours of every pump."""
    lanes = [PumpSchedule(problem, calendar, pump) for pump in range(len(problem.capacity_m3_h))]
    for one in table.sets:
        lane = lanes[int(problem.pump[one.valve])]
        lane.put(one.valve, one.start, (one.end - one.start) // calendar.cells_per_step)
    return lanes


def _put_in_one(lane: PumpSchedule, valve: int) -> None:
    """Lay a valve's sets as a single one if there is a place; else leave them as they are."""
    own = lane.take_out(valve)
    step = lane.calendar.cells_per_step
    if not whole(lane, valve, sum(one.end - one.start for one in own) // step):
        for one in own:
            lane.put(valve, one.start, (one.end - one.start) // step)


def marginal_benefit(problem: AllocationProblem, steps: Ints, valve: int) -> float:
    """Give what one more step relieves for its water.

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
        [ha·bar² per m3/h]; 0 where the valve has all it may get.
    """
    if steps[valve] >= problem.most_steps[valve]:
        return 0.0
    now, then = problem.curves[valve].at([steps[valve], steps[valve] + 1])
    return float(then - now) / float(problem.flow_m3_h[valve])


def affordable(problem: AllocationProblem, valve: int, left_m3: float) -> float:
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


def longer_by(lane: PumpSchedule, valve: int, most: int) -> int:
    """Make one of a valve's sets longer at its end or its start, by as little as can be.

    Parameters
    ----------
    lane : PumpSchedule
        The pump's hours; changed where there is a place.
    valve : int
        Place of the valve.
    most : int
        Steps to add at most.

    Returns
    -------
    int
        Steps added, 0 where there is no place.
    """
    runs, step = lane.problem.runs[valve], lane.calendar.cells_per_step
    for place, one in enumerate(lane.sets):
        if one.valve != valve:
            continue
        length = (one.end - one.start) // step
        sizes = [more for more in range(1, most + 1) if can_be(runs, length + more)]
        for more in sizes[:1] if len(lane.calendar.lengths) == 1 else sizes:
            longer = (
                Set(one.start, one.end + more * step, valve),
                Set(one.start - more * step, one.end, valve),
            )
            if any(_replaced(lane, place, new) for new in longer):
                return more
    return 0


def _replaced(lane: PumpSchedule, place: int, new: Set) -> bool:
    """Put a longer set in the place of one, if it fits."""
    old = lane.sets[place]
    if new.start < 0 or new.end > len(lane.calendar.runs):
        return False
    lane.load[old.start : old.end] -= lane.problem.flow_m3_h[old.valve]
    del lane.sets[place]
    steps = (new.end - new.start) // lane.calendar.cells_per_step
    fits = new.start in lane.starts(new.valve, steps)
    kept = new if fits else old
    lane.load[kept.start : kept.end] += lane.problem.flow_m3_h[old.valve]
    lane.sets.insert(place, kept)
    return fits


def another_of(lane: PumpSchedule, valve: int, most: int) -> int:
    """Put in one more set of the valve's least length.

    Parameters
    ----------
    lane : PumpSchedule
        The pump's hours; changed where there is a place.
    valve : int
        Place of the valve.
    most : int
        Steps to add at most.

    Returns
    -------
    int
        Steps added, 0 where there is no place.
    """
    runs = lane.problem.runs[valve]
    least = runs[0][0] if runs else most + 1
    count = sum(one.valve == valve for one in lane.sets)
    if least > most or count >= lane.problem.most_sets[valve]:
        return 0
    return least if whole(lane, valve, least) else 0
