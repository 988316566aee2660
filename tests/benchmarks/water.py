"""How long a water plan takes, how near the proven bound it comes, and in how much memory.

Run by hand: ``python tests/benchmarks/water.py``. Ranches are drawn; every size runs with plenty of pump
(volume is the limit) and with tight pumps and nights only (the timetable is the limit).
"""

from __future__ import annotations

import datetime as dt
import resource
import sys
import time
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from helpers.water_cases import need, terms

from stressmap.core.settings import Water
from stressmap.water.formulation import formulate
from stressmap.water.milp import solve_milp
from stressmap.water.plan_and_schedule import plan_and_schedule
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import advise

FIRST, ZONE = dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles")


def valves(count: int, seed: int) -> list[Requirement]:
    rng = np.random.default_rng([17, seed])
    made = []
    for k in range(count):
        least = float(rng.choice([2, 4, 6]))
        made.append(
            need(
                k, pump=f"P{k % max(1, count // 30) + 1}", area_ha=float(rng.uniform(1, 4)),
                rate_mm_h=float(rng.choice([1.0, 1.2, 1.9])), weight=float(rng.choice([1, 1, 1.5])),
                harm=float(rng.choice([0.3, 0.7, 1.0])), dry_bar=float(rng.normal(1.5, 2.0)),
                dry_se_bar=float(rng.uniform(0.4, 1.0)), etc_until_mm=45.0, min_hours=least, max_hours=36.0,
            )
        )  # fmt: skip
    return made


def water(needs: list[Requirement], *, tight: bool) -> Water:
    volume = 0.5 * sum(n.need_mm / n.factor * n.area_ha * 10 for n in needs)
    pumps = sorted({str(n.pump) for n in needs})
    flow = {p: sum(n.flow_m3_h for n in needs if n.pump == p) * (0.3 if tight else 0.6) for p in pumps}
    return Water.model_validate(
        {
            "available": f"{volume} m3", "pumps": {p: f"{f} m3/h" for p, f in flow.items()},
            "hours": ["20:00", "06:00"] if tight else ["00:00", "24:00"], "days": 7,
        }
    )  # fmt: skip


def main() -> None:
    print(f"{'valves':>6} {'case':>6} {'plan s':>7} {'gap':>9} {'plan and timetable s':>20} {'gap':>9} "
          f"{'all s':>6} {'peak MB':>8}")  # fmt: skip
    for count in (60, 600, 1500):
        for tight in (False, True):
            needs = valves(count, count)
            settings = water(needs, tight=tight)
            case = formulate(needs, settings, FIRST, ZONE)
            began = time.perf_counter()
            planned = solve_milp(case.problem)
            solved = time.perf_counter()
            dry = case.benefit_model.dry_bar
            laid = plan_and_schedule(case.problem, case.calendar, dry, cheap=case.cheap).solution
            realised = time.perf_counter()
            advise(case, terms(settings, FIRST, draws=100))
            ended = time.perf_counter()
            peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
            print(
                f"{count:>6} {'tight' if tight else 'ample':>6} {solved - began:>7.2f} {planned.gap:>9.5f} "
                f"{realised - solved:>20.2f} {laid.gap:>9.5f} {ended - realised:>6.2f} {peak:>8.0f}"
            )


if __name__ == "__main__":
    main()
