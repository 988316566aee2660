"""A plan's order walked on other ways than it was made for: what planning on straight lines comes to."""

from __future__ import annotations

import numpy as np

from stressmap.rounds.plan_kernels import new_search, tell_times
from stressmap.rounds.timed_plan import NOT_TAKEN, whole_worth
from stressmap.rounds.timed_task import TimedPlan, TimedTask


def kept_order(task: TimedTask, plan: TimedPlan) -> TimedPlan:
    """Walk a plan in its order; as long as readings end after the window, the tree read last is given up."""
    s = new_search(task, whole_worth(task))
    bag_at, read_at, crew_of = (np.full(len(task), none) for none in (NOT_TAKEN, NOT_TAKEN, -1))
    kept = []
    for crew, actions in enumerate(plan.actions):
        left = [2 * tree + int(read) for tree, read in actions]
        while left:
            s.trial[0, : len(left)] = left
            if tell_times(s, s.trial[0], len(left)) != NOT_TAKEN:
                break
            left = [one for one in left if one >> 1 != left[-1] >> 1]
        for one in left:
            (read_at if one & 1 else bag_at)[one >> 1] = s.times[one]
            crew_of[one >> 1] = crew
        kept.append(tuple((one >> 1, bool(one & 1)) for one in left))
    return TimedPlan(tuple(kept), bag_at, read_at, crew_of, float(task.worth[crew_of >= 0].sum()))
