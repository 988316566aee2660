"""Random small ranches for the water plan: needs, settings, and the raw limits for the checker."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

from helpers.water_checker import Limits
from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.profile_parts import CropNames
from stressmap.core.settings import Water
from stressmap.water.crop_water_use import ReferenceEt
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import Advice, PlanTerms, advise, plan_table, timetable_table

ZONES = ("America/Los_Angeles", "America/Santiago", "Australia/Lord_Howe", "Europe/Madrid", "UTC")
DAYS = (dt.date(2026, 7, 16), dt.date(2026, 3, 7), dt.date(2026, 10, 31), dt.date(2026, 4, 4))


PLAIN: dict[str, Any] = {
    "rest_hours": 4.0, "least_set_mm": {"micro_sprinkler": 0.0},
    "most_set_hours": {"micro_sprinkler": 1000.0},
    "days_apart": {"micro_sprinkler": 0.0}, "sets_a_week": {"micro_sprinkler": 1000}, "dear_hours": [],
    "crews": 100,
}  # fmt: skip
"""Settings of a ranch whose valves may run in any manner, for what is not about manners."""


def need(k: int, **own: Any) -> Requirement:
    values: dict[str, Any] = {
        "valve": f"V{k + 1}", "block": f"B{k // 4 + 1}", "crop": "prune", "pump": None, "area_ha": 4.0,
        "weight": 1.0, "stage": "fruit sizing", "harm": 1.0, "dry_bar": 2.0,
        "dry_se_bar": 0.8, "let_down_bar": 0.5, "target_end_bar": -13.0, "mm_per_bar": 15.0,
        "etc_since_mm": 30.0, "etc_until_mm": 40.0, "given_mm": 0.0, "factor": 0.9, "rate_mm_h": 1.5,
        "min_hours": 0.0, "max_hours": float("inf"), "assumed": (),
    }  # fmt: skip
    values |= own
    values.setdefault("stress_bar", values["dry_bar"])
    values.setdefault("start_bar", values["dry_bar"])
    values.setdefault("stage_names", CropNames(en=values["stage"], es="crecimiento de la fruta"))
    values.setdefault("daily_use_mm", values["etc_until_mm"] / 7.0)
    short = values["dry_bar"] * values["mm_per_bar"]
    later = values["etc_until_mm"] - values["given_mm"] - values["mm_per_bar"] * values["let_down_bar"]
    values["short_mm"] = short
    values["need_mm"] = max(0.0, short + later)
    spread = 1.645 * values["dry_se_bar"] * values["mm_per_bar"]
    values["need_low_mm"] = max(0.0, short + later - spread)
    values["need_high_mm"] = max(0.0, short + later + spread)
    values["flow_m3_h"] = values["rate_mm_h"] * values["area_ha"] * 10.0
    values["hours_needed"] = values["need_mm"] / values["factor"] / values["rate_mm_h"]
    return Requirement(**values)


@dataclass(frozen=True)
class Drawn:
    needs: list[Requirement]
    water: Water
    limits: Limits

    def case(self) -> PlanInputs:
        return formulate(self.needs, self.water, self.limits.first, ZoneInfo(self.limits.zone))

    def advice(self, draws: int = 0) -> Advice:
        return advise(self.case(), terms(self.water, self.limits.first, draws))

    def tables(self) -> tuple[list[dict], list[dict]]:
        made = self.advice()
        return plan_table(made).to_dict("records"), timetable_table(made).to_dict("records")


def terms(water: Water, first: dt.date, draws: int = 0) -> PlanTerms:
    return PlanTerms(
        first, first + dt.timedelta(days=water.days), water.model_copy(update={"draws": draws}),
        ReferenceEt({}, 6.0, "assumed"), load_profiles({}, "ranch.toml"),
    )  # fmt: skip


def random_ranch(seed: int) -> Drawn:
    """Up to 8 valves, one or two pumps, any hours, crew hours now and then, across clock changes at times."""
    rng = np.random.default_rng([41, seed])
    count = int(rng.integers(1, 9))
    pumps = {f"P{k + 1}": float(rng.integers(30, 200)) for k in range(int(rng.integers(1, 3)))}
    needs = []
    # Limits by a generator of their own: a ranch in three has zones that will be past theirs.
    limits_bar = np.random.default_rng([43, seed]).choice([1.5, 3.0, 5.0], count)
    for k in range(count):
        least = float(rng.choice([0, 1, 2, 4, 6]))
        most = float(rng.choice([least + 1, least + 4, 12, 24, np.inf]))
        needs.append(
            need(
                k, pump=str(rng.choice(list(pumps))), area_ha=float(rng.uniform(1, 6)),
                rate_mm_h=float(rng.choice([1.0, 1.5, 2.5])), weight=float(rng.choice([1, 1, 2])),
                harm=float(rng.choice([0.3, 0.6, 1.0])), dry_bar=float(rng.normal(1.0, 2.5)),
                dry_se_bar=float(rng.uniform(0.3, 1.5)), etc_until_mm=float(rng.uniform(5, 50)),
                min_hours=least, max_hours=max(least, most), factor=float(rng.choice([0.8, 0.9, 0.95])),
                limit_bar=float(limits_bar[k]) if seed % 3 == 1 else np.nan,
            )
        )  # fmt: skip
    hours = [("00:00", "24:00"), ("20:00", "06:00"), ("06:00", "18:00"), ("21:15", "05:45")][
        rng.integers(0, 4)
    ]
    crew = [None, None, ("05:00", "22:00"), ("18:00", "07:30")][rng.integers(0, 4)]
    everything = sum(n.need_mm / n.factor * n.area_ha * 10 for n in needs)
    volume = float(rng.choice([0.2, 0.5, 0.9, 2.0])) * max(everything, 100.0)
    out = tuple(n.valve for n in needs if rng.random() < 0.1)[: count - 1]
    days, drawn = int(rng.integers(1, 4)), int(rng.integers(1, 3))
    turns = None if seed % 3 == 0 else drawn
    step = float(rng.choice([0.5, 1.0, 2.0]))
    water = Water.model_validate(
        {
            "available": f"{volume} m3", "pumps": {name: f"{flow} m3/h" for name, flow in pumps.items()},
            "days": days, "hours": hours, "crew_hours": crew, "out_of_service": out, "turns": turns,
            "step_hours": step, **PLAIN, "rest_hours": 3.0,
        }
    )  # fmt: skip
    limits = Limits(
        zone=str(rng.choice(ZONES)), first=DAYS[rng.integers(0, len(DAYS))], days=days, volume_m3=volume,
        hours=hours, crew=crew, pumps=pumps, min_hours={n.valve: n.min_hours for n in needs},
        max_hours={n.valve: n.max_hours for n in needs}, flow={n.valve: n.flow_m3_h for n in needs},
        pump_of={n.valve: str(n.pump) for n in needs}, out_of_service=out, turns=turns, rest_hours=3.0,
    )  # fmt: skip
    return Drawn(needs, water, limits)
