"""A head of water goes on from check to check: where it stands in between, no check could be turned then."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass

from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar
from stressmap.water.fill_schedule import split_by_pump
from stressmap.water.pump_habits import move_set
from stressmap.water.pump_schedule import PumpSchedule, Set
from stressmap.water.schedule import Schedule


@dataclass(frozen=True)
class HeadRest:
    """A stretch in which the head of a run stands.

    Parameters
    ----------
    valve : int
        The check that is opened after it.
    first, last : int
        First cell and the cell after the last.
    """

    valve: int
    first: int
    last: int


def without_idle_heads(problem: AllocationProblem, calendar: Calendar, schedule: Schedule) -> Schedule:
    """Open each check as soon as the head that waters its block is free and the check can be turned.

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
        The same lengths of the same valves, within every limit; the first check of a run stays where it is.
    """
    if not problem.runs:
        return schedule
    pump_schedules = split_by_pump(problem, calendar, schedule)
    moved = True
    while moved:
        moved = False
        for turn in _turns_of_heads(problem, [s for one in pump_schedules for s in one.sets]):
            pump = int(problem.pump[turn[0].valve])
            for one in turn[1:]:
                moved |= _earlier(pump_schedules[pump], pump, one, turn[0].start)
    return Schedule(tuple(sorted(s for one in pump_schedules for s in one.sets)), schedule.steps)


def rests_of_heads(problem: AllocationProblem, schedule: Schedule) -> list[HeadRest]:
    """Find where heads stand between two checks of a block.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    schedule : Schedule
        The finished plan.

    Returns
    -------
    list of HeadRest
        By the clock.
    """
    found = []
    for turn in _turns_of_heads(problem, list(schedule.sets)):
        until = turn[0].end
        for one in turn[1:]:
            if one.start > until:
                found.append(HeadRest(one.valve, until, one.start))
            until = max(until, one.end)
    return sorted(found, key=lambda rest: (rest.first, rest.valve))


def _turns_of_heads(problem: AllocationProblem, sets: list[Set]) -> list[list[Set]]:
    """Group the sets of runs: the first of every check, the second, and so on, each by the clock."""
    run_of = {valve: k for k, checks in enumerate(problem.runs) for valve in checks}
    groups: dict[tuple[int, int], list[Set]] = defaultdict(list)
    so_far: Counter[int] = Counter()
    for one in sorted(sets, key=lambda s: (s.start, int(problem.gate[s.valve]))):
        if one.valve in run_of:
            groups[run_of[one.valve], so_far[one.valve]].append(one)
            so_far[one.valve] += 1
    return list(groups.values())


def _earlier(pump_schedule: PumpSchedule, pump: int, old: Set, first: int) -> bool:
    """Move a set to its earliest place from a cell on, if that is earlier than now."""
    return move_set(pump_schedule, pump, old, lambda starts: starts[(starts >= first) & (starts < old.start)])
