"""What pumps bear: a least flow while they run, and so many starts a day; schedules are mended to it."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar
from stressmap.water.fill_schedule import split_by_pump
from stressmap.water.pump_schedule import PumpSchedule, Set
from stressmap.water.schedule import Schedule, steps_by_valve, whole_runs

IDLE = 1e-6
"""Flows under this are none [m3/h]."""


def mend_for_pumps(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> Schedule:
    """Move sets, and where that does not help leave them out, until every pump is used as it bears.

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
        The same where pumps have no least flow and may start at any time.
    """
    if problem.pump_starts is None and not problem.pump_least_m3_h.any():
        return schedule
    found = schedule
    while True:
        sets: list[Set] = []
        for pump, one in enumerate(split_by_pump(problem, calendar, found)):
            _mend(one, float(problem.pump_least_m3_h[pump]), problem.pump_starts)
            sets += one.sets
        mended = Schedule(tuple(sorted(sets)), steps_by_valve(sets, len(problem), calendar))
        found = whole_runs(problem, mended)
        if found is mended:
            return found


def fault(load: Floats, days: Iterable[int], least: float, starts: int | None) -> float:
    """Tell how far a pump's flow is from what it bears.

    Parameters
    ----------
    load : array of float, shape (t,)
        Flow in each cell [m3/h].
    days : iterable of int, length t
        Day of each cell.
    least : float
        Least flow while it runs [m3/h].
    starts : int or None
        Starts a day at most.

    Returns
    -------
    float
        Cells with too little flow, and starts too many; 0 where there are none.

    Examples
    --------
    >>> fault(np.array([0.0, 50.0, 90.0, 0.0, 90.0]), [0, 0, 0, 0, 0], 80.0, 1)
    2.0
    """
    runs = load > IDLE
    weak = int((runs & (load < least * (1 - 1e-9))).sum())
    if starts is None:
        return float(weak)
    begun = np.flatnonzero(runs & ~np.concatenate([[False], runs[:-1]]))
    _, count = np.unique(np.asarray(list(days))[begun], return_counts=True)
    return float(weak + np.maximum(count - starts, 0).sum())


def bears(pump_schedule: PumpSchedule, pump: int) -> bool:
    """Tell whether a pump bears the sets that are scheduled on it.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours.
    pump : int
        Which pump.

    Returns
    -------
    bool
    """
    problem, calendar = pump_schedule.problem, pump_schedule.calendar
    least = float(problem.pump_least_m3_h[pump])
    if problem.pump_starts is None and least <= 0.0:
        return True
    return fault(pump_schedule.load, _days(calendar), least, problem.pump_starts) <= 0.0


def move_set(pump_schedule: PumpSchedule, pump: int, old: Set, better: Callable[[Ints], Ints]) -> bool:
    """Move a set to the first of better places that its pump bears, beside all others as they are.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours.
    pump : int
        Which pump.
    old : Set
        One of its sets.
    better : callable
        Of the cells in which the set could be opened gives those that are better than now, the best first.

    Returns
    -------
    bool
        Whether it was moved.
    """
    length = old.end - old.start
    pump_schedule.take(old)
    starts = pump_schedule.feasible_starts(old.valve, length // pump_schedule.calendar.cells_per_step)
    for start in better(starts).tolist():
        new = Set(start, start + length, old.valve)
        pump_schedule.put(new)
        if bears(pump_schedule, pump):
            return True
        pump_schedule.take(new)
    pump_schedule.put(old)
    return False


def _mend(pump_schedule: PumpSchedule, least: float, starts: int | None) -> None:
    days = _days(pump_schedule.calendar)
    now = fault(pump_schedule.load, days, least, starts)
    while now > 0 and pump_schedule.sets:
        better = _best_move(pump_schedule, days, (least, starts), now)
        if better is None:
            pump_schedule.take(_least_useful(pump_schedule, days, (least, starts)))
        else:
            old, new = better
            pump_schedule.take(old)
            pump_schedule.put(new)
        now = fault(pump_schedule.load, days, least, starts)


def _best_move(
    pump_schedule: PumpSchedule, days: list[int], bears: tuple[float, int | None], now: float
) -> tuple[Set, Set] | None:
    """Return the move of one set to another time that lessens the fault most; None where none does."""
    best: tuple[float, Set, Set] | None = None
    for old in _touching(pump_schedule, bears[0]):
        pump_schedule.take(old)
        length, flow = old.end - old.start, pump_schedule.problem.pump_draw[old.valve]
        steps = length // pump_schedule.calendar.cells_per_step
        for start in pump_schedule.feasible_starts(old.valve, steps).tolist():
            pump_schedule.load[start : start + length] += flow
            left = fault(pump_schedule.load, days, *bears)
            pump_schedule.load[start : start + length] -= flow
            if left < (now if best is None else best[0]):
                best = left, old, Set(start, start + length, old.valve)
        pump_schedule.put(old)
    return None if best is None else best[1:]


def _touching(pump_schedule: PumpSchedule, least: float) -> list[Set]:
    """Return the sets that run while the flow is too little; all where it never is."""
    weak = pump_schedule.load < least * (1 - 1e-9)
    found = [one for one in pump_schedule.sets if weak[one.start : one.end].any()]
    return sorted(found or pump_schedule.sets)


def _least_useful(pump_schedule: PumpSchedule, days: list[int], bears: tuple[float, int | None]) -> Set:
    """Return the set whose loss lessens the fault most; of several the shortest."""

    def after(one: Set) -> tuple[float, int, Set]:
        part = pump_schedule.load[one.start : one.end]
        part -= pump_schedule.problem.pump_draw[one.valve]
        left = fault(pump_schedule.load, days, *bears)
        part += pump_schedule.problem.pump_draw[one.valve]
        return left, one.end - one.start, one

    return min(_touching(pump_schedule, bears[0]), key=after)


def _days(calendar: Calendar) -> list[int]:
    return [calendar.clock(k).toordinal() for k in range(len(calendar.water_allowed))]
