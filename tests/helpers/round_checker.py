"""Hold a timed plan against its rules, clock by clock; shares nothing with what made it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np


def violations(task, plan) -> list[str]:
    """Name every rule that a plan breaks; both have the fields of TimedTask and TimedPlan."""
    earliest, closes, _, _, least, most = task.clockwork
    bags, reads = leaf_times(task)
    taken = np.flatnonzero(plan.crew >= 0)
    found = [] if len(taken) <= task.trees else ["too many trees"]
    if plan.crew.max(initial=-1) >= task.crews:
        found.append("a crew too many")
    if abs(task.worth[taken].sum() - plan.worth) > 1e-9 * max(1.0, abs(plan.worth)):
        found.append("its worth is not that of its trees")
    for tree in taken:
        bag, read, bag_s, read_s = plan.bag_at[tree], plan.read_at[tree], bags[tree], reads[tree]
        if bag < earliest:
            found.append(f"tree {tree} is bagged too early")
        if read < 0 or read + read_s > closes:
            found.append(f"tree {tree} is not read within the window")
        if not least <= read - (bag + bag_s) <= most:
            found.append(f"tree {tree} has its bag on for {read - bag - bag_s} s")
    for crew in range(task.crews):
        found += _legs(task, plan, crew, taken)
    return found


def leaf_times(task) -> tuple[np.ndarray, np.ndarray]:
    """Seconds to bag and to read each tree: twice as long where two leaves are taken."""
    leaves = np.ones(len(task.worth), np.int64) if task.twice is None else np.where(task.twice, 2, 1)
    return task.clockwork.bag * leaves, task.clockwork.read * leaves


def _legs(task, plan, crew: int, taken: np.ndarray) -> list[str]:
    bags, reads = leaf_times(task)
    mine = [int(tree) for tree in taken if plan.crew[tree] == crew]
    visits = sorted(
        [(plan.bag_at[t], bags[t], t) for t in mine] + [(plan.read_at[t], reads[t], t) for t in mine]
    )
    found = []
    if visits and task.start is not None and visits[0][0] < task.clockwork[0] + task.start[visits[0][2]]:
        found.append(f"crew {crew} cannot be at its first tree")
    for (begins, lasts, tree), (then, _, other) in pairwise(visits):
        if begins + lasts + task.ways[tree, other] > then:
            found.append(f"crew {crew} cannot be at tree {other} at {then} s")
    told = [(tree, read) for tree, read in plan.actions[crew]]
    clock = [plan.read_at[tree] if read else plan.bag_at[tree] for tree, read in told]
    if sorted(told) != sorted([(t, False) for t in mine] + [(t, True) for t in mine]) or clock != sorted(
        clock
    ):
        found.append(f"what crew {crew} does is not in its order")
    return found
