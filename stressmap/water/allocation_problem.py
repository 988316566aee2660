"""The water allocation problem (variables' limits, capacities, benefit curves) and its solution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stressmap.core.arrays import Floats, Ints
from stressmap.water.benefit import FIRST, BenefitCurve
from stressmap.water.calendar import Bools, Calendar, Span
from stressmap.water.crew_turns import Pause


@dataclass(frozen=True)
class AllocationProblem:
    """Data of the allocation problem: n valve zones, p pumps.

    Parameters
    ----------
    names : tuple of str, length n
        Valves.
    flow_m3_h : array of float, shape (n,)
        Mean from opening to closing [m3/h].
    pump : array of int, shape (n,)
        Pump of each valve, 0 and up.
    capacity_m3_h : array of float, shape (p,)
        [m3/h]; infinite where not limited.
    volume_m3 : float
        Water there is [m3]; infinite where not limited.
    step_hours : float
        Length of a time step [h].
    windows : tuple of int
        Time steps in each stretch of time in which water may run.
    rest_steps : array of int, shape (n,)
        Time steps from a closing of the valve to its next opening.
    apart_steps : array of int, shape (n,)
        Time steps from an opening of the valve to its next one.
    sets_a_week : array of int, shape (n,)
        Openings of the valve within any seven days, at most.
    steps_with_rests : array of int, shape (n,)
        Steps that the valve's sets and the rest after each can fill.
    set_lengths : tuple, length n
        Lengths that a set of the valve may have, ranges of steps with both ends.
    max_sets : array of int, shape (n,)
        Sets that the valve may get.
    max_steps : array of int, shape (n,)
        Steps that the valve may get in all.
    curves : tuple of BenefitCurve, length n
        Benefit of time steps.
    hours : tuple of Calendar, length n
        When each valve may run, on the cells of the plan's calendar.
    gate : array of int, shape (n,)
        Place of the valve in the order of the gates along its pump or ditch; -1 where there is none.
    source : array of int, shape (n,)
        Source of each valve's water; -1 for one without a volume of its own.
    source_m3 : array of float, shape (s,)
        Water of each source [m3].
    crew_turns : int
        Valves that all crews can open or close in half an hour.
    pump_least_m3_h : array of float, shape (p,)
        What a pump must give at least while it runs [m3/h].
    pump_starts : int or None
        Starts of a pump a day; None for any number.
    runs : tuple of tuple of int
        Checks that a head waters together: all of them get as many sets, or none gets any.
    open_m3_h : array of float, shape (n,), optional
        What each valve takes from its pump while it is open [m3/h]; more than the mean where it is pulsed.
    week_steps : array of int, shape (n,), optional
        Steps of the valve within any seven days, at most; None where the whole plan is no longer.
    pauses : tuple of Pause
        Stretches in which pumps that avoid the dear hours stand still.
    stands : array of bool, shape (p,)
        Which pumps do so.
    opened : tuple of tuple of int, length n or 0
        Cells in which each valve was opened by the log; below zero before the plan.
    """

    names: tuple[str, ...]
    flow_m3_h: Floats
    pump: Ints
    capacity_m3_h: Floats
    volume_m3: float
    step_hours: float
    windows: tuple[int, ...]
    rest_steps: Ints
    apart_steps: Ints
    sets_a_week: Ints
    steps_with_rests: Ints
    set_lengths: tuple[tuple[Span, ...], ...]
    max_sets: Ints
    max_steps: Ints
    curves: tuple[BenefitCurve, ...]
    hours: tuple[Calendar, ...]
    gate: Ints
    source: Ints
    source_m3: Floats
    crew_turns: int
    pump_least_m3_h: Floats
    pump_starts: int | None
    runs: tuple[tuple[int, ...], ...] = ()
    open_m3_h: Floats | None = None
    week_steps: Ints | None = None
    pauses: tuple[Pause, ...] = ()
    stands: Bools | None = None
    opened: tuple[tuple[int, ...], ...] = ()

    def __len__(self) -> int:
        """Return n."""
        return len(self.names)

    @property
    def pump_draw(self) -> Floats:
        """What each valve takes from its pump while it is open [m3/h], shape (n,)."""
        return self.flow_m3_h if self.open_m3_h is None else self.open_m3_h

    @property
    def hours_steps(self) -> int:
        """Time steps in which water may run."""
        return sum(self.windows)

    def feasible_steps(self, valve: int, steps: int) -> int:
        """Give the largest total, no more than asked, that a valve's sets can make up.

        Parameters
        ----------
        valve : int
            Place of the valve.
        steps : int
            Total asked for.

        Returns
        -------
        int
        """
        sets, most = int(self.max_sets[valve]), int(self.max_steps[valve])
        room = int(self.steps_with_rests[valve]), int(self.rest_steps[valve])
        return largest_total(min(steps, most), self.set_lengths[valve], sets, room)

    def whole_runs(self, steps: NDArray[np.int64]) -> Ints:
        """Take away what runs get in part: a head that does not reach all its checks does not come.

        Parameters
        ----------
        steps : array of int, shape (n,)
            Of each valve.

        Returns
        -------
        array of int, shape (n,)
        """
        kept = np.array(steps, dtype=np.int64)
        for checks in self.runs:
            if not (kept[list(checks)] > 0).all():
                kept[list(checks)] = 0
        return kept

    def run_of(self, valve: int) -> tuple[int, ...]:
        """Give the valves that begin together with one, in the order of their gates.

        Parameters
        ----------
        valve : int
            Place of the valve.

        Returns
        -------
        tuple of int
            The valve alone where it is in no run.
        """
        found = next((checks for checks in self.runs if valve in checks), (valve,))
        return tuple(sorted(found, key=lambda i: int(self.gate[i])))

    def stands_at(self, pump: int) -> bool:
        """Tell whether a pump stands still in the pauses.

        Parameters
        ----------
        pump : int
            Which.

        Returns
        -------
        bool
        """
        return self.stands is not None and bool(self.stands[pump])

    def volume_of(self, steps: NDArray[np.int64] | Floats) -> float:
        """Give the water that steps take.

        Parameters
        ----------
        steps : array, shape (n,)
            Of each valve.

        Returns
        -------
        float
            [m3].
        """
        return float(self.flow_m3_h @ steps) * self.step_hours

    def source_left_m3(self, steps: NDArray[np.int64] | Floats) -> Floats:
        """Give what each source has left after steps.

        Parameters
        ----------
        steps : array, shape (n,)
            Of each valve.

        Returns
        -------
        array of float, shape (s,)
            [m3].
        """
        used = np.zeros(len(self.source_m3))
        own = self.source >= 0
        np.add.at(used, self.source[own], (self.flow_m3_h * steps)[own] * self.step_hours)
        return np.asarray(self.source_m3 - used)

    def benefit(self, steps: NDArray[np.int64]) -> float:
        """Give the weighted bar-days beyond the allowance that steps relieve.

        Parameters
        ----------
        steps : array of int, shape (n,)
            Of each valve.

        Returns
        -------
        float
            [ha·bar·d].
        """
        return float(sum(float(c.value_at(k)) for c, k in zip(self.curves, steps, strict=True)))

    def past_limit(self, steps: NDArray[np.int64]) -> float:
        """Give the weighted bar-days beyond the crops' limits that steps relieve.

        Parameters
        ----------
        steps : array of int, shape (n,)
            Of each valve.

        Returns
        -------
        float
            [ha·bar·d].
        """
        return float(sum(float(c.past_limit_at(k)) for c, k in zip(self.curves, steps, strict=True)))

    def merit(self, steps: NDArray[np.int64]) -> float:
        """Give both in one figure, for comparing timetables; see :data:`stressmap.water.benefit.FIRST`.

        Parameters
        ----------
        steps : array of int, shape (n,)
            Of each valve.

        Returns
        -------
        float
            [ha·bar·d].
        """
        return self.benefit(steps) + FIRST * self.past_limit(steps)


@dataclass(frozen=True)
class Solution:
    """A feasible allocation with its benefit and proven bounds.

    Parameters
    ----------
    steps : array of int, shape (n,)
        Time steps of each valve.
    benefit : float
        Weighted bar-days beyond the allowance that are relieved [ha·bar·d].
    bound : float
        No plan that does as much beyond the limits can relieve more [ha·bar·d].
    stopped : str
        ``""`` where the search ended by itself, else ``"time"`` or ``"nodes"``.
    past_limit : float
        Weighted bar-days beyond the crops' limits that are relieved [ha·bar·d].
    past_limit_bound : float
        No plan can relieve more beyond the limits [ha·bar·d].
    """

    steps: Ints
    benefit: float
    bound: float
    stopped: str = ""
    past_limit: float = 0.0
    past_limit_bound: float = 0.0

    @property
    def gap(self) -> float:
        """Share of the bound that may be missing, 0 to 1: the larger of the two."""
        return max(_missing(self.benefit, self.bound), _missing(self.past_limit, self.past_limit_bound))


def _missing(reached: float, bound: float) -> float:
    return max(0.0, bound - reached) / bound if bound > 0 else 0.0


def largest_total(
    steps: int, set_lengths: tuple[Span, ...], max_sets: int, room: tuple[int, int] | None = None
) -> int:
    """Give the largest total, no more than asked, that sets of allowed lengths can make up.

    Parameters
    ----------
    steps : int
        Total asked for.
    set_lengths : tuple of (int, int)
        Lengths that a set may have, both ends.
    max_sets : int
        Most sets of the valve.
    room : tuple of (int, int), optional
        Steps that sets may fill if each is followed by a rest, and the steps of a rest.

    Returns
    -------
    int
        0 where nothing that small can be made.

    Examples
    --------
    >>> [largest_total(steps, ((6, 8),), 7) for steps in (5, 11, 13)]
    [0, 8, 13]
    >>> largest_total(20, ((6, 8),), 7, (20, 5))
    8
    """
    best = 0
    sums = {(0, 0)}
    for number in range(1, (max_sets if set_lengths else 0) + 1):
        top = steps if room is None else min(steps, room[0] - room[1] * number)
        sums = _ranges_merged(
            [(a + low, b + high) for a, b in sums for low, high in set_lengths if a + low <= top]
        )
        if not sums:
            break
        best = max([best, *(min(b, top) for _, b in sums)])
        if best == steps:
            break
    return best


def _ranges_merged(ranges: list[Span]) -> set[Span]:
    merged: list[Span] = []
    for a, b in sorted(ranges):
        if merged and a <= merged[-1][1] + 1:
            merged[-1] = (merged[-1][0], max(b, merged[-1][1]))
        else:
            merged.append((a, b))
    return set(merged)
