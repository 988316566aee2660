"""Sets in time: every pump's valves side by side so that the flows at any moment fit the pump.

Valves are laid one after another, each at the earliest moment that suits; where they do not all fit, other
orders are tried. A valve is split only where no single stretch holds it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Bools, Calendar, Span

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


class PumpSchedule:
    """A pump's hours as they fill up.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        When water may run and the crew is there.
    pump : int
        Which pump.
    """

    def __init__(self, problem: AllocationProblem, calendar: Calendar, pump: int) -> None:
        self.problem, self.calendar = problem, calendar
        self.rest = problem.rest_steps * calendar.cells_per_step
        self.capacity = float(problem.capacity_m3_h[pump]) * (1 + 1e-9)
        self.load = np.zeros(len(calendar.runs))
        self.sets: list[Set] = []
        self._possible: dict[int, Bools] = {}

    def empty(self) -> None:
        """Take all sets away."""
        self.load[:] = 0.0
        self.sets = []

    def starts(self, valve: int, steps: int) -> Ints:
        """Give the cells at which a set could begin.

        Parameters
        ----------
        valve : int
            Place of the valve.
        steps : int
            Length of the set.

        Returns
        -------
        array of int
            Earliest first.
        """
        cells = steps * self.calendar.cells_per_step
        if cells not in self._possible:
            self._possible[cells] = self.calendar.can_last(cells)
        possible = self._possible[cells]
        if not len(possible):
            return np.zeros(0, dtype=np.int64)
        taken = np.concatenate([[0], np.cumsum(self.taken(valve))])
        return np.flatnonzero(possible & (taken[cells:] == taken[: len(possible)]))

    def taken(self, valve: int) -> Bools:
        """Tell in which cells a valve cannot run beside what is laid.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        array of bool
            One a cell.
        """
        taken = self.load > self.capacity - float(self.problem.flow_m3_h[valve])
        for other in self.sets:
            if other.valve == valve:
                taken[max(0, other.start - self.rest) : other.end + self.rest] = True
        return np.asarray(taken)

    def free_steps(self, valve: int) -> int:
        """Give the longest stretch in which a valve could still run.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        int
            [time steps].
        """
        free = ~self.taken(valve) & self.calendar.runs
        edges = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(np.int8), [0]])))
        longest = int((edges[1::2] - edges[::2]).max()) if len(edges) else 0
        return longest // self.calendar.cells_per_step

    def put(self, valve: int, start: int, steps: int) -> None:
        """Lay a set.

        Parameters
        ----------
        valve : int
            Place of the valve.
        start : int
            First cell.
        steps : int
            Length.
        """
        end = start + steps * self.calendar.cells_per_step
        self.load[start:end] += self.problem.flow_m3_h[valve]
        self.sets.append(Set(start, end, valve))

    def take_back(self, count: int) -> None:
        """Take the last sets away.

        Parameters
        ----------
        count : int
            How many.
        """
        for done in self.sets[len(self.sets) - count :]:
            self.load[done.start : done.end] -= self.problem.flow_m3_h[done.valve]
        del self.sets[len(self.sets) - count :]

    def take_out(self, valve: int) -> list[Set]:
        """Take all sets of a valve away.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        list of Set
            What was laid.
        """
        own = [one for one in self.sets if one.valve == valve]
        self.sets = [one for one in self.sets if one.valve != valve]
        for one in own:
            self.load[one.start : one.end] -= self.problem.flow_m3_h[valve]
        return own


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
    for pump in range(len(problem.capacity_m3_h)):
        jobs = [int(i) for i in np.flatnonzero((problem.pump == pump) & (steps > 0))]
        if jobs:
            sets += _best_of_orders(problem, steps, calendar, jobs, urgency)
    return Schedule(tuple(sorted(sets)), steps_of(sets, len(problem), calendar))


Mark = tuple[float, int, int]


def _best_of_orders(
    problem: AllocationProblem, steps: Ints, calendar: Calendar, jobs: list[int], urgency: Floats
) -> list[Set]:
    """Lay a pump's valves in reasoned orders; then keep moving what was left out to the front."""
    best: tuple[Mark, list[Set]] | None = None
    lane = PumpSchedule(problem, calendar, int(problem.pump[jobs[0]]))
    order, blame = jobs, np.zeros(len(problem))
    reasoned = _orders(problem, steps, jobs, urgency)
    for trial in range(max(len(reasoned), min(MOST_TRIES, TRIES_TIMES_VALVES // len(jobs)))):
        order = reasoned.pop(0) if reasoned else sorted(jobs, key=lambda i: (-blame[i], order.index(i)))
        sets = _fill(lane, steps, order, even=trial % 2 == 0)
        got = steps_of(sets, len(problem), calendar)
        moments = len({s.start for s in sets} | {s.end for s in sets})
        worth = sum(float(problem.curves[i].at(got[i])) for i in jobs)
        mark = (-round(worth, 9), len(sets), moments)
        if best is None or mark < best[0]:
            best = mark, sets
        if (got[jobs] >= steps[jobs]).all() and len(sets) == len(jobs):
            break
        lost = [float(problem.curves[i].at(steps[i]) - problem.curves[i].at(got[i])) for i in jobs]
        blame[jobs] += np.array(lost) + 1e-12 * (got[jobs] < steps[jobs])
    return best[1] if best else []


def steps_of(sets: Iterable[Set], count: int, calendar: Calendar) -> Ints:
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


def _orders(problem: AllocationProblem, steps: Ints, jobs: list[int], urgency: Floats) -> list[list[int]]:
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


def _fill(lane: PumpSchedule, steps: Ints, order: list[int], *, even: bool) -> list[Set]:
    lane.empty()
    for i in order:
        wanted = int(steps[i])
        if not whole(lane, i, wanted) and not _split(lane, i, wanted, even=even):
            _as_much_as_fits(lane, i, wanted)
    return lane.sets


def can_be(runs: tuple[Span, ...], steps: int) -> bool:
    """Tell whether a set may have a length.

    Parameters
    ----------
    runs : tuple of (int, int)
        Allowed lengths, both ends.
    steps : int
        The length.

    Returns
    -------
    bool

    Examples
    --------
    >>> can_be(((6, 8), (12, 14)), 9)
    False
    """
    return any(low <= steps <= high for low, high in runs)


def whole(lane: PumpSchedule, valve: int, steps: int) -> bool:
    """Lay a valve in one set, as early as it can be.

    Parameters
    ----------
    lane : PumpSchedule
        The pump's hours.
    valve : int
        Place of the valve.
    steps : int
        Length of the set.

    Returns
    -------
    bool
        False where there is no place for it; nothing is laid then.
    """
    if not can_be(lane.problem.runs[valve], steps):
        return False
    starts = lane.starts(valve, steps)
    if not len(starts):
        return False
    lane.put(valve, int(starts[0]), steps)
    return True


def _split(lane: PumpSchedule, valve: int, steps: int, *, even: bool) -> bool:
    """Lay a valve in as few sets as will hold it: as even as they go, or as long as they go and a rest."""
    runs = lane.problem.runs[valve]
    shortest = min((low for low, _ in runs), default=steps)
    longest = max((high for _, high in runs), default=steps)
    most = min(int(lane.problem.most_sets[valve]) + len(lane.calendar.windows), steps // max(1, shortest))
    for count in range(max(2, -(-steps // longest)), most + 1):
        sizes = _sizes(steps, count, (shortest, longest), even=even)
        if not all(can_be(runs, size) for size in sizes):
            continue
        done = 0
        while done < count and whole(lane, valve, sizes[done]):
            done += 1
        if done == count:
            return True
        lane.take_back(done)
    return False


def _sizes(steps: int, count: int, ends: tuple[int, int], *, even: bool) -> list[int]:
    if even:
        return [steps // count + (k < steps % count) for k in range(count)]
    left, sizes = steps, []
    for behind in range(count - 1, -1, -1):
        sizes.append(min(ends[1], left - behind * ends[0]))
        left -= sizes[-1]
    return sizes


def _as_much_as_fits(lane: PumpSchedule, valve: int, steps: int) -> None:
    """Lay the longest sets there is room for, one after another."""
    left = steps
    for _ in range(int(lane.problem.most_sets[valve]) + len(lane.calendar.windows)):
        size = min(left, lane.free_steps(valve))
        while size > 0 and not whole(lane, valve, size):
            size -= 1
        left -= size
        if size == 0 or left == 0:
            return
