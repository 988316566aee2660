"""A proven bound on what any timed plan can be worth: the orienteering problem relaxed to a linear one.

Every tree taken is visited twice, so the legs that meet at it have four ends; a tree's bag followed by its
own reading waits for the bag. A crew's legs are one walk, closed through a place outside: any set of trees
around a tree taken is crossed twice at the least (generalised subtour elimination, as in the travelling
salesman problem with profits; from memory). All travel, waiting and work must fit into the crews' hours.
Whatever a true plan does satisfies these, so their optimum is no less than any plan's worth.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse.csgraph import breadth_first_order, maximum_flow

from stressmap.core.arrays import Bools, Floats, Ints
from stressmap.rounds.timed_task import TimedTask

ROUNDS = 16
"""Times that broken conditions are looked for; the bound is proven after each."""
UNITS = 10**6
"""Flows are whole: so many units to one leg."""
SLACK = 0.01
"""A condition broken by less is let go."""
LEGS = 3.0
"""Legs between two trees visited twice each, at most."""


@dataclass(frozen=True)
class _Relaxed:
    """Variables: n trees taken, n waits at a tree, n ends outside, then legs between pairs of trees."""

    first: Ints
    second: Ints
    cost: Floats
    equal: sparse.csr_matrix
    least: sparse.csr_matrix
    limit: Floats
    upper: Floats

    @property
    def trees(self) -> int:
        return (len(self.cost) - len(self.first)) // 3


def worth_bound(task: TimedTask, *, nodes: int = 0) -> float:
    """Bound the worth of every plan of a task from above.

    Parameters
    ----------
    task : TimedTask
        n candidates.
    nodes : int
        0 for the linear relaxation; else trees are taken whole or not at all, and the best bound after so
        many nodes of branching is given.

    Returns
    -------
    float
        No plan of these trees, ways, crews and hours is worth more.

    Examples
    --------
    >>> from stressmap.rounds.timed_task import Clockwork
    >>> clockwork = Clockwork(earliest=0, closes=1000, bag=60, read=140, least=600, most=7200)
    >>> ways = np.array([[0, 900], [900, 0]])
    >>> round(worth_bound(TimedTask(np.array([2.0, 2.0]), ways, clockwork), nodes=50), 6)
    2.0
    """
    if not len(task):
        return 0.0
    made = _relaxed(task)
    for _ in range(ROUNDS):
        found = _solved(made)
        broken = _broken(made, found)
        if not broken:
            break
        rows = sparse.csr_matrix(np.array(broken))
        made = _with_conditions(made, rows)
    bound = min(float(made.cost @ -_solved(made)), float(task.worth.sum()))
    return min(bound, _branched(made, nodes)) if nodes else bound


def _relaxed(task: TimedTask) -> _Relaxed:
    n, clockwork = len(task), task.clockwork
    first, second = np.triu_indices(n, 1)
    way = np.minimum(task.ways, task.ways.T)[first, second]
    legs, each = len(first), sparse.eye(n)
    meets = sparse.coo_matrix(
        (np.ones(2 * legs), (np.r_[first, second], np.tile(np.arange(legs), 2))), shape=(n, legs)
    )
    nothing = np.zeros(n)
    work = (task.bag + task.read).astype(float)
    rows = np.array(
        [
            np.r_[work, np.full(n, clockwork.least), nothing, way],
            np.r_[nothing, nothing, np.ones(n), np.zeros(legs)],
            np.r_[np.ones(n), nothing, nothing, np.zeros(legs)],
        ]
    )
    waits = sparse.hstack([-each, each, sparse.csr_matrix((n, n + legs))])
    hours = task.crews * (clockwork.closes - clockwork.earliest)
    return _Relaxed(
        first,
        second,
        np.r_[-task.worth, np.zeros(2 * n + legs)],
        sparse.hstack([-4 * each, 2 * each, each, meets]).tocsr(),
        sparse.vstack([sparse.csr_matrix(rows), waits]).tocsr(),
        np.r_[hours, 2 * task.crews, task.trees, nothing],
        np.r_[np.ones(2 * n), np.full(n, 2.0), np.full(legs, LEGS)],
    )


def _with_conditions(made: _Relaxed, rows: sparse.csr_matrix) -> _Relaxed:
    return _Relaxed(
        made.first,
        made.second,
        made.cost,
        made.equal,
        sparse.vstack([made.least, rows]).tocsr(),
        np.r_[made.limit, np.zeros(rows.shape[0])],
        made.upper,
    )


def _solved(made: _Relaxed) -> Floats:
    found = linprog(
        made.cost,
        A_ub=made.least,
        b_ub=made.limit,
        A_eq=made.equal,
        b_eq=np.zeros(made.trees),
        bounds=np.column_stack([np.zeros_like(made.upper), made.upper]),
        method="highs",
    )
    return np.asarray(found.x)


def _branched(made: _Relaxed, nodes: int) -> float:
    n = made.trees
    found = milp(
        made.cost,
        constraints=[
            LinearConstraint(made.least, -np.inf, made.limit),
            LinearConstraint(made.equal, np.zeros(n), np.zeros(n)),
        ],
        integrality=np.r_[np.ones(n), np.zeros(len(made.cost) - n)],
        bounds=Bounds(np.zeros_like(made.upper), made.upper),
        options={"node_limit": nodes},
    )
    return float(-found.mip_dual_bound) if found.mip_dual_bound is not None else np.inf


def _broken(made: _Relaxed, found: Floats) -> list[Floats]:
    """Find sets of trees that are crossed less than twice although a tree in them is taken."""
    n = made.trees
    taken, ends, legs = found[:n], found[2 * n : 3 * n], found[3 * n :]
    flow = _network(made, ends, legs)
    rows: dict[bytes, Floats] = {}
    for tree in np.flatnonzero(taken > SLACK):
        cut = maximum_flow(flow, n, int(tree))
        if cut.flow_value >= (2 * taken[tree] - SLACK) * UNITS:
            continue
        inside = ~_reached(flow - cut.flow, n)
        most = int(np.flatnonzero(inside)[np.argmax(taken[inside])])
        for one in (int(tree), most):
            rows.setdefault(inside.tobytes() + bytes(str(one), "ascii"), _condition(made, inside, one))
    return list(rows.values())


def _network(made: _Relaxed, ends: Floats, legs: Floats) -> sparse.csr_matrix:
    """Give the legs as capacities both ways between trees, and the place outside as the last node."""
    n = made.trees
    used = legs > 0
    one, other = np.r_[made.first[used], np.full(n, n)], np.r_[made.second[used], np.arange(n)]
    units = np.floor(np.r_[legs[used], ends] * UNITS).astype(np.int32)
    return sparse.csr_matrix(
        (np.r_[units, units], (np.r_[one, other], np.r_[other, one])), shape=(n + 1,) * 2
    )


def _reached(left: sparse.csr_matrix, outside: int) -> Bools:
    left.data = np.maximum(left.data, 0)
    left.eliminate_zeros()
    reached = np.zeros(outside + 1, dtype=bool)
    reached[breadth_first_order(left, outside, return_predecessors=False)] = True
    return reached[:outside]


def _condition(made: _Relaxed, inside: Bools, tree: int) -> Floats:
    n = made.trees
    row = np.zeros(len(made.cost))
    row[tree] = 2.0
    row[2 * n : 3 * n][inside] = -1.0
    row[3 * n :][inside[made.first] != inside[made.second]] = -1.0
    return row
