"""Compiled search for a timed plan: sequences of bags and reads, changed step by step within their times.

A crew's plan is a sequence of actions: ``2 i`` bags tree i, ``2 i + 1`` reads it. Given the sequence, every
action comes as early as it may, so that a plan is nothing but its sequences. The search accepts a change that
makes the plan worse by less than a threshold that falls to nothing (threshold accepting: Journal of
Computational Physics 90(1):161-175, 1990; from memory). All figures are whole, so that every machine finds
the same plan.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np

from stressmap.core.arrays import Ints
from stressmap.core.compiled_code import compiled, inner
from stressmap.rounds.timed_task import Clockwork, TimedTask

TRIES = 6
"""Times that bags are put on later before a sequence is given up."""
CREW, SOURCE, INTO, OUT, GAIN, COST, SOURCE_COST, TAKEN = range(8)
"""What stands where in ``move``: crew changed, crew that gives a tree away, tree that comes in, tree that
goes out, worth gained, new cost of the two crews; and how many trees are taken."""


class Search(NamedTuple):
    """What a search works on; the arrays from ``plan`` on are changed in place.

    Parameters
    ----------
    worth : array of int, shape (n,)
        Of each tree.
    ways, start : array of int, shape (n, n) and (n,)
        Travel between trees, and to the first [s].
    bag, read : array of int, shape (n,)
        To bag, to read each tree [s].
    near : array of int, shape (n, h)
        The trees nearest to each.
    clockwork : Clockwork
        Times.
    most : int
        Trees taken, at most.
    plan, length, cost : array of int, shape (crews, 2 n), (crews,), (crews,)
        Actions of each crew, how many, and travel plus end of each [s].
    crew_of : array of int, shape (n,)
        Crew of each tree, -1 for none.
    trial, tried : array of int, shape (2, 2 n + 2) and (2,)
        Sequences tried: of the crew changed, and of the one that gives a tree away.
    times, lower, seen : array of int, shape (2 n,), (n,), (n,)
        Clock of each action, earliest bag of each tree, marks.
    move, state : array of int, shape (8,), and of unsigned int, shape (1,)
        The change tried, and the state of the drawing.
    """

    worth: Ints
    ways: Ints
    start: Ints
    bag: Ints
    read: Ints
    near: Ints
    clockwork: Clockwork
    most: int
    plan: Ints
    length: Ints
    cost: Ints
    crew_of: Ints
    trial: Ints
    tried: Ints
    times: Ints
    lower: Ints
    seen: Ints
    move: Ints
    state: Any


def new_search(task: TimedTask, worth: Ints) -> Search:
    """Make an empty plan to begin a search with.

    Parameters
    ----------
    task : TimedTask
        n candidates.
    worth : array of int, shape (n,)
        Of each tree, in whole units.

    Returns
    -------
    Search
    """
    n = len(worth)
    far = task.ways + np.diag(np.full(n, np.iinfo(np.int32).max, dtype=np.int64))
    near = np.ascontiguousarray(np.argsort(far, axis=1, kind="stable")[:, : max(1, min(8, n - 1))])

    def zeros(*shape: int) -> Ints:
        return np.zeros(shape, dtype=np.int64)

    start = zeros(n) if task.start is None else task.start
    return Search(
        worth, task.ways, start, task.bag, task.read, near, task.clockwork, task.trees,
        zeros(task.crews, 2 * n), zeros(task.crews), zeros(task.crews) + task.clockwork.earliest,
        zeros(n) - 1, zeros(2, 2 * n + 2), zeros(2), zeros(2 * n), zeros(n), zeros(n), zeros(8),
        np.ones(1, np.uint64),
    )  # fmt: skip


@inner
def _draw(state, below):  # type: ignore[no-untyped-def]
    """Draw a whole number from 0 to ``below`` - 1 (xorshift, 64 bits, with a multiplier)."""
    x = state[0]
    x ^= x >> numba.uint64(12)
    x ^= x << numba.uint64(25)
    x ^= x >> numba.uint64(27)
    state[0] = x
    return numba.int64(((x * numba.uint64(2685821657736338717)) >> numba.uint64(33)) % numba.uint64(below))


@inner
def _one_pass(s, actions, count):  # type: ignore[no-untyped-def]
    """Let every action come as early as it may; return travel, end and whether bags must go on later.

    Travel is -1 where a reading would end after the window.
    """
    now, at, travel, again = s.clockwork.earliest, -1, 0, False
    for k in range(count):
        tree = actions[k] >> 1
        way = s.start[tree] if at < 0 else s.ways[at, tree]
        now += way
        travel += way
        at = tree
        if actions[k] & 1 == 0:
            now = max(now, s.lower[tree])
            s.times[2 * tree] = now
            now += s.bag[tree]
            continue
        on = s.times[2 * tree] + s.bag[tree]
        now = max(now, 0, on + s.clockwork.least)
        if now - on > s.clockwork.most:
            s.lower[tree] = now - s.clockwork.most - s.bag[tree]
            again = True
        s.times[2 * tree + 1] = now
        now += s.read[tree]
        if now > s.clockwork.closes:
            return -1, now, False
    return travel, now, again


@compiled
def tell_times(s, actions, count):  # type: ignore[no-untyped-def]
    """Put the clock of a sequence into ``times``; return its travel plus end, or -1,000,000 if it cannot be.

    A bag that would hang too long is put on later, which delays nothing where the crew waits after it.
    """
    for k in range(count):
        s.lower[actions[k] >> 1] = s.clockwork.earliest
    for _ in range(TRIES):
        travel, end, again = _one_pass(s, actions, count)
        if travel < 0:
            return -1_000_000
        if not again:
            return travel + end
    return -1_000_000


@inner
def _find(actions, count, action):  # type: ignore[no-untyped-def]
    """Tell where an action stands in a sequence, -1 for nowhere."""
    for k in range(count):
        if actions[k] == action:
            return k
    return -1


@inner
def _put_in(actions, count, at, action):  # type: ignore[no-untyped-def]
    """Put an action before position ``at``."""
    for k in range(count, at, -1):
        actions[k] = actions[k - 1]
    actions[at] = action


@inner
def _take_out(actions, count, at):  # type: ignore[no-untyped-def]
    """Take out the action at a position."""
    for k in range(at, count - 1):
        actions[k] = actions[k + 1]


@inner
def _take_tree(actions, count, tree):  # type: ignore[no-untyped-def]
    """Take out both actions of a tree; return how many are left."""
    left = 0
    for k in range(count):
        if actions[k] >> 1 != tree:
            actions[left] = actions[k]
            left += 1
    return left


@inner
def _put_tree(s, actions, count, tree):  # type: ignore[no-untyped-def]
    """Put both actions of a tree in, mostly beside actions of trees near by; return the new count."""
    first, second = _draw(s.state, count + 1), _draw(s.state, count + 1)
    if _draw(s.state, 4) > 0:
        beside = s.near[tree, _draw(s.state, s.near.shape[1])]
        bag, read = _find(actions, count, 2 * beside), _find(actions, count, 2 * beside + 1)
        if bag >= 0:
            first = bag + _draw(s.state, 2)
            second = (read if _draw(s.state, 3) > 0 else bag) + _draw(s.state, 2)
    _put_in(actions, count, min(first, second), 2 * tree)
    _put_in(actions, count + 1, max(first, second) + 1, 2 * tree + 1)
    return count + 2


@inner
def _turn_round(actions, low, high):  # type: ignore[no-untyped-def]
    """Reverse the piece from one position to another."""
    while low < high:
        actions[low], actions[high] = actions[high], actions[low]
        low += 1
        high -= 1


@inner
def _change_order(s, actions, count):  # type: ignore[no-untyped-def]
    """Move one action, turn a piece round, or let two neighbouring pieces change places."""
    kind, first, second = _draw(s.state, 5), _draw(s.state, count), _draw(s.state, count)
    if kind < 2:
        action = actions[first]
        _take_out(actions, count, first)
        _put_in(actions, count - 1, second, action)
    elif kind == 2:
        _turn_round(actions, min(first, second), max(first, second))
    else:
        low, high = min(first, second), max(first, second)
        middle = low + _draw(s.state, high - low + 1)
        _turn_round(actions, low, high)
        _turn_round(actions, low, low + high - middle)
        _turn_round(actions, low + high - middle + 1, high)
    for k in range(count):
        s.seen[actions[k] >> 1] = 0
    for k in range(count):  # whatever was moved, a tree's first action is its bag
        tree = actions[k] >> 1
        actions[k] = 2 * tree + s.seen[tree]
        s.seen[tree] = 1


@inner
def _copy_crew(s, row, crew):  # type: ignore[no-untyped-def]
    """Make a crew's sequence one of the two that are tried."""
    s.move[CREW if row == 0 else SOURCE] = crew
    s.tried[row] = s.length[crew]
    for k in range(s.length[crew]):
        s.trial[row, k] = s.plan[crew, k]


@inner
def _shift_tree(s, tree, drop):  # type: ignore[no-untyped-def]
    """Drop a tree that is taken, or put it elsewhere, perhaps with the crew already copied."""
    if drop:
        _copy_crew(s, 0, s.crew_of[tree])
        s.tried[0] = _take_tree(s.trial[0], s.tried[0], tree)
        s.move[OUT], s.move[GAIN] = tree, -s.worth[tree]
        return
    if s.crew_of[tree] == s.move[CREW]:
        s.tried[0] = _take_tree(s.trial[0], s.tried[0], tree)
    else:
        _copy_crew(s, 1, s.crew_of[tree])
        s.tried[1] = _take_tree(s.trial[1], s.tried[1], tree)
        s.move[INTO] = tree
    s.tried[0] = _put_tree(s, s.trial[0], s.tried[0], tree)


@inner
def _bring_tree(s, tree, kind):  # type: ignore[no-untyped-def]
    """Take a tree that is not taken: besides the others, or in the place of one of them."""
    actions, count = s.trial[0], s.tried[0]
    full = s.move[TAKEN] >= s.most
    s.move[INTO], s.move[GAIN] = tree, s.worth[tree]
    if count == 0 or (kind < 8 and not full):
        if full:
            return False
        s.tried[0] = _put_tree(s, actions, count, tree)
        return True
    out = actions[_draw(s.state, count)] >> 1
    s.move[OUT] = out
    s.move[GAIN] -= s.worth[out]
    if kind < 9:
        s.tried[0] = _put_tree(s, actions, _take_tree(actions, count, out), tree)
        return True
    for k in range(count):
        if actions[k] >> 1 == out:
            actions[k] = 2 * tree + (actions[k] & 1)
    return True


@inner
def _propose(s):  # type: ignore[no-untyped-def]
    """Draw a change of the plan into ``trial`` and ``move``; tell whether there is one."""
    kind, tree = _draw(s.state, 10), _draw(s.state, s.worth.shape[0])
    s.move[:TAKEN] = -1
    s.move[GAIN] = 0
    _copy_crew(s, 0, _draw(s.state, s.length.shape[0]))
    if kind < 5:
        if s.tried[0] > 1:
            _change_order(s, s.trial[0], s.tried[0])
        return s.tried[0] > 1
    if s.crew_of[tree] < 0:
        return _bring_tree(s, tree, kind)
    _shift_tree(s, tree, kind == 5)
    return True


@inner
def _spent(s):  # type: ignore[no-untyped-def]
    """Tell how many more seconds the change costs; -10,000,000 where it cannot be."""
    crew, source = s.move[CREW], s.move[SOURCE]
    s.move[COST] = tell_times(s, s.trial[0], s.tried[0])
    if s.move[COST] == -1_000_000:
        return -10_000_000
    spent = s.move[COST] - s.cost[crew]
    if source >= 0:
        s.move[SOURCE_COST] = tell_times(s, s.trial[1], s.tried[1])
        if s.move[SOURCE_COST] == -1_000_000:
            return -10_000_000
        spent += s.move[SOURCE_COST] - s.cost[source]
    return spent


@inner
def _settle(s, row, crew, cost):  # type: ignore[no-untyped-def]
    """Make one of the two sequences tried the crew's plan."""
    s.cost[crew] = cost
    s.length[crew] = s.tried[row]
    for k in range(s.tried[row]):
        s.plan[crew, k] = s.trial[row, k]


@inner
def _accept(s):  # type: ignore[no-untyped-def]
    """Make the change."""
    _settle(s, 0, s.move[CREW], s.move[COST])
    if s.move[SOURCE] >= 0:
        _settle(s, 1, s.move[SOURCE], s.move[SOURCE_COST])
    elif s.move[INTO] >= 0:
        s.move[TAKEN] += 1
    if s.move[OUT] >= 0:
        s.crew_of[s.move[OUT]] = -1
        s.move[TAKEN] -= 1
    if s.move[INTO] >= 0:
        s.crew_of[s.move[INTO]] = s.move[CREW]


@compiled
def search(s, steps, warm, second_worth, best, lengths):  # type: ignore[no-untyped-def]
    """Search for the plan of most worth, beginning with the one in ``s``.

    A second of travel, and one of the crew's end, costs ``second_worth``: it decides among plans of nearly
    the same worth. The threshold is ``warm`` at first. ``best`` (crews, 2 n) and ``lengths`` (crews,) hold
    the best plan afterwards; its worth is returned.
    """
    total, best_total, best_cost = 0, -1, 0
    for step in range(steps):
        if step > 0 and _propose(s):
            spent = _spent(s)
            threshold = warm * (steps - step) // steps
            if spent == -10_000_000 or s.move[GAIN] - second_worth * spent <= -threshold:
                continue
            _accept(s)
            total += s.move[GAIN]
        if total > best_total or (total == best_total and s.cost.sum() < best_cost):
            best_total, best_cost = total, s.cost.sum()
            best[:, :] = s.plan
            lengths[:] = s.length
    return best_total
