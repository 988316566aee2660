"""Capacity constraints of water, pump hours and crew as linear rows (at most 1), with cover inequalities."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from stressmap.core.arrays import Floats, Ints
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.crew_turns import cells_of_turns

MOST_AT_ONCE = 6
MOST_CREW_ROWS = 24
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


def crew_constraints(problem: AllocationProblem, set_of: Ints) -> sparse.csr_array:
    """Give the constraints on the length of all sets together that the crew can open and close.

    Of the sets in one stretch of w steps, no more than the crew's turns can be opened in its first half hour
    and closed in its last, the next so many are at least two half hours shorter, and so on. All lengths of n
    sets together are therefore at most a concave function of n; each row is one of its tangents, for the
    valves whose sets may be longer than its slope, and for those whose sets must be.

    Parameters
    ----------
    problem : AllocationProblem
        Of n valves.
    set_of : array of int, shape (s,)
        Valve of each kind of set.

    Returns
    -------
    sparse array, shape (r, n + s)
        Times the steps and then the numbers of sets, each row is at most 1.
    """
    hours = problem.hours[0]
    lost = 2.0 * cells_of_turns(hours.cell_minutes) / hours.cells_per_step
    room = np.concatenate([np.arange(w, 0.0, -lost) for w in problem.windows] or [np.zeros(0)])
    shortest, longest = (
        np.array([lengths[end][end] if lengths else 0 for lengths in problem.set_lengths]) for end in (0, -1)
    )
    rows: list[Floats] = []
    for slope in np.unique(room)[::-1].tolist():
        most = float(np.maximum(room - slope, 0.0).sum()) * problem.crew_turns
        if (problem.max_sets * np.maximum(longest - slope, 0)).sum() <= most:
            continue
        groups = {group.tobytes(): group for group in (longest > slope, shortest >= slope) if group.any()}
        for group in groups.values():
            rows.append(np.concatenate([group, -slope * group[set_of]]) / max(most, 1.0))
    kept = rows[:: max(1, -(-len(rows) // MOST_CREW_ROWS))]
    return sparse.csr_array(np.array(kept).reshape(len(kept), len(problem) + len(set_of)))


def _pump_shares(problem: AllocationProblem) -> list[Floats]:
    """Return for each pump that is limited the share of it that each valve takes."""
    shares = []
    for pump, capacity in enumerate(problem.capacity_m3_h.tolist()):
        mine = problem.pump == pump
        if np.isfinite(capacity) and mine.any():
            shares.append(np.where(mine, problem.pump_draw / capacity, 0.0))
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
