"""The plan is the best there is: every choice of hours tried out on small ranches.

The brute force knows the limits and what steps are worth, and shares no other code with the planner.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from water_cases import Drawn, random_ranch

from stressmap.errors import SettingsError
from stressmap.water.assemble import Case
from stressmap.water.plan import solve

CASES, BATCH = 200, 50
MOST_CHOICES = 300_000


def totals(runs: tuple[tuple[int, int], ...], most_sets: int, most: int) -> list[int]:
    """Every total that up to ``most_sets`` sets of allowed lengths add up to."""
    lengths = [n for low, high in runs for n in range(low, min(high, most) + 1)]
    reached = {0}
    for _ in range(min(most_sets, most)):
        reached |= {a + b for a in reached for b in lengths if a + b <= most}
    return sorted(reached)


def best_by_trying(case: Case, levels: list[list[int]]) -> float:
    problem = case.problem
    grids = np.array(list(itertools.product(*levels)), dtype=float).reshape(-1, len(levels))
    worth = sum(np.interp(grids[:, i], c.steps, c.value) for i, c in enumerate(problem.curves))
    kept = grids @ problem.flow_m3_h * problem.step_hours <= problem.volume_m3 * (1 + 1e-9)
    for pump, capacity in enumerate(problem.capacity_m3_h):
        mine = np.where(problem.pump == pump, problem.flow_m3_h, 0.0)
        kept &= grids @ mine <= capacity * problem.hours_steps * (1 + 1e-9)
        for k in range(1, 7):
            # Of valves that want more than a (k+1)-th of the pump, at most k run at once.
            large = mine > capacity / (k + 1) * (1 + 1e-9)
            kept &= grids @ large <= k * problem.hours_steps
    return float(worth[kept].max())


def small_case(seed: int) -> tuple[Drawn, Case, list[list[int]]] | None:
    drawn = random_ranch(seed)
    try:
        case = drawn.case()
    except SettingsError:
        return None
    problem = case.problem
    levels = [
        totals(runs, int(sets), int(most))
        for runs, sets, most in zip(problem.runs, problem.most_sets, problem.most_steps, strict=True)
    ]
    fine = all(len(np.unique(c.steps)) == c.steps[-1] + 1 for c in problem.curves)
    choices = np.prod([len(level) for level in levels], dtype=float)
    return (drawn, case, levels) if fine and choices <= MOST_CHOICES else None


def small_cases() -> list[int]:
    return [seed for seed in range(1000, 2500) if small_case(seed)][:CASES]


@pytest.fixture(scope="module")
def seeds() -> list[int]:
    return small_cases()


@pytest.mark.parametrize("batch", range(CASES // BATCH))
def test_the_plan_equals_brute_force(seeds: list[int], batch: int) -> None:
    assert len(seeds) == CASES
    for seed in seeds[batch * BATCH : (batch + 1) * BATCH]:
        found = small_case(seed)
        assert found is not None
        _, case, levels = found
        best = best_by_trying(case, levels)
        solution = solve(case.problem)
        assert solution.worth == pytest.approx(best, rel=1e-5, abs=1e-6), seed
        assert solution.bound >= best * (1 - 1e-6), seed
