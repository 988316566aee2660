"""A small ranch put together block by block, from its valves' stress to its plan, without files."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from helpers.water_cases import terms
from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.orchard import Orchard
from stressmap.core.settings import Water
from stressmap.water.crop_water_use import ReferenceEt
from stressmap.water.formulation import formulate
from stressmap.water.read_trees import ReadTrees
from stressmap.water.requirement import Requirement, RequirementFacts, requirements
from stressmap.water.water_plan import Advice, advise

ZONE = "America/Los_Angeles"
START = dt.date(2026, 7, 16)
ETO_MM = 7.0


class Ranch:
    """Blocks of 4 ha with a valve or several each, fully watered at -8 bar, target -12 bar."""

    def __init__(self, start: dt.date = START, **water: Any) -> None:
        self.start = start
        self.water = Water.model_validate({"draws": 0} | water)
        self.valves, self.data, self.blocks = [], [], []
        self.log: list[tuple[str, str, float]] = []
        self.read = ReadTrees()
        self.days_before = 1

    def block(self, name: str, crop: str, *dry_bar: float, **own: Any) -> Ranch:
        self.blocks.append(
            {"block": name, "crop": crop, "weight": 1.0, "irrigation": "drip", "soil": "loam",
             "harvest": None, "planted": 2000.0} | own
        )  # fmt: skip
        for k, dry in enumerate(dry_bar, start=1):
            valve = {"valve": f"{name}{k}", "block": name}
            self.valves.append(
                valve | {"crop": crop, "area_ha": 4.0, "stress_bar": dry, "stress_se_bar": 0.5,
                         "swp_bar": -12.0 - dry, "target_bar": -12.0, "baseline_bar": -8.0}
            )  # fmt: skip
            self.data.append(
                valve | {"rate_mm_h": 1.5, "flow_m3_h": np.nan, "min_hours": np.nan, "max_hours": np.nan,
                         "pump": None}
            )  # fmt: skip
        return self

    def ran(self, valve: str, start: str, hours: float) -> Ranch:
        self.log.append((valve, start, hours))
        return self

    def needs(self) -> list[Requirement]:
        log = None
        if self.log:
            start = pd.DatetimeIndex([begin for _, begin, _ in self.log]).tz_localize(ZONE)
            hours = pd.to_timedelta([hours for *_, hours in self.log], unit="h")
            names = [valve for valve, *_ in self.log]
            log = pd.DataFrame({"valve": names, "start": start, "end": start + hours, "mm": np.nan})
        orchard = Orchard(None, load_profiles({}, "ranch.toml"))
        facts = RequirementFacts(
            water=self.water, orchard=orchard, rank_by="below_target",
            visit_end=self.start - dt.timedelta(days=self.days_before), start=self.start,
            next_turn=self.start + dt.timedelta(days=self.water.days),
            eto=ReferenceEt({}, ETO_MM, "set"), log=log, read=self.read,
        )  # fmt: skip
        return requirements(
            pd.DataFrame(self.valves), pd.DataFrame(self.data), pd.DataFrame(self.blocks), facts
        )

    def plan(self) -> Advice:
        case = formulate(self.needs(), self.water, self.start, ZoneInfo(ZONE))
        return advise(case, terms(self.water, self.start))
