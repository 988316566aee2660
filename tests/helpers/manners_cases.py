"""Random small ranches under all the manners of watering: raw facts, and the plan that the package makes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from helpers.manners_facts import Ranch, Valve
from helpers.water_cases import terms
from helpers.water_checker import Limits
from stressmap.agronomy.crops import CropProfile, load_profiles
from stressmap.agronomy.orchard import Orchard
from stressmap.core.settings import Water
from stressmap.water.crop_water_use import ReferenceEt
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.read_trees import ReadTrees
from stressmap.water.requirement import RequirementFacts, requirements
from stressmap.water.water_plan import advise, plan_table, timetable_table
from stressmap.water.water_sources import ValveSupply

RATES = {"drip": (0.5, 2.5), "micro_sprinkler": (1.0, 4.0), "sprinkler": (2.0, 9.0), "flood": (6.0, 30.0)}
CROPS = ("prune", "almond", "walnut", "pistachio")
SOILS = (None, "loam", "sandy loam", "clay loam", "clay", "sand")
FIRST_DAYS = (
    dt.date(2026, 7, 16),
    dt.date(2026, 6, 25),
    dt.date(2026, 8, 3),
    dt.date(2026, 9, 1),
    dt.date(2026, 10, 30),
)
ZONES = ("America/Los_Angeles", "Europe/Madrid", "UTC")
DAY_LONG = ("00:00", "24:00")
ETO_MM = 6.5
Rng = np.random.Generator


@cache
def _profiles() -> dict[str, CropProfile]:
    return load_profiles({}, "ranch.toml")


@dataclass(frozen=True)
class DrawnRanch:
    """Facts for the checker and the same for the package: settings as text, target of the trees [bar]."""

    facts: Ranch
    settings: dict[str, Any]
    target_bar: dict[str, float]

    def case(self) -> tuple[PlanInputs, Water]:
        facts = self.facts
        water = Water.model_validate(self.settings)
        needs = requirements(*self._tables(), self._requirement_facts(water))
        supplies = {one.name: ValveSupply(one.source, one.gate) for one in facts.valves}
        return formulate(needs, water, facts.first, ZoneInfo(facts.zone), supplies=supplies), water

    def tables(self) -> tuple[list[dict], list[dict]]:
        """Plan and timetable that the package makes."""
        case, water = self.case()
        made = advise(case, replace(terms(water, self.facts.first), next_turn=self.facts.next_turn))
        return plan_table(made).to_dict("records"), timetable_table(made).to_dict("records")

    def limits(self) -> Limits:
        """The same for the checker of hours, pumps and volume."""
        facts, water = self.facts, self.facts.water
        by_name = facts.by_name
        return Limits(
            zone=facts.zone, first=facts.first, days=water["days"], volume_m3=water.get("available", np.inf),
            hours=water.get("hours", ("00:00", "24:00")), crew=water.get("crew_hours"), pumps=water["pumps"],
            min_hours={name: one.min_hours for name, one in by_name.items()},
            max_hours={name: one.max_hours for name, one in by_name.items()},
            flow={name: one.flow_m3_h for name, one in by_name.items()},
            pump_of={name: one.pump for name, one in by_name.items()},
            out_of_service=tuple(water.get("out_of_service", ())),
        )  # fmt: skip

    def _tables(self) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
        valves = self.facts.valves
        ranked = pd.DataFrame(
            {
                "valve": one.name, "block": one.block, "crop": one.crop, "area_ha": one.area_ha,
                "stress_bar": one.stress_bar, "stress_se_bar": one.stress_se_bar,
                "swp_bar": self.target_bar[one.crop] - one.stress_bar,
                "target_bar": self.target_bar[one.crop], "baseline_bar": self.target_bar[one.crop] + 4.0,
            }
            for one in valves
        )  # fmt: skip
        data = pd.DataFrame(
            {
                "valve": one.name, "block": one.block, "rate_mm_h": one.rate_mm_h, "flow_m3_h": np.nan,
                "min_hours": one.min_hours or np.nan,
                "max_hours": one.max_hours if np.isfinite(one.max_hours) else np.nan,
                "pump": one.pump or None, "checked": one.checked and one.checked.isoformat(),
            }
            for one in valves
        )  # fmt: skip
        blocks = pd.DataFrame(
            {
                "block": one.block, "crop": one.crop, "weight": 1.0, "irrigation": one.system,
                "soil": one.soil, "harvest": one.harvest,
                "planted": np.nan if one.planted is None else one.planted,
                "wetted_share": np.nan if one.wetted_share is None else one.wetted_share,
            }
            for one in {one.block: one for one in valves}.values()
        )  # fmt: skip
        return ranked, data, blocks

    def _requirement_facts(self, water: Water) -> RequirementFacts:
        facts = self.facts
        return RequirementFacts(
            water=water, orchard=Orchard(None, _profiles()), rank_by="below_target",
            visit_begin=facts.visit[0], visit_end=facts.visit[1], start=facts.first,
            next_turn=facts.next_turn,
            eto=ReferenceEt({}, ETO_MM, "set"), log=_log_table(facts),
            read=ReadTrees(
                by_valve={one.name: one.trees for one in facts.valves},
                by_block={one.block: one.block_trees for one in facts.valves},
            ),
        )  # fmt: skip


def drawn_ranch(seed: int) -> DrawnRanch:
    """Draw 3 to 12 valves in blocks of 1 to 4, with systems, soils, crops, pumps, sources and people."""
    rng = np.random.default_rng([59, seed])
    first = FIRST_DAYS[rng.integers(len(FIRST_DAYS))]
    days = int(rng.choice([2, 3, 5, 7, 7, 10]))
    visit = first - dt.timedelta(days=int(rng.integers(1, 4)))
    pumps = [f"P{k + 1}" for k in range(int(rng.integers(1, 4)))]
    valves = _valves(rng, pumps, first, visit)
    flow = {p: [one.flow_m3_h for one in valves if one.pump == p] for p in pumps}
    capacity = {p: _capacity(rng, flow[p]) for p in pumps}
    water: dict[str, Any] = {
        "days": days,
        "pumps": capacity,
        "step_hours": float(rng.choice([0.5, 0.5, 1.0, 2.0])),
    }
    water |= (
        _volumes(rng, valves, pumps, (first, days))
        | _people(rng)
        | _bars(rng, valves, capacity)
        | _own_manners(rng)
    )
    zone = str(rng.choice(ZONES))
    facts = Ranch(
        zone=zone, first=first, next_turn=first + dt.timedelta(days=days),
        visit=(visit - dt.timedelta(int(rng.integers(0, 3))), visit),
        valves=_with_sources(rng, valves, water), water=water,
        logged=_logged(np.random.default_rng([61, seed]), valves, (first, days), zone),
    )  # fmt: skip
    return DrawnRanch(facts, _as_text(water), {crop: float(rng.choice([-8.0, -12.0])) for crop in CROPS})


def _logged(
    rng: Rng, valves: list[Valve], plan: tuple[dt.date, int], zone: str
) -> dict[str, tuple[tuple[dt.datetime, dt.datetime], ...]]:
    """In two ranches of three a log of the week before the plan, now and then with sets of its own days."""
    made: dict[str, tuple[tuple[dt.datetime, dt.datetime], ...]] = {}
    if rng.random() < 0.33:
        return made
    begin = dt.datetime.combine(plan[0], dt.time(0), ZoneInfo(zone)).astimezone(dt.UTC)
    for one in valves:
        moment, rows = begin - dt.timedelta(days=9), []
        until = begin + dt.timedelta(days=plan[1] * float(rng.random() < 0.1))
        while rng.random() < 0.7:
            moment += dt.timedelta(minutes=5 * int(rng.integers(0, 1000)))
            end = moment + dt.timedelta(minutes=5 * int(rng.integers(6, 240)))
            if moment >= until:
                break
            rows.append((moment, end))
            moment = end
        if rows:
            made[one.name] = tuple(rows)
    return made


def _log_table(facts: Ranch) -> pd.DataFrame | None:
    rows = [(name, *one) for name, own in facts.logged.items() for one in own]
    if not rows:
        return None
    table = pd.DataFrame(rows, columns=["valve", "start", "end"])
    for name in ("start", "end"):
        table[name] = pd.DatetimeIndex(table[name]).tz_convert(facts.zone)
    return table.assign(mm=np.nan)


def _capacity(rng: Rng, flows: list[float]) -> float:
    largest = max(flows, default=50.0) * float(rng.uniform(0.95, 1.5))
    return round(largest + sum(flows) * float(rng.choice([0, 0.3, 1])), 1)


def _valves(rng: Rng, pumps: list[str], first: dt.date, visit: dt.date) -> list[Valve]:
    count, made = int(rng.integers(3, 13)), []
    while len(made) < count:
        system = str(rng.choice(list(RATES)))
        low, high = RATES[system]
        harvest = first + dt.timedelta(days=int(rng.integers(-5, 40)))
        block = {
            "block": f"B{len(made) + 1}", "crop": str(rng.choice(CROPS)), "system": system,
            "soil": SOILS[rng.integers(len(SOILS))], "planted": [None, None, 2000.0, 2024.0][rng.integers(4)],
            "harvest": f"{harvest:%m-%d}" if rng.random() < 0.4 and harvest.month < 12 else None,
            "block_trees": int(rng.choice([2, 3, 6, 9])),
            "wetted_share": [None, None, None, 0.5, 0.9][rng.integers(5)],
        }  # fmt: skip
        dry = float(rng.normal(2.0, 2.0))
        pump = str(rng.choice(pumps))
        for _ in range(int(rng.integers(1, 5))):
            least = float(rng.choice([0, 0, 0, 2, 5]))
            made.append(
                Valve(
                    name=f"V{len(made) + 1}", rate_mm_h=round(float(rng.uniform(low, high)), 2),
                    area_ha=round(float(rng.uniform(0.5, 6)), 2), min_hours=least,
                    max_hours=float(rng.choice([np.inf, np.inf, 12, 24])), trees=int(rng.integers(0, 5)),
                    pump=str(rng.choice(pumps)) if rng.random() < 0.2 else pump,
                    stress_bar=round(dry + float(rng.normal(0, 0.8)) + 5.0 * (rng.random() < 0.15), 2),
                    stress_se_bar=round(float(rng.uniform(0.3, 1.2)), 2),
                    checked=visit - dt.timedelta(int(rng.integers(-1, 4))) if rng.random() < 0.3 else None,
                    gate=float(rng.integers(1, 6)) if rng.random() < 0.5 else None, **block,
                )
            )  # fmt: skip
    return made[:count]


def _volumes(rng: Rng, valves: list[Valve], pumps: list[str], days: tuple[dt.date, int]) -> dict[str, Any]:
    everything = sum(one.area_ha for one in valves) * 10.0 * 6.0 * days[1]
    share = float(rng.choice([0.3, 0.7, 1.5]))
    made: dict[str, Any] = {}
    kind = rng.integers(4)
    if kind in (1, 3):
        made["available"] = round(share * everything, 1)
    if kind in (2, 3):
        names = [*pumps[-2:], "Canal"][: int(rng.integers(1, len(pumps) + 2))]
        made["sources"] = {
            name: round(everything / len(names) * float(rng.uniform(0.2, 1.5)), 1) for name in names
        }
        if rng.random() < 0.4:
            chosen = rng.choice(days[1], max(1, days[1] // 2), replace=False).tolist()
            whose = str(rng.choice([names[0], pumps[0]]))
            made["source_days"] = {whose: sorted(days[0] + dt.timedelta(days=int(k)) for k in chosen)}
    if kind and rng.random() < 0.5:
        made["reserve"] = round(0.1 * made.get("available", sum(made.get("sources", {}).values())), 1)
    return made


def _with_sources(rng: Rng, valves: list[Valve], water: dict[str, Any]) -> tuple[Valve, ...]:
    """Name the sources in the valves file where the pumps are not called like them."""
    names = list(water.get("sources", {}))
    if not names:
        return tuple(valves)
    named = [
        one if one.pump in names and rng.random() < 0.7 else replace(one, source=str(rng.choice(names)))
        for one in valves
    ]
    # Another stream: whether valves are left without a source changes nothing else that is drawn.
    if (other := rng.spawn(1)[0]).random() < 0.3:
        named = [replace(one, source=None if other.random() < 0.3 else one.source) for one in named]
    for k, name in enumerate(names):
        named[k] = replace(named[k], source=name)
    return tuple(named)


def _people(rng: Rng) -> dict[str, Any]:
    made: dict[str, Any] = {
        "hours": [DAY_LONG, DAY_LONG, ("20:00", "10:00"), ("06:00", "18:00")][rng.integers(4)],
        "crew_valves": int(rng.choice([1, 2, 6])), "travel_minutes": float(rng.choice([0, 5, 14])),
        "dear_hours": [("16:00", "21:00"), (), ("17:30", "20:15")][rng.integers(3)],
    }  # fmt: skip
    if rng.random() < 0.4:
        made["crew_hours"] = ("05:00", "21:00")
    if rng.random() < 0.2:
        made["crews"] = 2
    return made


def _bars(rng: Rng, valves: list[Valve], capacity: dict[str, float]) -> dict[str, Any]:
    made: dict[str, Any] = {}
    if rng.random() < 0.3:
        made["pump_starts"] = int(rng.integers(1, 3))
    if rng.random() < 0.3:
        made["pump_least"] = {next(iter(capacity)): round(0.4 * next(iter(capacity.values())), 1)}
    if rng.random() < 0.2:
        made["out_of_service"] = [valves[-1].name]
    return made


def _own_manners(rng: Rng) -> dict[str, Any]:
    own: dict[str, Any] = {
        "rest_hours": 12.0, "walnut_wet_hours": 16.0, "least_set_mm": {"drip": 4.0, "micro_sprinkler": 10.0},
        "most_set_mm": {"micro_sprinkler": 30.0}, "most_set_hours": {"drip": 10.0},
        "days_apart": {"drip": 2.0}, "sets_a_week": {"drip": 2, "flood": 2}, "intake_mm_h": 6.0,
        "root_depth_m": 0.8, "amounts_anyway": True,
        "uniformity": {"drip": 0.85},
    }  # fmt: skip
    return {name: value for name, value in own.items() if rng.random() < 0.12}


def _as_text(water: dict[str, Any]) -> dict[str, Any]:
    """The same as a ``ranch.toml`` holds it: amounts with their unit."""
    made = dict(water)
    for name, unit in (("available", "m3"), ("reserve", "m3")):
        if name in made:
            made[name] = f"{made[name]} {unit}"
    for name, unit in (("pumps", "m3/h"), ("pump_least", "m3/h"), ("sources", "m3")):
        if name in made:
            made[name] = {key: f"{value} {unit}" for key, value in made[name].items()}
    return made
