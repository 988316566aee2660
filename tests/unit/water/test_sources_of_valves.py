"""Sources that valves name: their volumes, days and gates."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers.water_cases import PLAIN, need, terms

from stressmap.core.errors import SettingsError
from stressmap.core.settings import Water
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.water_plan import advise, plan_table, timetable_table
from stressmap.water.water_sources import ValveSupply, supplies_of

DAY, ZONE = dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles")
CANAL, WELL = ValveSupply("Canal"), ValveSupply("Well")


def case_of(supplies: dict[str, ValveSupply], count: int = 4, **water: Any) -> tuple[PlanInputs, Water]:
    settings = Water.model_validate(PLAIN | {"draws": 0} | water)
    needs = [need(k, area_ha=1.0) for k in range(count)]
    return formulate(needs, settings, DAY, ZONE, supplies=supplies), settings


def test_source_and_gate_come_from_the_valves_table() -> None:
    table = pd.DataFrame({"valve": ["A", "B"], "source": [" Canal ", None], "gate": [3.0, float("nan")]})
    assert supplies_of(table) == {"A": ValveSupply("Canal", 3.0), "B": ValveSupply(None, None)}


def test_a_source_gives_no_more_than_its_volume() -> None:
    """Four valves of one hectare; the canal has 300 m3 for two of them, the well more than enough."""
    supplies = {"V1": CANAL, "V2": CANAL, "V3": WELL, "V4": WELL}
    case, water = case_of(supplies, sources={"Canal": "300 m3", "Well": "9000 m3"})
    plan = plan_table(advise(case, terms(water, DAY))).set_index("valve")
    assert plan.loc[["V1", "V2"], "m3"].sum() <= 300.0
    assert plan.loc[["V1", "V2"], "m3"].sum() > 250.0
    assert (plan.loc[["V3", "V4"], "need_covered"] > 0.99).all()


def test_water_comes_on_the_days_of_the_source() -> None:
    days = [DAY + dt.timedelta(days=2), DAY + dt.timedelta(days=3)]
    case, water = case_of({"V1": CANAL}, count=2, source_days={"Canal": days})
    sets = timetable_table(advise(case, terms(water, DAY)))
    assert (sets["hours"] > 0).all()
    assert set(sets["valve"]) == {"V1", "V2"}
    own = sets[sets["valve"] == "V1"]
    assert {moment.date() for moment in own["start"]} <= set(days)


def test_an_unknown_source_is_named_with_what_was_meant() -> None:
    with pytest.raises(SettingsError, match=r"(?s)'Canl'.*Did you mean 'Canal'"):
        case_of({"V1": ValveSupply("Canl")}, sources={"Canal": "300 m3", "Well": "9000 m3"})


def test_gates_of_two_ditches_do_not_wait_for_each_other() -> None:
    supplies = {f"V{k + 1}": ValveSupply("Canal" if k < 2 else "Well", float(k % 2 + 1)) for k in range(4)}
    settings = Water.model_validate({"draws": 0, "sources": {"Canal": "9000 m3", "Well": "9000 m3"}})
    needs = [
        need(k, system="flood", block=f"B{k // 2}", area_ha=1.0, rate_mm_h=12.0, missing_mm=80.0, dry_bar=4.0)
        for k in range(4)
    ]
    case = formulate(needs, settings, DAY, ZONE, supplies=supplies)
    starts = timetable_table(advise(case, terms(settings, DAY))).set_index("valve")["start"]
    assert starts["V1"] <= starts["V2"]
    assert starts["V3"] <= starts["V4"]
    assert starts["V3"] < starts["V2"] or starts["V1"] == starts["V2"]
