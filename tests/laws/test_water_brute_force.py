"""The plan is the best there is: every choice of hours tried out on small ranches.

The brute force takes from the planner the statement of the problem: flows, capacities, the lengths that sets
may have (runs), the most steps and sets, and the curves of worth. Which totals sets can make, what fits
together and what is best it works out by itself. That the statement itself is right is for the checker of the
written tables (water_checker.py) and the tests of needs and hours.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from helpers.water_cases import Drawn, random_ranch

from stressmap.core.errors import SettingsError
from stressmap.water.formulation import PlanInputs
from stressmap.water.milp import solve_milp

CASES, BATCH = 200, 50
MOST_CHOICES = 300_000


def ways(case: PlanInputs, i: int) -> dict[int, int]:
    """Every total that sets of the valve add up to, and the fewest sets over half a stretch that it takes."""
    problem = case.problem
    runs, most = problem.set_lengths[i], int(problem.max_steps[i])
    half = max(problem.windows) / 2
    rest = int(problem.rest_steps[i])
    stretches, span = (
        problem.hours[i].windows,
        problem.hours[i].windows[-1][1] - problem.hours[i].windows[0][0],
    )
    step = problem.hours[i].cells_per_step
    room = min(sum((b - a) // step for a, b in stretches) + rest * len(stretches), span // step + rest)
    lengths = [(n, low > half) for low, high in runs for n in range(low, min(high, most) + 1)]
    level, found = {0: 0}, {0: 0}
    for number in range(1, int(problem.max_sets[i]) + 1):
        grown: dict[int, int] = {}
        for total, long in level.items():
            for n, is_long in lengths:
                if total + n <= most and total + n + rest * number <= room:
                    grown[total + n] = min(grown.get(total + n, 99), long + is_long)
        for total, long in grown.items():
            found[total] = min(found.get(total, 99), long)
        if not grown or number > most:
            break
        level = grown
    return dict(sorted(found.items()))


def best_by_trying(case: PlanInputs, levels: list[dict[int, int]]) -> tuple[float, float]:
    """The most that can be relieved beyond the limits, and the most within them beside that."""
    problem = case.problem
    grids = np.array(list(itertools.product(*levels)), dtype=float).reshape(-1, len(levels))
    long = np.array(list(itertools.product(*(level.values() for level in levels))), dtype=float)
    long = long.reshape(-1, len(levels))
    worth = sum(np.interp(grids[:, i], c.steps, c.value) for i, c in enumerate(problem.curves))
    beyond = sum(np.interp(grids[:, i], c.steps, c.past_limit) for i, c in enumerate(problem.curves))
    kept = grids @ problem.flow_m3_h * problem.step_hours <= problem.volume_m3 * (1 + 1e-9)
    hours, stretches = sum(problem.windows), len(problem.windows)
    for pump, capacity in enumerate(problem.capacity_m3_h):
        mine = np.where(problem.pump == pump, problem.flow_m3_h, 0.0)
        kept &= grids @ mine <= capacity * hours * (1 + 1e-9)
        for crowd, at_once in crowds(mine, float(capacity)):
            kept &= grids[:, crowd].sum(axis=1) <= at_once * hours
            kept &= long[:, crowd].sum(axis=1) <= at_once * stretches
    first = float(beyond[kept].max())
    return first, float(worth[kept & (beyond >= first * (1 - 1e-9) - 1e-12)].max())


def crowds(flow: np.ndarray, capacity: float) -> list[tuple[list[int], int]]:
    """Valves of which any k + 1 are too much, and each valve with all that are too large beside it."""
    members = [i for i in range(len(flow)) if flow[i] > 0]
    found = [([i for i in members if flow[i] * (k + 1) > capacity * (1 + 1e-9)], k) for k in range(1, 7)]
    for j in members:
        if flow[j] * 2 <= capacity * (1 + 1e-9):
            found.append(([j, *(i for i in members if flow[i] + flow[j] > capacity * (1 + 1e-9))], 1))
    return found


def small_case(seed: int) -> tuple[Drawn, PlanInputs, list[dict[int, int]]] | None:
    drawn = random_ranch(seed)
    try:
        case = drawn.case()
    except SettingsError:
        return None
    problem = case.problem
    levels = [ways(case, i) for i in range(len(problem))]
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
    past = 0
    for seed in seeds[batch * BATCH : (batch + 1) * BATCH]:
        found = small_case(seed)
        assert found is not None
        _, case, levels = found
        first, best = best_by_trying(case, levels)
        past += first > 0
        solution = solve_milp(case.problem)
        assert solution.past_limit == pytest.approx(first, rel=1e-5, abs=1e-6), seed
        assert solution.past_limit_bound >= first * (1 - 1e-6), seed
        assert solution.benefit == pytest.approx(best, rel=1e-5, abs=1e-6), seed
        assert solution.bound >= best * (1 - 1e-6), seed
    assert past >= BATCH // 10, "the order is tried on ranches with zones past their limits"
