"""List scheduling of irrigation sets: sets placed in time so that the flow at any moment fits the pump.

Valves are scheduled one after another, each at its earliest feasible start; where they do not all fit, other
orders are tried. A valve gets as few sets as hold its depth; gates along a ditch follow each other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar
from stressmap.water.crew_turns import CrewTurns
from stressmap.water.pump_schedule import PumpSchedule, Set, crew_of
from stressmap.water.set_placing import place_fewest, place_most

MOST_TRIES = 40
TRIES_TIMES_VALVES = 2400
"""Orders tried for a pump whose valves do not all fit: at most 40, fewer where it has over 60 valves."""
TRIES_IN_VAIN = 12
"""Orders after which no better one is looked for."""


@dataclass(frozen=True)
class Schedule:
    """When each valve is open.

    Parameters
    ----------
    sets : tuple of Set
        In the order of their openings.
    steps : array of int, shape (n,)
        Time steps that each valve gets.
    """

    sets: tuple[Set, ...]
    steps: Ints

    @property
    def moments(self) -> int:
        """How many different moments there are at which the crew turns valves."""
        return len({s.start for s in self.sets} | {s.end for s in self.sets})


def build_schedule(problem: AllocationProblem, steps: Ints, calendar: Calendar, urgency: Floats) -> Schedule:
    """Lay the sets of a plan in time.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    steps : array of int, shape (n,)
        Time steps that the plan gives each valve.
    calendar : Calendar
        When water may run and the crew is there.
    urgency : array of float, shape (n,)
        The higher, the earlier a valve is watered where all fit [bar].

    Returns
    -------
    Schedule
        With as much of the plan as fits: within every limit, but perhaps less than asked.
    """
    sets: list[Set] = []
    crew = crew_of(problem, calendar)
    for pump in range(len(problem.capacity_m3_h)):
        valves = [int(i) for i in np.flatnonzero((problem.pump == pump) & (steps > 0))]
        if valves:
            sets += _best_of_orders(problem, steps, (calendar, crew), valves, urgency)
    return whole_runs(problem, Schedule(tuple(sorted(sets)), steps_by_valve(sets, len(problem), calendar)))


def whole_runs(problem: AllocationProblem, schedule: Schedule) -> Schedule:
    """Take away the sets of heads that do not reach all their checks.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    schedule : Schedule
        Sets scheduled.

    Returns
    -------
    Schedule
        The same where there is no such head.
    """
    steps = problem.whole_runs(schedule.steps)
    if (steps == schedule.steps).all():
        return schedule
    return Schedule(tuple(one for one in schedule.sets if steps[one.valve]), steps)


Score = tuple[float, int, int]


def _best_of_orders(
    problem: AllocationProblem,
    steps: Ints,
    beside: tuple[Calendar, CrewTurns],
    valves: list[int],
    urgency: Floats,
) -> list[Set]:
    """Schedule a pump's valves by priority rules; then move valves that were cut short to the front.

    The calendar comes with what the crew does for other pumps; to that is added what it does for this one.
    """
    best: tuple[Score, list[Set]] | None = None
    calendar, crew = beside
    pump_schedule = PumpSchedule(problem, calendar, int(problem.pump[valves[0]]), crew)
    order, shortfall = valves, np.zeros(len(problem))
    rules = _orders(problem, steps, valves, urgency)
    fewest = sum(-(-int(steps[i]) // problem.set_lengths[i][-1][1]) for i in valves)
    in_vain = 0
    for _ in range(max(len(rules), min(MOST_TRIES, TRIES_TIMES_VALVES // len(valves)))):
        order = rules.pop(0) if rules else sorted(valves, key=lambda i: (-shortfall[i], order.index(i)))
        sets = _fill(pump_schedule, steps, gates_in_order(problem, order))
        got = steps_by_valve(sets, len(problem), calendar)
        moments = len({s.start for s in sets} | {s.end for s in sets})
        benefit = sum(float(problem.curves[i].at(got[i])) for i in valves)
        score = (-round(benefit, 9), len(sets), moments)
        in_vain += 1
        if best is None or score < best[0]:
            best, in_vain = (score, sets), 0
        if ((got[valves] >= steps[valves]).all() and len(sets) == fewest) or in_vain >= TRIES_IN_VAIN:
            break
        lost = [float(problem.curves[i].at(steps[i]) - problem.curves[i].at(got[i])) for i in valves]
        shortfall[valves] += np.array(lost) + 1e-12 * (got[valves] < steps[valves])
    pump_schedule.clear()
    chosen = best[1] if best else []
    for one in chosen:
        crew.add(one.start, one.end, stands=pump_schedule.stands)
    return chosen


def steps_by_valve(sets: Iterable[Set], count: int, calendar: Calendar) -> Ints:
    """Add up the steps that sets give each valve.

    Parameters
    ----------
    sets : iterable of Set
        In any order.
    count : int
        How many valves there are.
    calendar : Calendar
        For the length of a step.

    Returns
    -------
    array of int, shape (count,)
        [time steps].
    """
    got = np.zeros(count, dtype=np.int64)
    for one in sets:
        got[one.valve] += (one.end - one.start) // calendar.cells_per_step
    return got


def _orders(problem: AllocationProblem, steps: Ints, valves: list[int], urgency: Floats) -> list[list[int]]:
    """Give orders of the valves by priority rules; the driest first, as the crew would."""
    flow = problem.flow_m3_h
    benefit = [float(curve.at(k)) for curve, k in zip(problem.curves, steps, strict=True)]
    keys: tuple[Callable[[int], tuple[float, ...]], ...] = (
        lambda i: (-urgency[i], i),
        lambda i: (-benefit[i] / (flow[i] * steps[i]), i),
        lambda i: (-steps[i], -flow[i], i),
        lambda i: (-flow[i], -steps[i], i),
    )
    return [sorted(valves, key=key) for key in keys]


def gates_in_order(problem: AllocationProblem, order: list[int]) -> list[int]:
    """Put the valves that follow each other along a ditch into the order of their gates.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    order : list of int
        Valves of one pump.

    Returns
    -------
    list of int
        Gates take the places of gates, the other valves keep theirs.
    """
    gates = iter(sorted((i for i in order if problem.gate[i] >= 0), key=lambda i: int(problem.gate[i])))
    return [next(gates) if problem.gate[i] >= 0 else i for i in order]


def _fill(pump_schedule: PumpSchedule, steps: Ints, order: list[int]) -> list[Set]:
    pump_schedule.clear()
    for i in order:
        if not place_fewest(pump_schedule, i, int(steps[i])):
            place_most(pump_schedule, i, int(steps[i]))
    return list(pump_schedule.sets)
