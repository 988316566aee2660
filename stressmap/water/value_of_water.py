"""Value of water: bar-days that the best allocation relieves, against the water available."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from stressmap.core.arrays import Ints
from stressmap.core.parallel import each
from stressmap.water.formulation import PlanInputs
from stressmap.water.milp import solve_milp

POINTS = 21
LITTLE = 0.2
"""A megalitre with less than this share of the first one's marginal benefit brings little."""
M3_PER_ML = 1000.0


@dataclass(frozen=True)
class WaterValuePoint:
    """The optimal allocation of one amount of water.

    Parameters
    ----------
    water_m3 : float
        Water used [m3].
    share : float
        Of all the weighted bar-days beyond the allowance that could be relieved, 0 to 1.
    bar_days_ha : float
        Plain bar-days beyond the allowance that are relieved, by area alone [ha·bar·d].
    served : int
        Valves that get water.
    per_ml : float
        Marginal benefit: share that one more megalitre relieves from here to the next point; NaN at the last.
    """

    water_m3: float
    share: float
    bar_days_ha: float
    served: int
    per_ml: float


@dataclass(frozen=True)
class WaterValueCurve:
    """Benefit against water available.

    Parameters
    ----------
    points : tuple of WaterValuePoint
        Rising.
    knee : int
        Index of the point from which one more megalitre always brings little.
    """

    points: tuple[WaterValuePoint, ...]
    knee: int


def water_value_curve(
    case: PlanInputs,
    *,
    time_limit_s: float,
    points: int = POINTS,
    jobs: int = 1,
    step: Callable[[], None] = lambda: None,
) -> WaterValueCurve:
    """Solve the allocation for amounts of water from none to enough for all.

    Parameters
    ----------
    case : PlanInputs
        Of n valves; its own volume is ignored, pumps and hours hold.
    time_limit_s : float
        For each plan [s].
    points : int
        How many amounts.
    jobs : int
        Plans worked on at once.
    step : callable
        Called as each plan is done.

    Returns
    -------
    WaterValueCurve
        Allocations before scheduling: the little that a schedule cannot hold is not taken off.
    """
    problem = case.problem
    everything = solve_milp(replace(problem, volume_m3=float("inf")), time_limit_s=time_limit_s)
    enough = problem.volume_of(everything.steps)
    possible = float(case.benefit_model.benefit(case.benefit_model.need_mm).sum())
    best = np.zeros(len(problem), dtype=np.int64)
    found = []

    def relief(steps: Ints) -> float:
        return float(case.benefit_model.benefit(steps * case.net_mm_per_step).sum())

    def plan(volume: float) -> Ints:
        return solve_milp(replace(problem, volume_m3=volume), time_limit_s=time_limit_s).steps

    for steps in each(plan, np.linspace(0.0, enough, points).tolist(), jobs=jobs, step=step):
        # A plan for less water fits more water too: within the solver's gap it may be the better one, and
        # where more water goes to zones past their limit first it may relieve a little more in all.
        if problem.merit(steps) >= problem.merit(best) and relief(steps) >= relief(best):
            best = steps
        found.append(_point(case, best, possible))
    marginal = [_per_ml(a, b) for a, b in pairwise(found)]
    first = next((s for s in marginal if s > 0), 0.0)
    knee = 1 + max((k for k, s in enumerate(marginal) if first > 0 and s >= LITTLE * first), default=-1)
    points_with_slope = [replace(p, per_ml=s) for p, s in zip(found, [*marginal, float("nan")], strict=True)]
    return WaterValueCurve(tuple(points_with_slope), knee)


def _point(case: PlanInputs, steps: np.ndarray, possible: float) -> WaterValuePoint:
    net = steps * case.net_mm_per_step
    area = np.array([need.area_ha for need in case.requirements])
    return WaterValuePoint(
        water_m3=case.problem.volume_of(steps),
        share=float(case.benefit_model.benefit(net).sum()) / possible if possible > 0 else 1.0,
        bar_days_ha=float(area @ case.benefit_model.bar_days(net)),
        served=int((steps > 0).sum()),
        per_ml=float("nan"),
    )


def _per_ml(a: WaterValuePoint, b: WaterValuePoint) -> float:
    more = (b.water_m3 - a.water_m3) / M3_PER_ML
    return (b.share - a.share) / more if more > 0 else 0.0
