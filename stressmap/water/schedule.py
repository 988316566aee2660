"""List scheduling of irrigation sets: sets placed in time so that the flow at any moment fits the pump.

Valves are scheduled one after another, each at its earliest feasible start; where they do not all fit, other
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
    """Schedule of one pump while sets are added.

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
        self.load = np.zeros(len(calendar.water_allowed))
        self.sets: list[Set] = []
        self._possible: dict[int, Bools] = {}

    def clear(self) -> None:
        """Remove all sets."""
        self.load[:] = 0.0
        self.sets = []

    def feasible_starts(self, valve: int, steps: int) -> Ints:
        """Give the feasible start cells of a set.

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
            self._possible[cells] = self.calendar.can_start(cells)
        possible = self._possible[cells]
        if not len(possible):
            return np.zeros(0, dtype=np.int64)
        blocked = np.concatenate([[0], np.cumsum(self.blocked(valve))])
        return np.flatnonzero(possible & (blocked[cells:] == blocked[: len(possible)]))

    def blocked(self, valve: int) -> Bools:
        """Tell in which cells a valve cannot run beside the scheduled sets.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        array of bool
            One a cell.
        """
        blocked = self.load > self.capacity - float(self.problem.flow_m3_h[valve])
        for other in self.sets:
            if other.valve == valve:
                blocked[max(0, other.start - self.rest) : other.end + self.rest] = True
        return np.asarray(blocked)

    def longest_free_steps(self, valve: int) -> int:
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
        free = ~self.blocked(valve) & self.calendar.water_allowed
        edges = np.flatnonzero(np.diff(np.concatenate([[0], free.astype(np.int8), [0]])))
        longest = int((edges[1::2] - edges[::2]).max()) if len(edges) else 0
        return longest // self.calendar.cells_per_step

    def add(self, valve: int, start: int, steps: int) -> None:
        """Add a set.

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

    def remove_last(self, count: int) -> None:
        """Remove the last sets.

        Parameters
        ----------
        count : int
            How many.
        """
        for done in self.sets[len(self.sets) - count :]:
            self.load[done.start : done.end] -= self.problem.flow_m3_h[done.valve]
        del self.sets[len(self.sets) - count :]

    def remove_valve(self, valve: int) -> list[Set]:
        """Remove all sets of a valve.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        list of Set
            The sets removed.
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
        valves = [int(i) for i in np.flatnonzero((problem.pump == pump) & (steps > 0))]
        if valves:
            sets += _best_of_orders(problem, steps, calendar, valves, urgency)
    return Schedule(tuple(sorted(sets)), steps_by_valve(sets, len(problem), calendar))


Score = tuple[float, int, int]


def _best_of_orders(
    problem: AllocationProblem, steps: Ints, calendar: Calendar, valves: list[int], urgency: Floats
) -> list[Set]:
    """Schedule a pump's valves by priority rules; then move valves that were cut short to the front."""
    best: tuple[Score, list[Set]] | None = None
    pump_schedule = PumpSchedule(problem, calendar, int(problem.pump[valves[0]]))
    order, shortfall = valves, np.zeros(len(problem))
    rules = _orders(problem, steps, valves, urgency)
    for trial in range(max(len(rules), min(MOST_TRIES, TRIES_TIMES_VALVES // len(valves)))):
        order = rules.pop(0) if rules else sorted(valves, key=lambda i: (-shortfall[i], order.index(i)))
        sets = _fill(pump_schedule, steps, order, even=trial % 2 == 0)
        got = steps_by_valve(sets, len(problem), calendar)
        moments = len({s.start for s in sets} | {s.end for s in sets})
        benefit = sum(float(problem.curves[i].at(got[i])) for i in valves)
        score = (-round(benefit, 9), len(sets), moments)
        if best is None or score < best[0]:
            best = score, sets
        if (got[valves] >= steps[valves]).all() and len(sets) == len(valves):
            break
        lost = [float(problem.curves[i].at(steps[i]) - problem.curves[i].at(got[i])) for i in valves]
        shortfall[valves] += np.array(lost) + 1e-12 * (got[valves] < steps[valves])
    return best[1] if best else []


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


def _fill(pump_schedule: PumpSchedule, steps: Ints, order: list[int], *, even: bool) -> list[Set]:
    pump_schedule.clear()
    for i in order:
        wanted = int(steps[i])
        if not place_whole(pump_schedule, i, wanted) and not _place_split(
            pump_schedule, i, wanted, even=even
        ):
            _place_longest(pump_schedule, i, wanted)
    return pump_schedule.sets


def is_feasible_length(set_lengths: tuple[Span, ...], steps: int) -> bool:
    """Tell whether a set may have a length.

    Parameters
    ----------
    set_lengths : tuple of (int, int)
        Allowed lengths, both ends.
    steps : int
        The length.

    Returns
    -------
    bool

    Examples
    --------
    >>> is_feasible_length(((6, 8), (12, 14)), 9)
    False
    """
    return any(low <= steps <= high for low, high in set_lengths)


def place_whole(pump_schedule: PumpSchedule, valve: int, steps: int) -> bool:
    """Schedule a valve in one set, at the earliest feasible start.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours.
    valve : int
        Place of the valve.
    steps : int
        Length of the set.

    Returns
    -------
    bool
        False where none is feasible; nothing is scheduled then.
    """
    if not is_feasible_length(pump_schedule.problem.set_lengths[valve], steps):
        return False
    starts = pump_schedule.feasible_starts(valve, steps)
    if not len(starts):
        return False
    pump_schedule.add(valve, int(starts[0]), steps)
    return True


def _place_split(pump_schedule: PumpSchedule, valve: int, steps: int, *, even: bool) -> bool:
    """Schedule a valve in as few sets as hold it: as even as possible, or as long as possible and a rest."""
    set_lengths = pump_schedule.problem.set_lengths[valve]
    shortest = min((low for low, _ in set_lengths), default=steps)
    longest = max((high for _, high in set_lengths), default=steps)
    most = min(
        int(pump_schedule.problem.max_sets[valve]) + len(pump_schedule.calendar.windows),
        steps // max(1, shortest),
    )
    for count in range(max(2, -(-steps // longest)), most + 1):
        sizes = _sizes(steps, count, (shortest, longest), even=even)
        if not all(is_feasible_length(set_lengths, size) for size in sizes):
            continue
        done = 0
        while done < count and place_whole(pump_schedule, valve, sizes[done]):
            done += 1
        if done == count:
            return True
        pump_schedule.remove_last(done)
    return False


def _sizes(steps: int, count: int, ends: tuple[int, int], *, even: bool) -> list[int]:
    if even:
        return [steps // count + (k < steps % count) for k in range(count)]
    left, sizes = steps, []
    for behind in range(count - 1, -1, -1):
        sizes.append(min(ends[1], left - behind * ends[0]))
        left -= sizes[-1]
    return sizes


def _place_longest(pump_schedule: PumpSchedule, valve: int, steps: int) -> None:
    """Schedule the longest feasible sets, one after another."""
    left = steps
    for _ in range(int(pump_schedule.problem.max_sets[valve]) + len(pump_schedule.calendar.windows)):
        size = min(left, pump_schedule.longest_free_steps(valve))
        while size > 0 and not place_whole(pump_schedule, valve, size):
            size -= 1
        left -= size
        if size == 0 or left == 0:
            return
