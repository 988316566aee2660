"""Placing the sets of a valve in a pump's hours: as few as hold its depth, equal in length, spread out."""

from __future__ import annotations

import numpy as np

from stressmap.water.calendar import Span
from stressmap.water.pump_schedule import PumpSchedule, Set

TRIED_LENGTHS = 8
"""Lengths tried for a valve that cannot have all; what is between is left to filling."""


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


def place_equal(pump_schedule: PumpSchedule, valve: int, steps: int, count: int) -> bool:
    """Place a depth in so many sets, equal to a step, each as long after the one before as the hours give.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours; changed if the sets find a place.
    valve : int
        Place of the valve.
    steps : int
        Total [time steps].
    count : int
        Number of sets.

    Returns
    -------
    bool
        False where there is no place for all of them; nothing is placed then.
    """
    sizes = [steps // count + (k < steps % count) for k in range(count)]
    set_lengths = pump_schedule.problem.set_lengths[valve]
    if not all(is_feasible_length(set_lengths, size) for size in (sizes[0], sizes[-1])):
        return False
    placed: list[Set] = []
    for k, size in enumerate(sizes):
        starts = pump_schedule.feasible_starts(valve, size)
        if not len(starts):
            for one in placed:
                pump_schedule.take(one)
            return False
        pump_schedule.add(valve, _start(starts, placed, pump_schedule, k / count), size)
        placed.append(pump_schedule.sets[-1])
    return True


def _start(starts: np.ndarray, placed: list[Set], pump_schedule: PumpSchedule, share: float) -> int:
    """Return the earliest start that spreads the sets, or the earliest of all where there is none."""
    if not placed:
        return int(starts[0])
    first = placed[0].start
    target = first + share * (len(pump_schedule.load) - first)
    later = int(np.searchsorted(starts, int(target)))
    return int(starts[later if later < len(starts) else 0])


def place_fewest(pump_schedule: PumpSchedule, valve: int, steps: int) -> bool:
    """Place a depth in as few equal sets as hold it.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours; changed if the sets find a place.
    valve : int
        Place of the valve.
    steps : int
        Total [time steps].

    Returns
    -------
    bool
        False where it finds no place; nothing is placed then.
    """
    set_lengths = pump_schedule.problem.set_lengths[valve]
    if not set_lengths:
        return False
    shortest, longest = set_lengths[0][0], set_lengths[-1][1]
    most = min(int(pump_schedule.problem.max_sets[valve]), steps // shortest)
    return any(
        place_equal(pump_schedule, valve, steps, count) for count in range(-(-steps // longest), most + 1)
    )


def place_most(pump_schedule: PumpSchedule, valve: int, steps: int) -> int:
    """Place as much of a depth as finds a place in equal sets.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours; changed.
    valve : int
        Place of the valve.
    steps : int
        Total asked for [time steps].

    Returns
    -------
    int
        Time steps placed.
    """
    set_lengths = pump_schedule.problem.set_lengths[valve]
    lengths = [n for low, high in reversed(set_lengths) for n in range(high, low - 1, -1) if n <= steps]
    lengths = lengths[:: max(1, len(lengths) // TRIED_LENGTHS)]
    # What finds no place even once finds none several times.
    lengths = [n for n in lengths if len(pump_schedule.feasible_starts(valve, n))]
    best = (0, 0)
    for count in range(1, int(pump_schedule.problem.max_sets[valve]) + 1):
        for length in lengths:
            if count * length <= best[0]:
                break
            if count * length <= steps and place_equal(pump_schedule, valve, count * length, count):
                best = (count * length, count)
                pump_schedule.take_valve(valve)
                break
    if best[0]:
        place_equal(pump_schedule, valve, *best)
    return best[0]


def grow(pump_schedule: PumpSchedule, valve: int, most: int) -> int:
    """Give a valve a little more: a first set, a longer set, or all its sets laid anew.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours; changed if there is place for more.
    valve : int
        Place of the valve.
    most : int
        Steps to add at most.

    Returns
    -------
    int
        Steps added, 0 if none find a place.
    """
    set_lengths = pump_schedule.problem.set_lengths[valve]
    if not set_lengths or most < 1:
        return 0
    own = pump_schedule.sets_of(valve)
    if own:
        return _lengthen(pump_schedule, own, most) or _lay_anew(pump_schedule, valve, most)
    least = set_lengths[0][0]
    if least > most or pump_schedule.problem.max_sets[valve] < 1:
        return 0
    return least if place_equal(pump_schedule, valve, least, 1) else 0


def _lengthen(pump_schedule: PumpSchedule, own: list[Set], most: int) -> int:
    """Lengthen one of the shortest sets at its end or its start, by as little as may be."""
    step, valve = pump_schedule.calendar.cells_per_step, own[0].valve
    shortest = min(one.end - one.start for one in own)
    length = shortest // step
    longer = _next_length(pump_schedule.problem.set_lengths[valve], length)
    if longer is None or longer - length > (most if len(own) == 1 else min(most, 1)):
        return 0
    more = (longer - length) * step
    for one in own:
        if one.end - one.start > shortest:
            continue
        pump_schedule.take(one)
        starts = pump_schedule.feasible_starts(valve, longer)
        for start in (one.start, one.start - more):
            if start in starts:
                pump_schedule.add(valve, start, longer)
                return longer - length
        pump_schedule.put(one)
    return 0


def _next_length(set_lengths: tuple[Span, ...], length: int) -> int | None:
    """Return the least allowed length over one.

    >>> _next_length(((6, 8), (12, 14)), 8), _next_length(((6, 8),), 8)
    (12, None)
    """
    if any(low <= length < high for low, high in set_lengths):
        return length + 1
    return min((low for low, _ in set_lengths if low > length), default=None)


def _lay_anew(pump_schedule: PumpSchedule, valve: int, most: int) -> int:
    """Lay all sets of a valve anew with a little more, in as many sets or one more."""
    own = pump_schedule.take_valve(valve)
    least = pump_schedule.problem.set_lengths[valve][0][0]
    total = sum(one.end - one.start for one in own) // pump_schedule.calendar.cells_per_step
    for count in range(len(own), min(len(own) + 1, int(pump_schedule.problem.max_sets[valve])) + 1):
        wanted = max(total + 1, count * least)
        if wanted - total <= most and place_equal(pump_schedule, valve, wanted, count):
            return wanted - total
    for one in own:
        pump_schedule.put(one)
    return 0


def join(pump_schedule: PumpSchedule, valve: int) -> bool:
    """Lay a valve's depth in fewer sets, if they find a place.

    Parameters
    ----------
    pump_schedule : PumpSchedule
        The pump's hours; changed then.
    valve : int
        Place of the valve.

    Returns
    -------
    bool
        Whether there are fewer now.
    """
    own = pump_schedule.take_valve(valve)
    total = sum(one.end - one.start for one in own) // pump_schedule.calendar.cells_per_step
    for count in range(1, len(own)):
        if place_equal(pump_schedule, valve, total, count):
            return True
    for one in own:
        pump_schedule.put(one)
    return False
