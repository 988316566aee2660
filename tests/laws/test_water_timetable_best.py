"""Plan and timetable together against every way there is, on ranches small enough to try them all.

The search here lays sets out by itself and knows only flows, lengths, hours, the pump and the volume.
"""

from __future__ import annotations

import datetime as dt
import itertools
from zoneinfo import ZoneInfo

import numpy as np
from helpers.water_cases import PLAIN, need

from stressmap.core.settings import Water
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.plan_and_schedule import plan_and_schedule

CASES, HOURS, STEP = 60, 16, 2.0


def tiny(seed: int) -> PlanInputs:
    """Four or five valves in one stretch of 16 hours; no set can be split, for half would be too short."""
    rng = np.random.default_rng([53, seed])
    needs = []
    for k in range(int(rng.integers(4, 6))):
        least = float(rng.choice([4, 6, 8]))
        needs.append(
            need(
                k, area_ha=float(rng.uniform(1, 5)), rate_mm_h=2.0, min_hours=least,
                max_hours=2 * least - STEP, dry_bar=float(rng.normal(2, 1.5)), mm_per_bar=6.0,
                etc_until_mm=15.0,
            )
        )  # fmt: skip
    flow = max(n.flow_m3_h for n in needs) * float(rng.uniform(1.05, 1.9))
    volume = flow * HOURS * float(rng.uniform(0.5, 1.2))
    water = Water.model_validate(
        {
            "available": f"{volume} m3", "pump": f"{flow} m3/h", "days": 1, "hours": ["04:00", "20:00"],
            "step_hours": STEP, **PLAIN,
        }
    )  # fmt: skip
    return formulate(needs, water, dt.date(2026, 7, 16), ZoneInfo("UTC"))


def can_be_laid(lengths: list[int], flows: list[float], capacity: float, slots: int) -> bool:
    """Lay sets one after another at every start that there is."""
    load = np.zeros(slots)

    def lay(at: int) -> bool:
        if at == len(lengths):
            return True
        for start in range(slots - lengths[at] + 1):
            part = load[start : start + lengths[at]]
            if (part + flows[at] <= capacity * (1 + 1e-9)).all():
                part += flows[at]
                if lay(at + 1):
                    return True
                part -= flows[at]
        return False

    return lay(0)


def best_there_is(case: PlanInputs) -> float:
    problem = case.problem
    slots = int(HOURS / STEP)
    levels = [
        [0, *(n for low, high in runs for n in range(low, min(high, int(most)) + 1))]
        for runs, most in zip(problem.set_lengths, problem.max_steps, strict=True)
    ]
    choices = [np.array(choice) for choice in itertools.product(*levels)]
    by_worth = sorted(
        choices, key=lambda k: -sum(float(c.at(n)) for c, n in zip(problem.curves, k, strict=True))
    )
    for choice in by_worth:
        if problem.flow_m3_h @ choice * STEP > problem.volume_m3 * (1 + 1e-9):
            continue
        order = sorted((i for i in range(len(choice)) if choice[i]), key=lambda i: -problem.flow_m3_h[i])
        flows = [float(problem.flow_m3_h[i]) for i in order]
        if can_be_laid([int(choice[i]) for i in order], flows, float(problem.capacity_m3_h[0]), slots):
            return float(sum(float(c.at(n)) for c, n in zip(problem.curves, choice, strict=True)))
    return 0.0


def test_the_plan_with_its_timetable_is_the_best_there_is_or_close() -> None:
    shares = []
    for seed in range(CASES):
        case = tiny(seed)
        best = best_there_is(case)
        got = plan_and_schedule(case.problem, case.calendar, case.benefit_model.dry_bar).solution
        assert got.bound >= best * (1 - 1e-6), seed
        shares.append(got.benefit / best if best > 0 else 1.0)
    assert max(shares) <= 1 + 1e-6
    assert np.mean(np.array(shares) > 1 - 1e-6) >= 0.95
    assert min(shares) > 0.9
