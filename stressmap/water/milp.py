"""How much water each valve zone gets: a mixed-integer program, solved by HiGHS, with its proven bound.

Whole time steps are chosen for the valves so that the weighted stress relieved is greatest, within the
volume, the hours that water may run, the pumps, and what lengths a set can have. That sets can really be laid
side by side in time is for the timetable to show; here hold what any timetable must obey: the pump's volume
over the hours, and that of valves wanting more than a (k+1)-th of the pump at most k run at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem, Solution
from stressmap.water.capacity_constraints import long_set_rows, step_rows

TIGHT_GAP = 1e-6
"""Relative gap to the proven bound at which small problems stop; large ones stop at :data:`WIDE_GAP`."""
WIDE_GAP = 1e-3
SMALL = 30
MOST_NODES = 20_000
"""Branches looked at before giving up: unlike a time limit, the same on every machine."""
TIE = 1e-7
"""Share of all the worth that the fewest sets and the least water decide among equal plans."""


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


def solve_milp(
    problem: AllocationProblem, *, time_limit_s: float = 30.0, gap: float | None = None
) -> Solution:
    """Find the plan that relieves the most.

    Parameters
    ----------
    problem : AllocationProblem
        What may be chosen from.
    time_limit_s : float
        After this the best so far is taken, and ``stopped`` says so [s].
    gap : float, optional
        Relative gap to the bound at which to stop.

    Returns
    -------
    Solution
        Steps are always whole and within every limit.
    """
    none = np.zeros(len(problem), dtype=np.int64)
    if _all_worth(problem) <= 0.0 or problem.volume_m3 <= 0.0:
        return Solution(none, 0.0, 0.0)
    wanted = gap if gap is not None else (TIGHT_GAP if len(problem) <= SMALL else WIDE_GAP)
    shape = _shape(problem)
    options = {"mip_rel_gap": wanted, "time_limit": time_limit_s, "node_limit": MOST_NODES}
    found = _run(problem, shape, options)
    stopped = "" if found.status == 0 else _why(found.message)
    if found.x is None:
        return Solution(none, 0.0, _all_worth(problem), stopped)
    steps = _within_limits(problem, _steps_in(found.x, shape))
    worth = problem.worth(steps)
    slack = TIE * _all_worth(problem)
    bound = _all_worth(problem) if found.mip_dual_bound is None else -found.mip_dual_bound
    bound = bound + slack if bound > worth + slack else worth
    return Solution(steps, worth, min(bound, _all_worth(problem)), stopped)


def _run(problem: AllocationProblem, shape: _Shape, options: dict[str, float]) -> Any:
    pieces = len(shape.piece_of)
    return milp(
        _costs(problem, shape),
        integrality=np.concatenate([np.zeros(pieces), np.ones(shape.size - pieces)]),
        bounds=_bounds(problem, shape),
        constraints=_constraints(problem, shape),
        options=options,
    )


def _steps_in(values: Floats, shape: _Shape) -> Floats:
    return values[len(shape.piece_of) : len(shape.piece_of) + shape.count]


def _why(message: str) -> str:
    return "time" if "time" in message.lower() else "nodes"


def _all_worth(problem: AllocationProblem) -> float:
    return float(sum(c.value[-1] for c in problem.curves))


def _shape(problem: AllocationProblem) -> _Shape:
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


def _costs(problem: AllocationProblem, shape: _Shape) -> Floats:
    tie = TIE * _all_worth(problem)
    water = problem.flow_m3_h * problem.most_steps
    sets = np.full(len(shape.set_of), 0.1 * tie / max(1, int(problem.most_sets.sum())))
    return np.concatenate([-shape.slope, 0.9 * tie * problem.flow_m3_h / max(water.sum(), 1e-9), sets])


def _bounds(problem: AllocationProblem, shape: _Shape) -> Bounds:
    upper = np.concatenate([shape.width, problem.most_steps, problem.most_sets[shape.set_of]])
    return Bounds(np.zeros(shape.size), upper.astype(float))


def _constraints(problem: AllocationProblem, shape: _Shape) -> list[LinearConstraint]:
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
        LinearConstraint(
            sparse.hstack([none_p, each, number * problem.rest_steps]).tocsr(), -np.inf, float(problem.room)
        ),
    ]
    return rows + _shared(problem, shape)


def _shared(problem: AllocationProblem, shape: _Shape) -> list[LinearConstraint]:
    """Return what the valves share: the water, the pumps' hours, and the places for long sets in them."""
    pieces, n, sets = len(shape.piece_of), len(problem), len(shape.set_of)
    steps, places = step_rows(problem), long_set_rows(problem, shape.set_of, shape.low)
    wide = []
    if steps.shape[0]:
        left, right = (sparse.csr_array((steps.shape[0], columns)) for columns in (pieces, sets))
        wide.append(sparse.hstack([left, steps, right]).tocsr())
    if places.shape[0]:
        wide.append(sparse.hstack([sparse.csr_array((places.shape[0], pieces + n)), places]).tocsr())
    return [LinearConstraint(rows, -np.inf, 1.0) for rows in wide]


def _within_limits(problem: AllocationProblem, wanted: Floats) -> Ints:
    """Round to whole steps that each valve can have, and take back what rounding put over the volume."""
    whole = [problem.allowed(i, round(k)) for i, k in enumerate(np.round(wanted, 6).tolist())]
    steps = np.array(whole, dtype=np.int64)
    while problem.volume_of(steps) > problem.volume_m3 * (1 + 1e-9):
        steps = _less(problem, steps)
    return steps


def _less(problem: AllocationProblem, steps: Ints) -> Ints:
    """Take the step back that loses the least for its water."""
    lower = np.array([problem.allowed(i, k - 1) if k else 0 for i, k in enumerate(steps.tolist())])
    lost = np.array(
        [float(c.at(k) - c.at(low)) for c, k, low in zip(problem.curves, steps, lower, strict=True)]
    )
    saved = problem.flow_m3_h * (steps - lower)
    worst = np.where(saved > 0, lost / np.maximum(saved, 1e-12), np.inf)
    pick = int(np.argmin(worst))
    return np.where(np.arange(len(steps)) == pick, lower, steps)
