"""Turns of the crew: how many valves are opened and closed at each moment, all pumps together."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stressmap.water.calendar import Bools, Calendar, Span
from stressmap.water.set_rules import HALF_HOUR


@dataclass(frozen=True)
class Pause:
    """A stretch of time in which pumps stand still.

    Valves that are closed as it begins or opened as it ends are turned on dry pipes: the crew has all of it
    for them.

    Parameters
    ----------
    first, last : int
        Its first cell and the cell after its last.
    most : int
        Valves that the crew can turn in it.
    """

    first: int
    last: int
    most: int


def pauses_of(calendar: Calendar, stretches: tuple[Span, ...], turns: int) -> tuple[Pause, ...]:
    """Give the pauses of pumps, with what the crew can turn in each.

    Parameters
    ----------
    calendar : Calendar
        Of the plan.
    stretches : tuple of (int, int)
        Cells in which the pumps stand still.
    turns : int
        Valves that all crews can open or close in half an hour.

    Returns
    -------
    tuple of Pause
    """
    per_half_hour = HALF_HOUR / calendar.cell_minutes
    there = [int(calendar.crew_present[a:b].sum()) for a, b in stretches]
    return tuple(
        Pause(a, b, turns * math.floor(cells / per_half_hour))
        for (a, b), cells in zip(stretches, there, strict=True)
    )


class CrewTurns:
    """What the crew has to open and close, while sets are added and removed.

    Parameters
    ----------
    cells : int
        Of the plan's calendar.
    cell_minutes : int
        Length of one.
    most : int
        Valves that can be opened or closed in half an hour.
    pauses : tuple of Pause
        Stretches in which some pumps stand still.
    """

    def __init__(self, cells: int, cell_minutes: int, most: int, pauses: tuple[Pause, ...] = ()) -> None:
        self.most = most
        self.turns = np.zeros(cells + 1, dtype=np.int64)
        self.span = cells_of_turns(cell_minutes)
        self.pauses = pauses
        self._pause_at = {edge: k for k, one in enumerate(pauses) for edge in (one.first, one.last)}
        self._dry = np.zeros(len(pauses), dtype=np.int64)
        self._known: dict[bool, tuple[NDArray[np.int64], Bools]] = {}

    def add(self, start: int, end: int, count: int = 1, *, stands: bool = False) -> None:
        """Count the opening and the closing of a set.

        Parameters
        ----------
        start, end : int
            First cell and the cell after the last.
        count : int
            1, or -1 where the set is removed.
        stands : bool
            Whether its pump stands still in the pauses.
        """
        self._known.clear()
        for moment in (start, end):
            pause = self._pause_at.get(moment) if stands else None
            if pause is None:
                self.turns[moment] += count
            else:
                self._dry[pause] += count

    def can_turn(self, cells: int, *, stands: bool = False) -> Bools:
        """Tell at which cells a set of a length can be opened and later closed.

        Parameters
        ----------
        cells : int
            Length of the set.
        stands : bool
            Whether its pump stands still in the pauses.

        Returns
        -------
        array of bool, shape (t - cells + 1,)
        """
        if stands not in self._known:
            self._known[stands] = self._busy_and_free(stands=stands)
        busy, free = self._known[stands]
        found = np.asarray(free[: len(free) - cells] & free[cells:])
        if cells < self.span:
            found &= busy[: len(busy) - cells] + 2 <= self.most
        return found

    def _busy_and_free(self, *, stands: bool) -> tuple[NDArray[np.int64], Bools]:
        """Return for each moment the turns about it, and whether one more can be done."""
        busy = self._busiest()
        free = busy < self.most
        for pause, dry in zip(self.pauses, self._dry, strict=True):
            within = slice(pause.first, pause.last + 1)
            has_room = dry + self.turns[within].sum() < pause.most
            if not has_room:
                free[within] = False
            if stands:
                free[[pause.first, pause.last]] = has_room
        return busy, free

    def _busiest(self) -> NDArray[np.int64]:
        """Return for each moment the turns of the busiest half hour that it is in."""
        if self.span == 1:
            return self.turns
        padded = np.pad(self.turns, self.span - 1)
        windows = np.lib.stride_tricks.sliding_window_view(padded, self.span).sum(axis=1)
        return np.asarray(np.lib.stride_tricks.sliding_window_view(windows, self.span).max(axis=1))


def cells_of_turns(cell_minutes: int) -> int:
    """Give the cells in which the turns of half an hour are counted together.

    Parameters
    ----------
    cell_minutes : int
        Length of a cell.

    Returns
    -------
    int
        At least 1.

    Examples
    --------
    >>> [cells_of_turns(minutes) for minutes in (15, 30, 60)]
    [2, 1, 1]
    """
    return max(1, math.ceil(HALF_HOUR / cell_minutes))
