"""Water allocation as two mixed-integer linear programs, solved by HiGHS, each with a proven bound.

Whole time steps are chosen for the valves so that first the bar-days beyond the crops' limits and then
those beyond the allowance are relieved as far as can be, within the volume, the hours that water may run,
the pumps, and what lengths a set can have. The order is kept by two solves, the second with a row that
holds what the first has reached: one objective with a weight large enough would drown what comes second in
the solver's gap. Where no zone is past its limit there is one solve. Whether sets can be placed side by
side in time is left to scheduling; here hold relaxed constraints that any schedule obeys: the pump's volume
over the hours, that of valves taking more than a (k+1)-th of the pump at most k run at once, and how long all
sets can be that the crew can open and close.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem, Solution
from stressmap.water.benefit import FIRST
from stressmap.water.capacity_constraints import crew_constraints, long_set_constraints, step_constraints

TIGHT_GAP = 1e-6
"""Relative gap to the proven bound at which small problems stop; large ones stop at :data:`WIDE_GAP`."""
WIDE_GAP = 1e-3
SMALL = 30
MOST_NODES = 20_000
"""Limit on branch-and-bound nodes: unlike a time limit, the same on every machine."""
TIE_BREAK = 1e-7
"""Share of the total benefit by which fewer sets and less water break ties between equal plans."""
HELD = 1e-6
"""Share of the bar-days beyond the limit by which the second solve may fall short of the first: what the
solver takes rows to be exact to."""


@dataclass(frozen=True)
class _Variables:
    """Order of the variables: segments of the benefit curves, then steps, then sets by range of lengths."""

    piece_of: Ints
    marginal_benefit: Floats
    marginal_past_limit: Floats
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
    """Find the allocation that relieves most beyond the limits, and of those the one of greatest benefit.

    Parameters
    ----------
    problem : AllocationProblem
        The allocation problem.
    time_limit_s : float
        After this the best so far is taken, and ``stopped`` says so [s].
    gap : float, optional
        Relative gap to each bound at which to stop.

    Returns
    -------
    Solution
        Steps are always whole and within every limit.
    """
    none = np.zeros(len(problem), dtype=np.int64)
    if _total_benefit(problem) + _total_past_limit(problem) <= 0.0 or problem.volume_m3 <= 0.0:
        return Solution(none, 0.0, 0.0)
    began = time.monotonic()
    wanted = gap if gap is not None else (TIGHT_GAP if len(problem) <= SMALL else WIDE_GAP)
    variables = _variables(problem)
    first = Solution(none, 0.0, 0.0)
    if _total_past_limit(problem) > 0.0:
        options = {"mip_rel_gap": wanted, "time_limit": time_limit_s / 2.0, "node_limit": MOST_NODES}
        first = _first_solve(problem, variables, options)
    left = max(0.0, time_limit_s - (time.monotonic() - began)) if first.stopped else time_limit_s
    options = {"mip_rel_gap": wanted, "time_limit": left, "node_limit": MOST_NODES}
    return _second_solve(problem, variables, first, options)


def _first_solve(problem: AllocationProblem, variables: _Variables, options: dict[str, float]) -> Solution:
    """Find what relieves most beyond the limits, whatever it does within them."""
    total = _total_past_limit(problem)
    rest = np.zeros(variables.size - len(variables.piece_of))
    found = _run(problem, variables, np.concatenate([-variables.marginal_past_limit, rest]) / total, options)
    stopped = "" if found.status == 0 else _why(found.message)
    steps = np.zeros(len(problem), dtype=np.int64)
    if found.x is not None:
        steps = _round_to_feasible(problem, _steps_in(found.x, variables))
    reached = problem.past_limit(steps)
    bound = total if found.mip_dual_bound is None else min(total, -found.mip_dual_bound * total)
    bound = max(bound, reached)
    return Solution(steps, problem.benefit(steps), _total_benefit(problem), stopped, reached, bound)


def _second_solve(
    problem: AllocationProblem, variables: _Variables, first: Solution, options: dict[str, float]
) -> Solution:
    """Find what relieves most within the limits and no less beyond them than the first solve."""
    total = _total_benefit(problem)
    if total <= 0.0:
        return first
    found = _run(problem, variables, _objective(problem, variables), options, first.past_limit)
    stopped = first.stopped or ("" if found.status == 0 else _why(found.message))
    bound = total if found.mip_dual_bound is None else min(total, -found.mip_dual_bound)
    if found.x is None:
        return replace(first, bound=bound, stopped=stopped)
    steps = _round_to_feasible(problem, _steps_in(found.x, variables))
    if problem.past_limit(steps) < first.past_limit * (1.0 - 2.0 * HELD):
        steps = first.steps
    benefit, reached = problem.benefit(steps), problem.past_limit(steps)
    slack = TIE_BREAK * total
    bound = min(bound + slack, total) if bound > benefit else benefit
    return Solution(steps, benefit, bound, stopped, reached, max(first.past_limit_bound, reached))


def bound_beside(problem: AllocationProblem, past_limit: float) -> float:
    """Give a bound on the benefit of plans that relieve at least so much beyond the limits.

    Parameters
    ----------
    problem : AllocationProblem
        The allocation problem.
    past_limit : float
        Weighted bar-days beyond the limit that are relieved [ha·bar·d].

    Returns
    -------
    float
        Of the linear relaxation [ha·bar·d].
    """
    variables = _variables(problem)
    found = _run(problem, variables, _objective(problem, variables), {}, past_limit, whole=False)
    total = _total_benefit(problem)
    return total if found.x is None else min(total, float(-found.fun) + TIE_BREAK * total)


@dataclass(frozen=True)
class AmountRelieves:
    """What one amount of water relieves.

    Parameters
    ----------
    water_m3 : float
        That it uses [m3].
    benefit : float
        Weighted bar-days beyond the allowance that are relieved [ha·bar·d].
    past_limit : float
        Weighted bar-days beyond the crops' limits that are relieved [ha·bar·d].
    """

    water_m3: float
    benefit: float
    past_limit: float

    @property
    def merit(self) -> float:
        """Both in one figure; see :data:`stressmap.water.benefit.FIRST`."""
        return self.benefit + FIRST * self.past_limit


def solve_relaxed(problem: AllocationProblem) -> AmountRelieves:
    """Solve the allocation without whole steps: one linear program, two where zones are past their limits.

    Parameters
    ----------
    problem : AllocationProblem
        The allocation problem.

    Returns
    -------
    AmountRelieves
        No plan of whole steps relieves more.
    """
    most = _total_past_limit(problem)
    if _total_benefit(problem) + most <= 0.0 or problem.volume_m3 <= 0.0:
        return AmountRelieves(0.0, 0.0, 0.0)
    variables, beyond = _variables(problem), 0.0
    pieces = len(variables.piece_of)
    if most > 0.0:
        costs = np.concatenate([-variables.marginal_past_limit, np.zeros(variables.size - pieces)]) / most
        beyond = -float(_run(problem, variables, costs, {}, whole=False).fun) * most
    found = _run(problem, variables, _objective(problem, variables), {}, beyond, whole=False)
    taken = found.x[:pieces]
    return AmountRelieves(
        problem.volume_of(_steps_in(found.x, variables)),
        float(variables.marginal_benefit @ taken),
        float(variables.marginal_past_limit @ taken),
    )


def _run(
    problem: AllocationProblem,
    variables: _Variables,
    costs: Floats,
    options: dict[str, float],
    past_limit: float = 0.0,
    *,
    whole: bool = True,
) -> Any:
    pieces = len(variables.piece_of)
    constraints = _constraints(problem, variables)
    if past_limit > 0.0:
        kept = np.concatenate([variables.marginal_past_limit / past_limit, np.zeros(variables.size - pieces)])
        constraints.append(LinearConstraint(sparse.csr_array(kept[None, :]), 1.0 - HELD, np.inf))
    return milp(
        costs,
        integrality=np.concatenate([np.zeros(pieces), np.full(variables.size - pieces, float(whole))]),
        bounds=_bounds(problem, variables),
        constraints=constraints,
        options=options,
    )


def _steps_in(values: Floats, variables: _Variables) -> Floats:
    return values[len(variables.piece_of) : len(variables.piece_of) + variables.count]


def _why(message: str) -> str:
    return "time" if "time" in message.lower() else "nodes"


def _total_benefit(problem: AllocationProblem) -> float:
    return float(sum(c.value[-1] for c in problem.curves))


def _total_past_limit(problem: AllocationProblem) -> float:
    return float(sum(c.past_limit[-1] for c in problem.curves))


def _variables(problem: AllocationProblem) -> _Variables:
    piece_of, marginal_benefit, beyond, width = [], [], [], []
    for i, curve in enumerate(problem.curves):
        widths = np.diff(curve.steps)
        piece_of += [i] * (len(widths) + 1)
        marginal_benefit += [*(np.diff(curve.value) / widths).tolist(), 0.0]
        beyond += [*(np.diff(curve.past_limit) / widths).tolist(), 0.0]
        width += [*widths.tolist(), max(0, int(problem.max_steps[i]) - int(curve.steps[-1]))]
    sets = [(i, low, high) for i, set_lengths in enumerate(problem.set_lengths) for low, high in set_lengths]
    return _Variables(
        np.array(piece_of, dtype=np.int64),
        np.array(marginal_benefit, dtype=np.float64),
        np.array(beyond, dtype=np.float64),
        np.array(width, dtype=np.float64),
        len(problem),
        np.array([i for i, _, _ in sets], dtype=np.int64),
        np.array([low for _, low, _ in sets], dtype=np.float64),
        np.array([high for _, _, high in sets], dtype=np.float64),
    )


def _objective(problem: AllocationProblem, variables: _Variables) -> Floats:
    tie = TIE_BREAK * _total_benefit(problem)
    water = problem.flow_m3_h * problem.max_steps
    sets = np.full(len(variables.set_of), 0.1 * tie / max(1, int(problem.max_sets.sum())))
    return np.concatenate(
        [-variables.marginal_benefit, 0.9 * tie * problem.flow_m3_h / max(water.sum(), 1e-9), sets]
    )


def _bounds(problem: AllocationProblem, variables: _Variables) -> Bounds:
    upper = np.concatenate([variables.width, problem.max_steps, problem.max_sets[variables.set_of]])
    return Bounds(np.zeros(variables.size), upper.astype(float))


def _constraints(problem: AllocationProblem, variables: _Variables) -> list[LinearConstraint]:
    n, pieces, sets = len(problem), len(variables.piece_of), len(variables.set_of)

    def block(rows: Ints, values: Floats, columns: int) -> sparse.csr_array:
        return sparse.csr_array((values, (rows, np.arange(columns))), shape=(n, columns))

    each = sparse.eye_array(n, format="csr")
    gathered = block(variables.piece_of, np.ones(pieces), pieces)
    none_p, none_n = sparse.csr_array((n, pieces)), sparse.csr_array((n, n))
    longest, shortest = (
        block(variables.set_of, variables.high, sets),
        block(variables.set_of, variables.low, sets),
    )
    number = block(variables.set_of, np.ones(sets), sets)
    linked = _linked(problem)
    rows = [
        LinearConstraint(sparse.hstack([gathered, -each, sparse.csr_array((n, sets))]).tocsr(), 0.0, 0.0),
        LinearConstraint(sparse.hstack([none_p, each, -longest]).tocsr(), -np.inf, 0.0),
        LinearConstraint(sparse.hstack([none_p, each, -shortest]).tocsr(), 0.0, np.inf),
        LinearConstraint(
            sparse.hstack([none_p, none_n, number]).tocsr(), 0.0, problem.max_sets.astype(float)
        ),
        LinearConstraint(
            sparse.hstack(
                [none_p, each, sparse.diags_array(problem.rest_steps.astype(float)) @ number]
            ).tocsr(),
            -np.inf,
            problem.steps_with_rests.astype(float),
        ),
    ]
    if linked.shape[0]:
        wide = sparse.hstack([sparse.csr_array((linked.shape[0], pieces + n)), linked @ number])
        rows.append(LinearConstraint(wide.tocsr(), 0.0, 0.0))
    return rows + _coupling_constraints(problem, variables)


def _linked(problem: AllocationProblem) -> sparse.csr_array:
    """Return a row for each two neighbours of a run of checks: both get as many sets."""
    pairs = [pair for checks in problem.runs for pair in pairwise(checks)]
    at = np.repeat(np.arange(len(pairs)), 2)
    ones = np.tile([1.0, -1.0], len(pairs))
    valves = np.array(pairs, dtype=np.int64).reshape(-1)
    return sparse.csr_array((ones, (at, valves)), shape=(len(pairs), len(problem)))


def _coupling_constraints(problem: AllocationProblem, variables: _Variables) -> list[LinearConstraint]:
    """Return the coupling constraints: the water, the pumps' hours, places for long sets in them, crew."""
    pieces, n, sets = len(variables.piece_of), len(problem), len(variables.set_of)
    steps, places = step_constraints(problem), long_set_constraints(problem, variables.set_of, variables.low)
    wide = []
    if steps.shape[0]:
        left, right = (sparse.csr_array((steps.shape[0], columns)) for columns in (pieces, sets))
        wide.append(sparse.hstack([left, steps, right]).tocsr())
    if places.shape[0]:
        wide.append(sparse.hstack([sparse.csr_array((places.shape[0], pieces + n)), places]).tocsr())
    turns = crew_constraints(problem, variables.set_of)
    if turns.shape[0]:
        wide.append(sparse.hstack([sparse.csr_array((turns.shape[0], pieces)), turns]).tocsr())
    return [LinearConstraint(rows, -np.inf, 1.0) for rows in wide]


def _round_to_feasible(problem: AllocationProblem, wanted: Floats) -> Ints:
    """Round to feasible whole steps, and remove steps while rounding exceeds the volume."""
    whole = [problem.feasible_steps(i, round(k)) for i, k in enumerate(np.round(wanted, 6).tolist())]
    steps = np.array(whole, dtype=np.int64)
    while problem.volume_of(steps) > problem.volume_m3 * (1 + 1e-9):
        steps = _remove_cheapest_step(problem, steps)
    return problem.whole_runs(steps)


def _remove_cheapest_step(problem: AllocationProblem, steps: Ints) -> Ints:
    """Remove the step that loses the least benefit for its water."""
    lower = np.array([problem.feasible_steps(i, k - 1) if k else 0 for i, k in enumerate(steps.tolist())])
    lost = np.array(
        [float(c.at(k) - c.at(low)) for c, k, low in zip(problem.curves, steps, lower, strict=True)]
    )
    saved = problem.flow_m3_h * (steps - lower)
    worst = np.where(saved > 0, lost / np.maximum(saved, 1e-12), np.inf)
    pick = int(np.argmin(worst))
    return np.where(np.arange(len(steps)) == pick, lower, steps)
