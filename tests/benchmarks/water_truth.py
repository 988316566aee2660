"""What a water plan truly relieves: ranches drawn with their truth, mapped from their readings, and watered.

Run by hand: ``python tests/benchmarks/water_truth.py``. For every drawn ranch and visit the plan, equal
share and driest first are made from the readings alone, for a quarter, half and three quarters of the water
that would be enough; what each truly relieves is then worked out from the true means of the valve zones,
counted as the plan counts (drier bars more, by area, weight and growth stage), and again with the water per
bar truly smaller or larger than the plan took it to be. "truth known" is the plan of someone who knew it.
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
from stressmap.jobs.map_visit import fit, ranked_valves
from stressmap.water.alternatives import driest_first, equal_share
from stressmap.water.benefit import BenefitModel, benefit_curves
from stressmap.water.formulation import PlanInputs
from stressmap.water.milp import solve_milp
from stressmap.water.plan_and_schedule import plan_and_schedule
from stressmap.water.ranch_inputs import prepare

ROOT = Path(__file__).parents[2]
SEEDS = range(101, 107)
SHARES = (0.25, 0.5, 0.75)
TRUE_MM_PER_BAR = {"as taken": 1.0, "a third less": 2 / 3, "half more": 1.5}
WAYS = ("plan", "equal share", "driest first", "truth known")
PUMPS = {"Pump 1": "1200 gpm", "Pump 2": "1500 gpm", "Ditch": "3000 gpm"}


def true_benefit(case: PlanInputs, truth: pd.Series, factor: float) -> BenefitModel:
    """What the zones truly lack: true stress at the visit, and the same use of water since."""
    needs = case.requirements
    mm_per_bar = case.benefit_model.mm_per_bar * factor
    use = np.array([n.etc_until_mm - n.given_mm for n in needs])
    dry = truth[[n.valve for n in needs]].to_numpy() - [n.let_down_bar for n in needs] + use / mm_per_bar
    return BenefitModel(
        dry, np.zeros(len(needs)), mm_per_bar, np.maximum(0.0, dry) * mm_per_bar, case.benefit_model.weight
    )


def share(case: PlanInputs, benefit_model: BenefitModel, steps: np.ndarray) -> float:
    relieved = benefit_model.benefit(steps * case.net_mm_per_step).sum()
    return float(relieved / benefit_model.benefit(benefit_model.need_mm).sum())


def knowing(case: PlanInputs, benefit_model: BenefitModel) -> np.ndarray:
    problem = case.problem
    steps = np.ceil(benefit_model.need_mm / case.net_mm_per_step).astype(np.int64)
    longest = np.array([runs[-1][1] if runs else 0 for runs in problem.set_lengths]) * 2
    most = np.minimum(np.minimum(steps, longest), problem.hours_steps)
    best = replace(problem, max_steps=most, curves=benefit_curves(benefit_model, case.net_mm_per_step, most))
    return solve_milp(best).steps


def rows_of(folder: Path, seed: int) -> list[dict]:
    settings = (ROOT / "config" / "demo_ranch.toml").read_text().replace("../demo_gis/", "")
    (folder / "ranch.toml").write_text(settings.split("[water]")[0])
    inputs, orchard = load_inputs(folder / "ranch.toml").value
    truth = pd.read_csv(folder / "truth_valves.csv")
    rows = []
    for visit in VALLEY.visits:
        assessed = assess_readings(inputs, orchard, visit.days[0]).value
        valves = ranked_valves(inputs, assessed, fit(inputs, assessed, 1).surface)
        mine = truth[truth["visit"] == visit.days[0].isoformat()].set_index("valve")["below_target_bar"]
        water = Water.model_validate({"pumps": PUMPS, "turns": 2, "days": 7})
        whole = prepare(inputs, orchard, valves, assessed.visit, water).value[0]
        enough = whole.problem.volume_of(whole.problem.max_steps)
        for amount in SHARES:
            some = water.model_copy(update={"available": amount * enough})
            case = prepare(inputs, orchard, valves, assessed.visit, some).value[0]
            planned = plan_and_schedule(
                case.problem, case.calendar, case.benefit_model.dry_bar
            ).solution.steps
            for name, factor in TRUE_MM_PER_BAR.items():
                benefit_model = true_benefit(case, mine, factor)
                ways = (planned, equal_share(case), driest_first(case), knowing(case, benefit_model))
                told = dict(zip(WAYS, (share(case, benefit_model, steps) for steps in ways), strict=True))
                rows.append(
                    {"seed": seed, "visit": visit.days[0], "amount": amount, "mm_per_bar": name} | told
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
    print(table.groupby(["mm_per_bar", "amount"], sort=False)[list(WAYS)].mean().round(3).to_string())
    best = table[["plan", "equal share", "driest first"]]
    ahead = (best["plan"] >= best[["equal share", "driest first"]].max(axis=1)).groupby(
        [table["mm_per_bar"], table["amount"]], sort=False
    )
    print(ahead.mean().round(2).to_string())


if __name__ == "__main__":
    main()
