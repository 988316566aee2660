"""One pump's hours while sets are added: where another set of a valve finds a place beside the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Bools, Calendar
from stressmap.water.crew_turns import CrewTurns

WEEK_MINUTES = 7 * 24 * 60
NO_DITCH = -2
"""In place of a valve's source where it has no gate, and so keeps to no order of gates."""


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
    crew : CrewTurns, optional
        What the crew does already, for other pumps too; changed as sets are added. By default its own.
    """

    def __init__(
        self, problem: AllocationProblem, calendar: Calendar, pump: int, crew: CrewTurns | None = None
    ) -> None:
        self.problem, self.calendar = problem, calendar
        self.crew = crew or crew_of(problem, calendar)
        self.stands = problem.stands_at(pump)
        self.capacity = float(problem.capacity_m3_h[pump]) * (1 + 1e-9)
        self.load = np.zeros(len(calendar.water_allowed))
        self.sets: list[Set] = []
        self._week = WEEK_MINUTES // calendar.cell_minutes
        self._ditch: list[int] = np.where(problem.gate >= 0, problem.source, NO_DITCH).tolist()

    def clear(self) -> None:
        """Remove all sets."""
        for one in self.sets:
            self.crew.add(one.start, one.end, -1, stands=self.stands)
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
        possible = self.problem.hours[valve].can_start(cells)
        if not len(possible):
            return np.zeros(0, dtype=np.int64)
        full = np.concatenate([[0], np.cumsum(self.is_full(valve))])
        possible = (
            possible & (full[cells:] == full[: len(possible)]) & self.crew.can_turn(cells, stands=self.stands)
        )
        rest, apart = (
            int(steps) * self.calendar.cells_per_step
            for steps in (self.problem.rest_steps[valve], self.problem.apart_steps[valve])
        )
        own = self.sets_of(valve)
        for other in own:
            first = min(other.start - apart, other.start - rest - cells) + 1
            possible[max(0, first) : max(0, other.start + apart, other.end + rest)] = False
        if self._ditch[valve] != NO_DITCH:
            for other in self.sets:
                if other.valve != valve and self._ditch[other.valve] == self._ditch[valve]:
                    self._keep_gate_order(possible, valve, other)
        self._keep_sets_a_week(possible, valve, own)
        self._keep_week_depth(possible, valve, cells, own)
        return np.flatnonzero(possible)

    def _keep_gate_order(self, possible: Bools, valve: int, other: Set) -> None:
        """Rule out openings before those of gates further up, or after those further down, in a week."""
        week = other.start // self._week * self._week
        if self.problem.gate[other.valve] < self.problem.gate[valve]:
            possible[week : other.start] = False
        else:
            possible[other.start + 1 : week + self._week] = False

    def _keep_sets_a_week(self, possible: Bools, valve: int, own: list[Set]) -> None:
        """Rule out openings that would be one too many within seven days."""
        logged = self.problem.opened[valve] if self.problem.opened else ()
        starts = sorted([*(one.start for one in own), *logged])
        most = int(self.problem.sets_a_week[valve])
        for first, last in zip(starts, starts[most - 1 :], strict=False):
            if last - first < self._week:
                possible[max(0, last - self._week + 1) : max(0, first + self._week)] = False

    def _keep_week_depth(self, possible: Bools, valve: int, cells: int, own: list[Set]) -> None:
        """Rule out openings of a set with which some seven days would bring more than they may.

        The fullest seven days about a set hold all of it: from where a part of it is left out, moving them
        towards it loses nothing.
        """
        if self.problem.week_steps is None:
            return
        most = int(self.problem.week_steps[valve]) * self.calendar.cells_per_step
        runs = np.zeros(len(self.load) + 1, dtype=np.int64)
        for one in own:
            runs[one.start + 1 : one.end + 1] = 1
        ran, first = np.cumsum(runs), np.arange(len(self.load))
        over = ran[np.minimum(first + self._week, len(self.load))] - ran[:-1] > most - cells
        overs, start = np.concatenate([[0], np.cumsum(over)]), np.arange(len(possible))
        possible &= overs[start + 1] == overs[np.maximum(0, start + cells - self._week)]

    def is_full(self, valve: int) -> Bools:
        """Tell in which cells a valve's flow does not fit the pump beside the scheduled sets.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        array of bool
            One a cell.
        """
        return np.asarray(self.load > self.capacity - float(self.problem.pump_draw[valve]))

    def sets_of(self, valve: int) -> list[Set]:
        """Give the sets of a valve.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        list of Set
            In the order in which they were added.
        """
        return [one for one in self.sets if one.valve == valve]

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
        self.put(Set(start, start + steps * self.calendar.cells_per_step, valve))

    def put(self, one: Set) -> None:
        """Add a set that was there before.

        Parameters
        ----------
        one : Set
            The set.
        """
        self.load[one.start : one.end] += self.problem.pump_draw[one.valve]
        self.crew.add(one.start, one.end, stands=self.stands)
        self.sets.append(one)

    def take(self, one: Set) -> None:
        """Remove a set.

        Parameters
        ----------
        one : Set
            The set.
        """
        self.load[one.start : one.end] -= self.problem.pump_draw[one.valve]
        self.crew.add(one.start, one.end, -1, stands=self.stands)
        self.sets.remove(one)

    def take_valve(self, valve: int) -> list[Set]:
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
        own = self.sets_of(valve)
        for one in own:
            self.take(one)
        return own


def crew_of(problem: AllocationProblem, calendar: Calendar) -> CrewTurns:
    """Give a crew that has nothing to do yet.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    calendar : Calendar
        Of the plan.

    Returns
    -------
    CrewTurns
    """
    cells = len(calendar.water_allowed)
    return CrewTurns(cells, calendar.cell_minutes, problem.crew_turns, problem.pauses)
