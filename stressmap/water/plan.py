"""How much water each valve zone gets: a mixed-integer program, solved by HiGHS, with its proven bound.

Whole time steps are chosen for the valves so that the weighted stress relieved is greatest, within the
volume, the hours that water may run, the pumps, and what lengths a set can have. That sets can really be laid
side by side in time is for the timetable to show; here hold what any timetable must obey: the pump's volume
over the hours, and that of valves wanting more than a (k+1)-th of the pump at most k run at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from stressmap.water.hours import Span
from stressmap.water.relief import Curve, Floats, Ints

TIGHT_GAP = 1e-6
"""Relative gap to the proven bound at which small problems stop; large ones stop at :data:`WIDE_GAP`."""
WIDE_GAP = 1e-3
SMALL = 30
MOST_NODES = 20_000
"""Branches looked at before giving up: unlike a time limit, the same on every machine."""
MOST_AT_ONCE = 6
TIE = 1e-7
"""Share of all the worth that the fewest sets and the least water decide among equal plans."""


@dataclass(frozen=True)
class Problem:
    """What the plan may choose from: n valve zones, p pumps.

    Parameters
    ----------
    names : tuple of str, length n
        Valves.
    flow_m3_h : array of float, shape (n,)
        [m3/h].
    pump : array of int, shape (n,)
        Pump of each valve, 0 and up.
    capacity_m3_h : array of float, shape (p,)
        [m3/h]; infinite where not limited.
    volume_m3 : float
        Water there is [m3]; infinite where not limited.
    step_hours : float
        Length of a time step [h].
    hours_steps : int
        Time steps in which water may run.
    runs : tuple, length n
        Lengths that a set of the valve may have, ranges of steps with both ends.
    most_sets : array of int, shape (n,)
        Sets that the valve may get.
    most_steps : array of int, shape (n,)
        Steps that the valve may get in all.
    curves : tuple of Curve, length n
        What steps are worth.
    """

    names: tuple[str, ...]
    flow_m3_h: Floats
    pump: Ints
    capacity_m3_h: Floats
    volume_m3: float
    step_hours: float
    hours_steps: int
    runs: tuple[tuple[Span, ...], ...]
    most_sets: Ints
    most_steps: Ints
    curves: tuple[Curve, ...]

    def __len__(self) -> int:
        """Return n."""
        return len(self.names)

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

    def worth(self, steps: NDArray[np.int64]) -> float:
        """Give the weighted stress that steps relieve.

        Parameters
        ----------
        steps : array of int, shape (n,)
            Of each valve.

        Returns
        -------
        float
            [ha·bar²].
        """
        return float(sum(float(c.at(k)) for c, k in zip(self.curves, steps, strict=True)))


@dataclass(frozen=True)
class Solution:
    """A plan and how good it is known to be.

    Parameters
    ----------
    steps : array of int, shape (n,)
        Time steps of each valve.
    worth : float
        Weighted stress relieved [ha·bar²].
    bound : float
        No plan can relieve more [ha·bar²].
    stopped : str
        ``""`` where the search ended by itself, else ``"time"`` or ``"nodes"``.
    """

    steps: Ints
    worth: float
    bound: float
    stopped: str = ""

    @property
    def gap(self) -> float:
        """Share of the bound that may be missing, 0 to 1."""
        return max(0.0, self.bound - self.worth) / self.bound if self.bound > 0 else 0.0


@dataclass(frozen=True)
class _Shape:
    """Where the variables lie: pieces of the curves, then steps, then sets by range of lengths."""

    piece_of: Ints
    slope: Floats
    width: Floats
    count: int
    set_of: Ints
    low: Floats
    high: Floats

    @property
    def size(self) -> int:
        return len(self.piece_of) + self.count + len(self.set_of)


def solve(
    problem: Problem, *, whole: bool = True, time_limit_s: float = 30.0, gap: float | None = None
) -> Solution:
    """Find the plan that relieves the most.

    Parameters
    ----------
    problem : Problem
        What may be chosen from.
    whole : bool
        False leaves out that steps and sets are whole numbers: quick, for judging over many draws.
    time_limit_s : float
        After this the best so far is taken, and ``stopped`` says so [s].
    gap : float, optional
        Relative gap to the bound at which to stop.

    Returns
    -------
    Solution
        Steps are always whole and within every limit.
    """
    shape = _shape(problem)
    if shape.slope.sum() <= 0.0 or problem.volume_m3 <= 0.0:
        return Solution(np.zeros(len(problem), dtype=np.int64), 0.0, 0.0)
    wanted = gap if gap is not None else (TIGHT_GAP if len(problem) <= SMALL else WIDE_GAP)
    pieces = len(shape.piece_of)
    found = milp(
        _costs(problem, shape),
        integrality=np.concatenate([np.zeros(pieces), np.full(shape.size - pieces, int(whole))]),
        bounds=_bounds(problem, shape),
        constraints=_constraints(problem, shape),
        options={"mip_rel_gap": wanted, "time_limit": time_limit_s, "node_limit": MOST_NODES},
    )
    if found.x is None:
        return Solution(np.zeros(len(problem), dtype=np.int64), 0.0, _all_worth(problem), "time")
    steps = _within_limits(problem, found.x[pieces : pieces + len(problem)])
    worth = problem.worth(steps)
    bound = -found.mip_dual_bound if whole else -found.fun
    slack = TIE * _all_worth(problem)
    stopped = "" if found.status == 0 or not whole else _why(found.message)
    return Solution(steps, worth, min(max(bound + slack, worth), _all_worth(problem)), stopped)


def _why(message: str) -> str:
    return "time" if "time" in message.lower() else "nodes"


def _all_worth(problem: Problem) -> float:
    return float(sum(c.value[-1] for c in problem.curves))


def _shape(problem: Problem) -> _Shape:
    piece_of, slope, width = [], [], []
    for i, curve in enumerate(problem.curves):
        widths = np.diff(curve.steps)
        piece_of += [i] * (len(widths) + 1)
        slope += [*(np.diff(curve.value) / widths).tolist(), 0.0]
        width += [*widths.tolist(), max(0, int(problem.most_steps[i]) - int(curve.steps[-1]))]
    sets = [(i, low, high) for i, runs in enumerate(problem.runs) for low, high in runs]
    return _Shape(
        np.array(piece_of, dtype=np.int64),
        np.array(slope, dtype=np.float64),
        np.array(width, dtype=np.float64),
        len(problem),
        np.array([i for i, _, _ in sets], dtype=np.int64),
        np.array([low for _, low, _ in sets], dtype=np.float64),
        np.array([high for _, _, high in sets], dtype=np.float64),
    )


def _costs(problem: Problem, shape: _Shape) -> Floats:
    tie = TIE * _all_worth(problem)
    water = problem.flow_m3_h * problem.most_steps
    sets = np.full(len(shape.set_of), 0.1 * tie / max(1, int(problem.most_sets.sum())))
    return np.concatenate([-shape.slope, 0.9 * tie * problem.flow_m3_h / max(water.sum(), 1e-9), sets])


def _bounds(problem: Problem, shape: _Shape) -> Bounds:
    upper = np.concatenate([shape.width, problem.most_steps, problem.most_sets[shape.set_of]])
    return Bounds(np.zeros(shape.size), upper.astype(float))


def _constraints(problem: Problem, shape: _Shape) -> list[LinearConstraint]:
    n, pieces, sets = len(problem), len(shape.piece_of), len(shape.set_of)

    def block(rows: Ints, values: Floats, columns: int) -> sparse.csr_array:
        return sparse.csr_array((values, (rows, np.arange(columns))), shape=(n, columns))

    each = sparse.eye_array(n, format="csr")
    gathered = block(shape.piece_of, np.ones(pieces), pieces)
    none_p, none_n = sparse.csr_array((n, pieces)), sparse.csr_array((n, n))
    longest, shortest = block(shape.set_of, shape.high, sets), block(shape.set_of, shape.low, sets)
    number = block(shape.set_of, np.ones(sets), sets)
    rows = [
        LinearConstraint(sparse.hstack([gathered, -each, sparse.csr_array((n, sets))]).tocsr(), 0.0, 0.0),
        LinearConstraint(sparse.hstack([none_p, each, -longest]).tocsr(), -np.inf, 0.0),
        LinearConstraint(sparse.hstack([none_p, each, -shortest]).tocsr(), 0.0, np.inf),
        LinearConstraint(
            sparse.hstack([none_p, none_n, number]).tocsr(), 0.0, problem.most_sets.astype(float)
        ),
    ]
    shared = _shared_rows(problem)
    if shared.shape[0]:
        left, right = (sparse.csr_array((shared.shape[0], columns)) for columns in (pieces, sets))
        rows.append(LinearConstraint(sparse.hstack([left, shared, right]).tocsr(), -np.inf, 1.0))
    return rows


def _shared_rows(problem: Problem) -> sparse.csr_array:
    """Return what the valves share, each row's limit being 1: the water, and every pump."""
    rows: list[Floats] = []
    if np.isfinite(problem.volume_m3):
        rows.append(problem.flow_m3_h * problem.step_hours / problem.volume_m3)
    for pump, capacity in enumerate(problem.capacity_m3_h.tolist()):
        mine = problem.pump == pump
        if np.isfinite(capacity) and mine.any() and problem.hours_steps:
            rows += _pump_rows(np.where(mine, problem.flow_m3_h / capacity, 0.0), problem.hours_steps)
    return sparse.csr_array(np.array(rows).reshape(len(rows), len(problem)))


def _pump_rows(share: Floats, hours: int) -> list[Floats]:
    """Return a pump's rows from the share of it that each valve takes."""
    rows = [share / hours]
    for k in range(1, MOST_AT_ONCE + 1):
        large = share > (1.0 + 1e-9) / (k + 1)
        if large.sum() > k and (k == 1 or (large & (share <= (1.0 + 1e-9) / k)).any()):
            rows.append(large / (k * hours))
    return rows


def _within_limits(problem: Problem, wanted: Floats) -> Ints:
    """Round to whole steps that each valve can have, and take back what rounding put over the volume."""
    steps = np.array(
        [
            allowed_total(round(k), runs, int(sets), int(most))
            for k, runs, sets, most in zip(
                np.round(wanted, 6).tolist(), problem.runs, problem.most_sets, problem.most_steps, strict=True
            )
        ],
        dtype=np.int64,
    )
    while problem.volume_of(steps) > problem.volume_m3 * (1 + 1e-9):
        steps = _less(problem, steps)
    return steps


def fits(problem: Problem, steps: Ints) -> bool:
    """Tell whether steps keep within the water and what every timetable must obey.

    Parameters
    ----------
    problem : Problem
        Of n valves.
    steps : array of int, shape (n,)
        Time steps of each valve.

    Returns
    -------
    bool
    """
    return bool((_shared_rows(problem) @ steps <= 1.0 + 1e-9).all())


def _less(problem: Problem, steps: Ints) -> Ints:
    """Take the step back that loses the least for its water."""
    lower = np.array(
        [
            allowed_total(int(k) - 1, runs, int(sets), int(most)) if k else 0
            for k, runs, sets, most in zip(
                steps, problem.runs, problem.most_sets, problem.most_steps, strict=True
            )
        ]
    )
    lost = np.array(
        [float(c.at(k) - c.at(low)) for c, k, low in zip(problem.curves, steps, lower, strict=True)]
    )
    saved = problem.flow_m3_h * (steps - lower)
    worst = np.where(saved > 0, lost / np.maximum(saved, 1e-12), np.inf)
    pick = int(np.argmin(worst))
    return np.where(np.arange(len(steps)) == pick, lower, steps)


def allowed_total(steps: int, runs: tuple[Span, ...], most_sets: int, most_steps: int) -> int:
    """Give the largest total, no more than asked, that sets of allowed lengths can make up.

    Parameters
    ----------
    steps : int
        Total asked for.
    runs : tuple of (int, int)
        Lengths that a set may have, both ends.
    most_sets, most_steps : int
        Limits on the number of sets and on the total.

    Returns
    -------
    int
        0 where nothing that small can be made.

    Examples
    --------
    >>> [allowed_total(steps, ((6, 8),), 7, 56) for steps in (5, 11, 13)]
    [0, 8, 13]
    """
    best, top = 0, min(steps, most_steps)
    sums = {(0, 0)}
    for _ in range(most_sets if runs else 0):
        sums = _ranges_merged([(a + low, b + high) for a, b in sums for low, high in runs if a + low <= top])
        if not sums:
            break
        best = max([best, *(min(b, top) for _, b in sums)])
        if best == top:
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
