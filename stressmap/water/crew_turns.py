"""Turns of the crew: how many valves are opened and closed at each moment, all pumps together."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from stressmap.water.calendar import Bools
from stressmap.water.set_rules import HALF_HOUR


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
    """

    def __init__(self, cells: int, cell_minutes: int, most: int) -> None:
        self.most = most
        self.turns = np.zeros(cells + 1, dtype=np.int64)
        self.span = cells_of_turns(cell_minutes)

    def add(self, start: int, end: int, count: int = 1) -> None:
        """Count the opening and the closing of a set.

        Parameters
        ----------
        start, end : int
            First cell and the cell after the last.
        count : int
            1, or -1 where the set is removed.
        """
        self.turns[start] += count
        self.turns[end] += count

    def can_turn(self, cells: int) -> Bools:
        """Tell at which cells a set of a length can be opened and later closed.

        Parameters
        ----------
        cells : int
            Length of the set.

        Returns
        -------
        array of bool, shape (t - cells + 1,)
        """
        busy = self._busiest()
        if cells < self.span:
            return np.asarray(busy[: len(busy) - cells] + 2 <= self.most)
        free = busy < self.most
        return np.asarray(free[: len(free) - cells] & free[cells:])

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
