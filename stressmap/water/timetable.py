"""Sets in time: every pump's valves side by side so that the flows at any moment fit the pump.

Valves are laid one after another, each at the earliest moment that suits; where they do not all fit, other
orders are tried. A valve is split only where no single stretch holds it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from stressmap.water.hours import Bools, Calendar, Span
from stressmap.water.problem import Problem
from stressmap.water.relief import Floats, Ints

MOST_TRIES = 40
TRIES_TIMES_VALVES = 2400
"""Orders tried for a pump whose valves do not all fit: at most 40, fewer where it has over 60 valves."""


@dataclass(frozen=True, order=True)
class Set:
    """One opening and closing of one valve.

    Parameters
    ----------
    start, end : int
        First cell and the cell after the last.
    valve : int
        Place in the problem.
    """

    start: int
    end: int
    valve: int


@dataclass
class _Pump:
    """A pump's hours as they fill up."""

    problem: Problem
    calendar: Calendar
    rest: int
    load: Floats
    capacity: float
    sets: list[Set] = field(default_factory=list)

    def starts(self, valve: int, steps: int) -> Ints:
        """Return the cells at which a set could begin, earliest first."""
        cells = steps * self.calendar.cells_per_step
        possible = self.calendar.can_last(cells)
        if not len(possible):
            return np.zeros(0, dtype=np.int64)
        taken = np.concatenate([[0], np.cumsum(self._taken(valve))])
        return np.flatnonzero(possible & (taken[cells:] == taken[: len(possible)]))

    def _taken(self, valve: int) -> Bools:
        room = self.capacity * (1 + 1e-9) - float(self.problem.flow_m3_h[valve])
        taken = self.load > room
        for other in self.sets:
            if other.valve == valve:
                taken[max(0, other.start - self.rest) : other.end + self.rest] = True
        return np.asarray(taken)

    def free_steps(self, valve: int) -> int:
        """Return the longest stretch in which the valve could still run."""
        free = ~self._taken(valve) & self.calendar.runs
        edges = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(np.int8), [0]])))
        longest = int((edges[1::2] - edges[::2]).max()) if len(edges) else 0
        return longest // self.calendar.cells_per_step

    def put(self, valve: int, start: int, steps: int) -> None:
        end = start + steps * self.calendar.cells_per_step
        self.load[start:end] += self.problem.flow_m3_h[valve]
        self.sets.append(Set(start, end, valve))

    def take_back(self, count: int) -> None:
        for done in self.sets[len(self.sets) - count :]:
            self.load[done.start : done.end] -= self.problem.flow_m3_h[done.valve]
        del self.sets[len(self.sets) - count :]


@dataclass(frozen=True)
class Timetable:
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


def lay_out(problem: Problem, steps: Ints, calendar: Calendar, urgency: Floats) -> Timetable:
    """Lay the sets of a plan in time.

    Parameters
    ----------
    problem : Problem
        Of n valves.
    steps : array of int, shape (n,)
        Time steps that the plan gives each valve.
    calendar : Calendar
        When water may run and the crew is there.
    urgency : array of float, shape (n,)
        The higher, the earlier a valve is watered where all fit [bar].

    Returns
    -------
    Timetable
        With as much of the plan as fits: within every limit, but perhaps less than asked.
    """
    sets: list[Set] = []
    for pump in range(len(problem.capacity_m3_h)):
        jobs = [int(i) for i in np.flatnonzero((problem.pump == pump) & (steps > 0))]
        if jobs:
            sets += _best_of_orders(problem, steps, calendar, jobs, urgency)
    return Timetable(tuple(sorted(sets)), _steps_of(sets, len(problem), calendar))


Mark = tuple[float, int, int]


def _best_of_orders(
    problem: Problem, steps: Ints, calendar: Calendar, jobs: list[int], urgency: Floats
) -> list[Set]:
    """Lay a pump's valves in reasoned orders; then keep moving what was left out to the front."""
    best: tuple[Mark, list[Set]] | None = None
    order, blame = jobs, np.zeros(len(problem))
    reasoned = _orders(problem, steps, jobs, urgency)
    for _ in range(max(len(reasoned), min(MOST_TRIES, TRIES_TIMES_VALVES // len(jobs)))):
        order = reasoned.pop(0) if reasoned else sorted(jobs, key=lambda i: (-blame[i], order.index(i)))
        sets = _fill(problem, steps, calendar, order)
        got = _steps_of(sets, len(problem), calendar)
        moments = len({s.start for s in sets} | {s.end for s in sets})
        mark = (-round(problem.worth(got), 9), len(sets), moments)
        if best is None or mark < best[0]:
            best = mark, sets
        if (got[jobs] >= steps[jobs]).all() and len(sets) == len(jobs):
            break
        lost = [float(problem.curves[i].at(steps[i]) - problem.curves[i].at(got[i])) for i in jobs]
        blame[jobs] += np.array(lost) + 1e-12 * (got[jobs] < steps[jobs])
    return best[1] if best else []


def _steps_of(sets: Iterable[Set], count: int, calendar: Calendar) -> Ints:
    got = np.zeros(count, dtype=np.int64)
    for one in sets:
        got[one.valve] += (one.end - one.start) // calendar.cells_per_step
    return got


def _orders(problem: Problem, steps: Ints, jobs: list[int], urgency: Floats) -> list[list[int]]:
    """Give orders in which to lay the valves; the driest first, as the crew would."""
    flow = problem.flow_m3_h
    worth = [float(curve.at(k)) for curve, k in zip(problem.curves, steps, strict=True)]
    keys: tuple[Callable[[int], tuple[float, ...]], ...] = (
        lambda i: (-urgency[i], i),
        lambda i: (-worth[i] / (flow[i] * steps[i]), i),
        lambda i: (-steps[i], -flow[i], i),
        lambda i: (-flow[i], -steps[i], i),
    )
    return [sorted(jobs, key=key) for key in keys]


def _fill(problem: Problem, steps: Ints, calendar: Calendar, order: list[int]) -> list[Set]:
    capacity = float(problem.capacity_m3_h[problem.pump[order[0]]])
    cells = problem.rest_steps * calendar.cells_per_step
    pump = _Pump(problem, calendar, cells, np.zeros(len(calendar.runs)), capacity)
    for i in order:
        if not _whole(pump, i, int(steps[i])) and not _split(pump, i, int(steps[i])):
            _as_much_as_fits(pump, i, int(steps[i]))
    return pump.sets


def _can_be(runs: tuple[Span, ...], steps: int) -> bool:
    return any(low <= steps <= high for low, high in runs)


def _whole(pump: _Pump, valve: int, steps: int) -> bool:
    if not _can_be(pump.problem.runs[valve], steps):
        return False
    starts = pump.starts(valve, steps)
    if not len(starts):
        return False
    pump.put(valve, int(starts[0]), steps)
    return True


def _split(pump: _Pump, valve: int, steps: int) -> bool:
    """Lay a valve in as few sets as will hold it, as even as they go."""
    runs = pump.problem.runs[valve]
    shortest = min((low for low, _ in runs), default=steps)
    most = min(int(pump.problem.most_sets[valve]) + len(pump.calendar.windows), steps // max(1, shortest))
    for count in range(2, most + 1):
        sizes = [steps // count + (k < steps % count) for k in range(count)]
        if not all(_can_be(runs, size) for size in sizes):
            continue
        done = 0
        for size in sizes:
            if not _whole(pump, valve, size):
                break
            done += 1
        if done == count:
            return True
        pump.take_back(done)
    return False


def _as_much_as_fits(pump: _Pump, valve: int, steps: int) -> None:
    """Lay the longest sets there is room for, one after another."""
    left = steps
    for _ in range(int(pump.problem.most_sets[valve]) + len(pump.calendar.windows)):
        size = min(left, pump.free_steps(valve))
        while size > 0 and not _whole(pump, valve, size):
            size -= 1
        left -= size
        if size == 0 or left == 0:
            return
