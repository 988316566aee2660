"""What the checker of manners knows of a ranch: raw files and settings, and figures written down once more.

The figures are those that ``docs/references.md`` and ``docs/contract.md`` promise. They stand here again on
purpose: the checker shares no code and no number with the planner, but the crops' own tables.
"""

from __future__ import annotations

import datetime as dt
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path
from typing import Any

CROPS = Path(__file__).parents[2] / "stressmap" / "agronomy" / "crops"

IN_FT = {
    "very coarse sand": (0.40, 0.75), "sand": (0.75, 1.25), "sandy loam": (1.25, 1.75), "loam": (1.50, 2.30),
    "clay loam": (1.75, 2.50), "clay": (1.60, 2.50),
}  # fmt: skip
"""Available water [in/ft]: "Soil Characteristics", university pages on managing drought (read)."""
WETTED = {"drip": 0.35, "micro_sprinkler": 0.60, "sprinkler": 1.0, "flood": 1.0}
UNIFORMITY = {"drip": 0.95, "micro_sprinkler": 0.925, "sprinkler": 0.90, "flood": 0.80}
LEAST_MM = {"drip": 8.0, "micro_sprinkler": 20.0, "sprinkler": 20.0, "flood": 75.0}
MOST_MM = {"flood": 100.0}
MOST_HOURS = {"drip": 16.0, "micro_sprinkler": 24.0, "sprinkler": 24.0}
DAYS_APART = {"micro_sprinkler": 3.0, "sprinkler": 3.0}
SETS_A_WEEK = {"micro_sprinkler": 2, "sprinkler": 2, "flood": 1}
REST = {"clay loam": 48.0, "clay": 72.0}
INTAKE = {"clay": 5.0, "clay loam": 10.0, "loam": 15.0, "sandy loam": 25.0}
OTHER_REST, WALNUT_HOURS, WALNUT_SPAN = 24.0, 24.0, 72.0
YOUNG_YEARS = 4
CATCH_UP, CATCH_UP_READ, TREES_READ, TREES_IN_BLOCK = 1.3, 1.5, 3, 3


@cache
def crop_table(name: str) -> Mapping[str, Any]:
    return tomllib.loads((CROPS / f"{name}.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True)
class Valve:
    """A valve as the files have it; ``trees`` read in it, ``block_trees`` in its block."""

    name: str
    block: str
    crop: str
    system: str
    rate_mm_h: float
    area_ha: float
    soil: str | None = None
    wetted_share: float | None = None
    planted: float | None = None
    harvest: str | None = None
    min_hours: float = 0.0
    max_hours: float = math.inf
    pump: str = ""
    source: str | None = None
    gate: float | None = None
    trees: int = 0
    block_trees: int = TREES_IN_BLOCK
    stress_bar: float = 0.0
    stress_se_bar: float = 1.0
    checked: dt.date | None = None

    @property
    def flow_m3_h(self) -> float:
        return self.rate_mm_h * self.area_ha * 10.0

    @property
    def wetted(self) -> float:
        return self.wetted_share or WETTED[self.system]

    def readily_available_mm(self, root_depth_m: float | None = None) -> float:
        """Net depth that the wetted root zone takes from where trees begin to lack it."""
        low, high = IN_FT[self.soil or "loam"]
        roots = crop_table(self.crop).get("roots", {})
        depth = root_depth_m or roots.get("depth_m", 1.0)
        return (low + high) / 2 / 12 * 1000 * depth * roots.get("depletion_fraction", 0.5) * self.wetted

    def share_of_full_cover(self, day: dt.date, *, south: bool = False) -> float:
        """Share of a full cover's use that young trees have: their year's coefficient over the highest."""
        own = crop_table(self.crop).get("crop_coefficient")
        if own is None or "young_kc_mid" not in own or self.planted is None:
            return 1.0
        year = day.year - (1 if south and day.month < 7 else 0) - int(self.planted)
        if year >= len(own["young_kc_mid"]):
            return 1.0
        return min(1.0, own["young_kc_mid"][max(0, year)] / max(kc for _, kc in own["points"]))


@dataclass(frozen=True)
class Ranch:
    """A ranch as its files have it; ``water`` is the table ``[water]`` in plain numbers (m3, m3/h, mm, h).

    ``logged`` are openings and closings of a valve by the log, in UTC.
    """

    zone: str
    first: dt.date
    next_turn: dt.date
    visit: tuple[dt.date, dt.date]
    valves: tuple[Valve, ...]
    water: Mapping[str, Any]
    south: bool = False
    read_on: Mapping[str, dt.date] = field(default_factory=dict)
    logged: Mapping[str, tuple[tuple[dt.datetime, dt.datetime], ...]] = field(default_factory=dict)

    def by_system(self, key: str, usual: Mapping[str, float], system: str, other: float) -> float:
        return float({**usual, **self.water.get(key, {})}.get(system, other))

    @cached_property
    def by_name(self) -> dict[str, Valve]:
        return {one.name: one for one in self.valves}

    def factor(self, valve: Valve) -> float:
        return float({**UNIFORMITY, **self.water.get("uniformity", {})}[valve.system])

    def rest_hours(self, valve: Valve) -> float:
        usual = self.water.get("rest_hours")
        return float(REST.get(valve.soil or "loam", OTHER_REST) if usual is None else usual)

    def share_of_a_set(self, valve: Valve) -> float:
        """Half for prune past its driest edge in June and July (December and January in the south)."""
        share = valve.share_of_full_cover(self.first, south=self.south)
        summer = {12, 1} if self.south else {6, 7}
        edges = crop_table(valve.crop).get("edges", {}).get("below_target", [0.0, 2.0, 4.0])
        light = valve.crop == "prune" and self.first.month in summer and valve.stress_bar > edges[2]
        return share * (0.5 if light else 1.0)

    def most_set_hours(self, valve: Valve) -> float:
        net = valve.readily_available_mm(self.water.get("root_depth_m")) * self.share_of_a_set(valve)
        gross = min(net / self.factor(valve), self.by_system("most_set_mm", MOST_MM, valve.system, math.inf))
        usual = self.by_system("most_set_hours", MOST_HOURS, valve.system, math.inf)
        return min(gross / valve.rate_mm_h, usual, valve.max_hours, self.wet_hours(valve))

    def wet_hours(self, valve: Valve) -> float:
        return float(self.water.get("walnut_wet_hours", WALNUT_HOURS)) if valve.crop == "walnut" else math.inf

    def least_set_hours(self, valve: Valve) -> float:
        return self.by_system("least_set_mm", LEAST_MM, valve.system, 0.0) / valve.rate_mm_h

    def runs_off(self, valve: Valve) -> bool:
        if valve.system == "flood":
            return False
        own = self.water.get("intake_mm_h")
        takes = own if own is not None else INTAKE.get(valve.soil or "loam", math.inf)
        return valve.rate_mm_h / valve.wetted > takes * (1 + 1e-9)

    def is_held(self, valve: Valve) -> bool:
        """Whether it is drier than its block's others by 2 bar and 2 standard errors, and not looked at."""
        others = [one for one in self.valves if one.block == valve.block and one.name != valve.name]
        if not others or self.was_looked_at(valve):
            return False
        apart = valve.stress_bar - sum(one.stress_bar for one in others) / len(others)
        variance = valve.stress_se_bar**2 + sum(one.stress_se_bar**2 for one in others) / len(others) ** 2
        return apart > 2.0 + 1e-9 and apart > 2.0 * math.sqrt(variance) + 1e-9

    def was_looked_at(self, valve: Valve) -> bool:
        return valve.checked is not None and valve.checked >= self.visit[0]

    def is_before_harvest(self, valve: Valve, day: dt.date) -> bool:
        """Whether a day lies in the days before the harvest on which no water runs any more."""
        table = crop_table(valve.crop)
        ripe = valve.harvest or table.get("usual_harvest")
        if ripe is None or "cut_off" not in table:
            return False
        month, of_month = (int(part) for part in ripe.split("-"))
        if self.south and valve.harvest is None:
            month = (month + 5) % 12 + 1
        harvests = [dt.date(day.year + more, month, of_month) for more in (0, 1)]
        return any(0 <= (one - day).days < table["cut_off"]["least_days"] for one in harvests)

    def source_of(self, valve: Valve) -> str | None:
        """Name of a valve's source: its own, else that which is called like its pump, else the only one."""
        sources = self.water.get("sources", {})
        if valve.source is not None:
            return valve.source
        if valve.pump in sources:
            return valve.pump
        return next(iter(sources)) if len(sources) == 1 else None

    def has_water(self, valve: Valve, day: dt.date) -> bool:
        """Whether a valve's source and its pump both give water on a day."""
        days = self.water.get("source_days", {})
        names = {self.source_of(valve), valve.pump} & set(days)
        return all(day in days[name] for name in names)

    def turns_in_half_an_hour(self) -> int:
        crews = self.water.get("crews") or math.ceil(len(self.valves) / 60)
        travel = self.water.get("travel_minutes", 5.0)
        reached = math.floor(30.0 / travel + 1e-9) if travel else 10**6
        return int(crews * max(1, min(self.water.get("crew_valves", 6), reached)))
