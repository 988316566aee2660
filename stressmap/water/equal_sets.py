"""The most that the sets of a valve can bring where all of them are as long, to a step."""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.calendar import Calendar


def most_in_equal_sets(problem: AllocationProblem) -> Ints:
    """Give what each valve can get at most in equal sets, alone on its pump.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.

    Returns
    -------
    array of int, shape (n,)
        [time steps]; no timetable has more.
    """
    made: dict[tuple[object, ...], int] = {}
    found = np.zeros(len(problem), dtype=np.int64)
    for i, lengths in enumerate(problem.set_lengths):
        rests = int(problem.rest_steps[i]), int(problem.apart_steps[i])
        most = int(problem.max_sets[i])
        key = id(problem.hours[i]), lengths, rests, most
        if key not in made:
            every = [n for low, high in lengths for n in range(low, high + 1)]
            made[key] = _most(problem.hours[i], every, rests, most)
        found[i] = made[key]
    return found


def _most(hours: Calendar, lengths: list[int], rests: tuple[int, int], most: int) -> int:
    """Return the most steps: of so many sets of a length all but one may have the next length."""
    best = 0
    for length, longer in zip(lengths, lengths[1:] + lengths[-1:], strict=True):
        count = sets_in_turn(hours, length, rests, most)
        best = max(best, count * length + max(0, count - 1) * (longer - length))
    return best


def sets_in_turn(hours: Calendar, length: int, rests: tuple[int, int], most: int) -> int:
    """Give how many sets of a length find a place one after another.

    Parameters
    ----------
    hours : Calendar
        Of the valve.
    length : int
        Of a set [steps].
    rests : tuple of (int, int)
        From a closing and from an opening to the next opening [steps].
    most : int
        Sets that the valve may get.

    Returns
    -------
    int
        Each as early as may be, which leaves the most room for the others.
    """
    cells = hours.cells_per_step
    starts = np.flatnonzero(hours.can_start(length * cells))
    count, earliest = 0, 0
    while count < most:
        place = int(np.searchsorted(starts, earliest))
        if place == len(starts):
            break
        count += 1
        earliest = int(starts[place]) + max(rests[1], length + rests[0]) * cells
    return count
