"""What a water plan truly relieves: ranches drawn with their truth, mapped from their readings, and watered.

Run by hand: ``python tests/benchmarks/water_truth.py``. For every drawn ranch and visit the plan, equal
share and driest first are made from the readings alone, for a quarter, half and three quarters of the water
that would be enough. What each truly relieves is then worked out from the true means of the valve zones, in
bar-days counted as the plan counts them (by area, weight and growth stage), as a share of all that water
could relieve: with water per bar as taken, truly half and truly double, and with 5 % of the valves broken,
where nothing arrives and the planner does not know. "truth known" is the allocation of someone who knew it
all. Standard errors are over ranches. All ways keep to the manners of watering, and to the hours of the plan:
without those of dear power where it leaves them out. Water per bar that two visits measured counts as taken.
"""

from __future__ import annotations

import datetime as dt
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).parents[2]))
sys.path.insert(0, str(Path(__file__).parents[2] / "demo_gis"))

import draw_ranch
from drawing.valley import VALLEY

from stressmap.core.settings import Water
from stressmap.jobs.assess_visit import assess_readings, load_inputs
from stressmap.jobs.map_visit import compared_before, fit, ranked_valves
from stressmap.jobs.recall_visits import Remembered
from stressmap.water.alternatives import driest_first, equal_share
from stressmap.water.benefit import BenefitModel, benefit_curves
from stressmap.water.formulation import PlanInputs
from stressmap.water.milp import solve_milp
from stressmap.water.plan_and_schedule import plan_and_schedule
from stressmap.water.ranch_inputs import prepare
from stressmap.water.read_trees import ReadTrees

ROOT = Path(__file__).parents[2]
SEEDS = range(101, 107)
SHARES = (0.25, 0.5, 0.75)
TRUE_MM_PER_BAR = {"as taken": 1.0, "half": 0.5, "double": 2.0}
BROKEN = 0.05
WAYS = ("plan", "equal share", "driest first", "truth known")
PUMPS = {"Pump 1": "1200 gpm", "Pump 2": "1500 gpm", "Ditch": "3000 gpm"}


def true_benefit(case: PlanInputs, truth: pd.Series, factor: float) -> BenefitModel:
    """What the zones truly lack: true stress at the visit, and the same use of water since."""
    needs = case.requirements
    mm_per_bar = case.benefit_model.mm_per_bar * factor
    use = np.array([n.etc_until_mm - n.given_mm for n in needs])
    now = truth[[n.valve for n in needs]].to_numpy()
    dry = now - [n.let_down_bar for n in needs] + use / mm_per_bar
    shares = np.array([n.daily_use_mm / n.etc_until_mm if n.etc_until_mm > 0 else 0.0 for n in needs])
    known = replace(case.benefit_model, mm_per_bar=mm_per_bar, daily_bar=(dry - now) * shares)
    return known.with_known_stress(dry)


def share(case: PlanInputs, benefit_model: BenefitModel, steps: np.ndarray, works: np.ndarray) -> float:
    relieved = benefit_model.benefit(steps * works * case.net_mm_per_step).sum()
    return float(relieved / benefit_model.benefit(benefit_model.need_mm).sum())


def knowing(case: PlanInputs, benefit_model: BenefitModel, works: np.ndarray) -> np.ndarray:
    problem = case.problem
    steps = np.ceil(benefit_model.need_mm / case.net_mm_per_step).astype(np.int64)
    longest = np.array([runs[-1][1] if runs else 0 for runs in problem.set_lengths]) * 2
    most = np.where(works, np.minimum(np.minimum(steps, longest), problem.hours_steps), 0)
    curves = benefit_curves(benefit_model, case.net_mm_per_step, most)
    # Judged by bar-days beyond the allowance, whoever knew would not put those past a limit first.
    plain = tuple(replace(curve, past_limit=0.0 * curve.past_limit) for curve in curves)
    return solve_milp(replace(problem, max_steps=most, curves=plain)).steps


def rows_of(folder: Path, seed: int) -> list[dict]:
    settings = (ROOT / "config" / "demo_ranch.toml").read_text().replace("../demo_gis/", "")
    (folder / "ranch.toml").write_text(settings.split("[water]")[0])
    inputs, orchard = load_inputs(folder / "ranch.toml").value
    truth = pd.read_csv(folder / "truth_valves.csv")
    rows = []
    for visit in VALLEY.visits:
        assessed = assess_readings(inputs, orchard, visit.days[0]).value
        surface = Remembered(fit(inputs, assessed, 1).surface)
        valves = ranked_valves(inputs, assessed, surface, with_change=True)
        read = ReadTrees.of(assessed.readings, compared_before(inputs, assessed))
        mine = truth[truth["visit"] == visit.days[0].isoformat()].set_index("valve")["below_target_bar"]
        water = Water.model_validate({"pumps": PUMPS, "turns": 2, "days": 7})
        whole = prepare(inputs, orchard, valves, assessed.visit, water, read).value[0]
        enough = whole.problem.volume_of(whole.problem.max_steps)
        for amount in SHARES:
            some = water.model_copy(update={"available": amount * enough})
            case = prepare(inputs, orchard, valves, assessed.visit, some, read).value[0]
            made = plan_and_schedule(
                case.problem, case.calendar, case.benefit_model.dry_bar, cheap=case.cheap
            )
            # All ways keep to the hours of the plan, with or without those of dear power.
            case, planned = replace(case, problem=made.problem), made.solution.steps
            works = np.random.default_rng([seed, 5]).random(len(planned)) >= BROKEN
            for name, factor in TRUE_MM_PER_BAR.items():
                benefit_model = true_benefit(case, mine, factor)
                for valves_broken, running in (("none", np.ones_like(works)), ("5 %", works)):
                    best = knowing(case, benefit_model, running)
                    ways = (planned, equal_share(case), driest_first(case), best)
                    told = [share(case, benefit_model, steps, running) for steps in ways]
                    rows.append(
                        {"seed": seed, "amount": amount, "mm_per_bar": name, "broken": valves_broken}
                        | dict(zip(WAYS, told, strict=True))
                    )
    return rows


def main() -> None:
    rows = []
    for seed in SEEDS:
        with tempfile.TemporaryDirectory() as name:
            draw_ranch.VALLEY = replace(VALLEY, seed=seed)
            draw_ranch._draw(draw_ranch.VALLEY, Path(name), geopackage=True)
            rows += rows_of(Path(name), seed)
        print(f"{dt.datetime.now():%H:%M:%S} ranch {seed} done", file=sys.stderr)
    table = pd.DataFrame(rows)
    keys = ["broken", "mm_per_bar", "amount"]
    by_ranch = table.groupby([*keys, "seed"], sort=False)[list(WAYS)].mean()
    by_ranch["ahead by"] = by_ranch["plan"] - by_ranch[["equal share", "driest first"]].max(axis=1)
    grouped = by_ranch.groupby(keys, sort=False)
    print(grouped.mean().round(3).to_string())
    print("standard errors over ranches")
    print(grouped.sem().round(3).to_string())


if __name__ == "__main__":
    main()
