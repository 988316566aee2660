"""Which trees are taken, by which crew and at which second: a compiled search from several seeds."""

from __future__ import annotations

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.rounds.plan_kernels import new_search, search, tell_times
from stressmap.rounds.timed_task import TimedPlan, TimedTask

SCALE = 10**6
"""Worth becomes whole: so many units for the tree of most worth."""
STEPS = 400_000
"""Changes tried from one seed for up to 160 trees; more trees get more."""
SEEDS = (88172645463325252, 1181783497276652981, 7046029254386353131, 2862933555777941757)
"""A search from each; the best plan is kept."""
SECOND_SHARE = 0.1
"""What a second costs the search, of the worth that a second is used for in the mean."""
NOT_TAKEN = -1_000_000


def timed_plan(task: TimedTask, *, steps: int = STEPS) -> TimedPlan:
    """Plan a round in time: the trees of most worth that fit into the crews' hours.

    Parameters
    ----------
    task : TimedTask
        n candidates.
    steps : int
        Changes tried from each of :data:`SEEDS`, for up to 160 trees.

    Returns
    -------
    TimedPlan
        The same for the same task, on every machine.

    Examples
    --------
    >>> from stressmap.rounds.timed_task import Clockwork
    >>> clockwork = Clockwork(earliest=-1200, closes=7200, bag=60, read=150, least=600, most=7200)
    >>> ways = np.array([[0, 100], [100, 0]])
    >>> plan = timed_plan(TimedTask(np.array([3.0, 1.0]), ways, clockwork), steps=2000)
    >>> plan.worth, plan.actions, plan.read_at.tolist()
    (4.0, (((1, False), (0, False), (0, True), (1, True)),), [0, 250])
    """
    if not len(task):
        return _as_plan(task, np.zeros((task.crews, 0), np.int64), np.zeros(task.crews, np.int64))
    worth = whole_worth(task)
    found = []
    for seed in SEEDS:
        s = new_search(task, worth)
        s.state[0] = seed
        best, lengths = s.plan.copy(), s.length.copy()
        tried = steps * max(1, len(task) // 80)
        warm = int(0.5 * worth.mean())
        found.append((search(s, tried, warm, _second_worth(task, worth), best, lengths), best, lengths))
    _, best, lengths = max(found, key=lambda one: one[0])
    return _as_plan(task, best, lengths)


def whole_worth(task: TimedTask) -> Ints:
    """Give the worth of each tree in whole units, 1 at the least: :data:`SCALE` for the most."""
    return np.asarray(np.maximum(np.rint(SCALE * task.worth / task.worth.max()), 1).astype(np.int64))


def _second_worth(task: TimedTask, worth: Ints) -> int:
    """Give what a second costs the search: a share of what trees bring for the seconds they take."""
    others = task.ways + np.diag(np.full(len(task), np.iinfo(np.int32).max, dtype=np.int64))
    way = float(np.median(others.min(axis=1))) if len(task) > 1 else 0.0
    return int(SECOND_SHARE * worth.mean() / (task.clockwork.bag + task.clockwork.read + 2 * way + 1))


def _as_plan(task: TimedTask, best: Ints, lengths: Ints) -> TimedPlan:
    n = len(task)
    bag_at, read_at, crew_of = np.full(n, NOT_TAKEN), np.full(n, NOT_TAKEN), np.full(n, -1)
    actions = []
    s = new_search(task, whole_worth(task)) if n else None
    for crew, length in enumerate(lengths):
        mine = best[crew, :length]
        actions.append(tuple((int(one) >> 1, bool(one & 1)) for one in mine))
        if s is None or not length:
            continue
        tell_times(s, mine, length)
        trees = np.unique(mine >> 1)
        bag_at[trees], read_at[trees] = s.times[2 * trees], s.times[2 * trees + 1]
        crew_of[trees] = crew
    return TimedPlan(tuple(actions), bag_at, read_at, crew_of, float(task.worth[crew_of >= 0].sum()))
