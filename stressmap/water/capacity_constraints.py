"""Capacity constraints of water volume and pump hours as linear rows (at most 1), with cover inequalities."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem

MOST_AT_ONCE = 6
RIGHT_HAND_SIDE = 1.0 + 1e-9


def step_constraints(problem: AllocationProblem) -> sparse.csr_array:
    """Give the capacity constraints on time steps: the water volumes, and every pump's hours.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.

    Returns
    -------
    sparse array, shape (r, n)
        Times the steps, each row is at most 1.
    """
    rows: list[Floats] = []
    if np.isfinite(problem.volume_m3):
        rows.append(problem.flow_m3_h * problem.step_hours / problem.volume_m3)
    for source, volume in enumerate(problem.source_m3.tolist()):
        rows.append(np.where(problem.source == source, problem.flow_m3_h, 0.0) * problem.step_hours / volume)
    for share in _pump_shares(problem):
        rows.append(share / problem.hours_steps)
        rows += [group / (at_once * problem.hours_steps) for at_once, group in _cover_groups(share)]
    return sparse.csr_array(np.array(rows).reshape(len(rows), len(problem)))


def long_set_constraints(problem: AllocationProblem, set_of: Ints, low: Floats) -> sparse.csr_array:
    """Give the constraints on sets longer than half a stretch: one a stretch for each place at a pump.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    set_of : array of int, shape (s,)
        Valve of each kind of set.
    low : array of float, shape (s,)
        Its least length [steps].

    Returns
    -------
    sparse array, shape (r, s)
        Times the numbers of sets, each row is at most 1.
    """
    long = low > max(problem.windows, default=0) / 2.0
    rows = [
        np.where(long, group[set_of], 0.0) / (at_once * len(problem.windows))
        for share in _pump_shares(problem)
        for at_once, group in _cover_groups(share)
    ]
    kept = [row for row in rows if row.any()]
    return sparse.csr_array(np.array(kept).reshape(len(kept), len(long)))


def _pump_shares(problem: AllocationProblem) -> list[Floats]:
    """Return for each pump that is limited the share of it that each valve takes."""
    shares = []
    for pump, capacity in enumerate(problem.capacity_m3_h.tolist()):
        mine = problem.pump == pump
        if np.isfinite(capacity) and mine.any():
            shares.append(np.where(mine, problem.flow_m3_h / capacity, 0.0))
    return shares


def _cover_groups(share: Floats) -> list[tuple[int, Floats]]:
    """Return cover inequalities: groups of valves of which only so many fit the pump at once."""
    found: dict[tuple[int, bytes], Floats] = {}
    for k in range(1, MOST_AT_ONCE + 1):
        group = (share > RIGHT_HAND_SIDE / (k + 1)).astype(np.float64)
        if group.sum() > k:
            found.setdefault((k, group.tobytes()), group)
    for place in np.flatnonzero((share > 0.0) & (share <= RIGHT_HAND_SIDE / 2)).tolist():
        # A valve and all those that are too large to run beside it exclude each other.
        group = (share > RIGHT_HAND_SIDE - share[place]).astype(np.float64)
        group[place] = 1.0
        if group.sum() > 1:
            found.setdefault((1, group.tobytes()), group)
    return [(k, group) for (k, _), group in found.items()]
