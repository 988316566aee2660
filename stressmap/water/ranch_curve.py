"""The curve of one ranch for sharing water with others: its best allocation from no water to its need."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.equal_marginal import CLOSE_M3
from stressmap.water.formulation import PlanInputs
from stressmap.water.milp import AmountRelieves, solve_milp, solve_relaxed
from stressmap.water.shared_volume import RanchCurve

POINTS = 17
"""Amounts that a curve is worked out for."""
GAP = 1e-2
"""Gap to the proven bound at which the allocation of an amount is good enough for a curve."""
WHOLE_UP_TO = 200
"""Valves up to which whole time steps and sets are held to; of more of them, rounding loses little."""

GAP_WIDTH = 1.5
"""Plans for evenly spaced amounts that use no amount between two so many spacings apart cannot: no whole sets
fit, as of flood."""


def ranch_curve(
    case: PlanInputs, slug: str, name: str, *, time_limit_s: float = 30.0, points: int = POINTS
) -> RanchCurve:
    """Give the benefit of water on a ranch in its plan's own terms: pumps, hours, sources and sets hold.

    Parameters
    ----------
    case : PlanInputs
        Of the ranch's n valves; its own volume is ignored.
    slug, name : str
        Of the ranch.
    time_limit_s : float, optional
        For each amount [s].
    points : int, optional
        How many amounts.

    Returns
    -------
    RanchCurve
        At the amounts that the best plans for evenly spaced ones really use. The need is what the plan takes
        where water is not limited.
    """
    problem = replace(case.problem, volume_m3=float("inf"))
    most = _whole(problem, time_limit_s)
    asked = np.linspace(0.0, most.water_m3, points if most.water_m3 > CLOSE_M3 else 1)[1:-1]
    solve = solve_relaxed if len(problem) > WHOLE_UP_TO else lambda one: _whole(one, time_limit_s)
    found = [solve(replace(problem, volume_m3=m3)) for m3 in asked.tolist()]
    rising = _rising([AmountRelieves(0.0, 0.0, 0.0), *found, most])
    water, benefit, past = (
        np.array([getattr(one, key) for one in rising]) for key in ("water_m3", "benefit", "past_limit")
    )
    area = float(sum(need.area_ha for need in case.requirements))
    wide = GAP_WIDTH * most.water_m3 / (points - 1)
    gaps = tuple((a, b) for a, b in pairwise(water.tolist()) if b - a > wide)
    return RanchCurve(slug, name, area, most.water_m3, water, benefit, past, gaps=gaps)


def _rising(found: list[AmountRelieves]) -> list[AmountRelieves]:
    """Keep what relieves more for more water: within the gap of the search a plan for less may do better."""
    kept: list[AmountRelieves] = []
    for one in sorted(found, key=lambda one: (one.water_m3, -one.merit)):
        if not kept or (one.water_m3 > kept[-1].water_m3 + CLOSE_M3 and one.merit > kept[-1].merit):
            kept.append(one)
    return kept


def _whole(problem: AllocationProblem, time_limit_s: float) -> AmountRelieves:
    found = solve_milp(problem, time_limit_s=time_limit_s, gap=GAP)
    return AmountRelieves(problem.volume_of(found.steps), found.benefit, found.past_limit)
