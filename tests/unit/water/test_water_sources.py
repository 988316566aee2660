"""Sources of water: who draws on which, when, how much; and the reserve. Against amounts added up by hand."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers.water_cases import need, terms

from stressmap.core.errors import SettingsError
from stressmap.core.settings import Water
from stressmap.water.formulation import formulate
from stressmap.water.ranch_inputs import without_source
from stressmap.water.requirement import Requirement
from stressmap.water.water_plan import advise, plan_table, timetable_table
from stressmap.water.water_sources import Sources, ValveSupply, sources_of, volume_for_plan_m3

FIRST = dt.date(2026, 7, 16)


def two(**own: Any) -> list[Requirement]:
    """Two valves at pumps A and B, each of 60 m3/h."""
    return [need(k, pump=pump, **own) for k, pump in enumerate("AB")]


def fed(supplies: dict[str, ValveSupply], **water: Any) -> Sources:
    return sources_of(two(), supplies, Water.model_validate(water), ("A", "B"), "ranch.toml")


def planned(supplies: dict[str, ValveSupply], **water: Any) -> tuple[pd.DataFrame, pd.DataFrame]:
    settings = Water.model_validate({"pumps": {"A": "100 m3/h", "B": "100 m3/h"}, "draws": 0} | water)
    case = formulate(two(), settings, FIRST, ZoneInfo("UTC"), supplies=supplies)
    made = advise(case, terms(settings, FIRST))
    return plan_table(made).set_index("valve"), timetable_table(made)


def test_a_valve_draws_on_its_own_source_then_on_that_of_its_pump_then_on_the_only_one() -> None:
    both = {"A": "1 m3", "B": "2 m3"}
    assert fed({}, sources=both).of_valve.tolist() == [0, 1]
    assert fed({"V1": ValveSupply("B")}, sources=both).of_valve.tolist() == [1, 1]
    assert fed({}, sources={"Canal": "1 m3"}).of_valve.tolist() == [0, 0]
    canal = fed({"V2": ValveSupply("Canal")}, sources={"A": "1 m3", "Canal": "3 m3"})
    assert canal.of_valve.tolist() == [0, 1]
    assert canal.volume_m3.tolist() == [1.0, 3.0]
    without = fed({"V1": ValveSupply("Canal")}, sources={"Canal": "1 m3", "A": "1 m3"})
    assert without.of_valve.tolist() == [0, -1], "pump B is no source: nothing of its own limits it"


def test_days_of_a_source_go_by_its_name_or_by_the_pumps() -> None:
    day = dt.date(2026, 7, 18)
    assert fed({}, source_days={"B": ["2026-07-18"]}).days == (None, (day,))
    assert fed({"V1": ValveSupply("Ditch")}, source_days={"Ditch": ["2026-07-18"]}).days == ((day,), None)
    _, sets = planned({"V1": ValveSupply("Ditch")}, source_days={"Ditch": ["2026-07-18"]})
    of_ditch = sets[sets["valve"] == "V1"]
    assert {moment.date() for moment in of_ditch["start"]} == {day}
    assert (of_ditch["end"] <= pd.Timestamp("2026-07-19", tz="UTC")).all()
    assert (sets["valve"] == "V2").any()


def test_days_of_a_pump_take_nothing_from_the_one_source_and_both_have_to_give_water() -> None:
    days = {"A": ["2026-07-17", "2026-07-18"], "Canal": ["2026-07-18", "2026-07-19"]}
    found = fed({}, sources={"Canal": "9000 m3"}, source_days=days)
    assert found.of_valve.tolist() == [0, 0]
    assert found.days[0] == (dt.date(2026, 7, 18),)
    assert found.days[1] == (dt.date(2026, 7, 18), dt.date(2026, 7, 19))


def test_no_source_gives_more_than_it_has_whatever_the_others_have_left() -> None:
    """20 mm of micro-sprinklers are a useful set: 13.5 h of 60 m3/h, 810 m3."""
    plan, _ = planned({}, sources={"A": "900 m3", "B": "50000 m3"})
    assert 810.0 <= plan["m3"]["V1"] <= 900.0
    assert plan["m3"]["V2"] > 900.0
    assert plan["limited_by"]["V1"] == "water"
    plan, _ = planned({}, sources={"A": "800 m3", "B": "50000 m3"})
    assert plan["m3"]["V1"] == 0.0, "not enough for a useful set"
    plan, _ = planned({}, sources={"A": "5000 m3", "B": "5000 m3"}, available="1700 m3")
    assert plan["m3"].sum() <= 1700.0, "all together are held to what is available"


def test_a_valve_without_a_source_is_told_and_all_are_held_to_what_the_sources_have() -> None:
    """20 mm of micro-sprinklers are a useful set of 810 m3; a source of 900 m3 gives V1 no more than one."""
    supplies, sources = {"V1": ValveSupply("Canal")}, {"Canal": "900 m3", "A": "900 m3"}
    plan, _ = planned(supplies, sources=sources)
    assert 810.0 <= plan["m3"]["V1"] <= 900.0
    assert 900.0 < plan["m3"].sum() <= 1800.0, "V2 draws on no source, and there are 1,800 m3"
    plan, _ = planned(supplies, sources=sources, available="1650 m3")
    assert plan["m3"].sum() <= 1650.0
    assert unfed(supplies, sources=sources) == ["V2"]
    assert unfed(supplies, sources=sources, out_of_service=["V2"]) == []
    assert unfed({**supplies, "V2": ValveSupply("A")}, sources=sources) == []
    assert unfed({}) == []


def unfed(supplies: dict[str, ValveSupply], **water: Any) -> list[str]:
    settings = Water.model_validate(water)
    return without_source(formulate(two(), settings, FIRST, ZoneInfo("UTC"), supplies=supplies), settings)


@pytest.mark.parametrize(
    ("water", "left"),
    [
        ({"available": "5000 m3", "reserve": "1200 m3"}, 3800.0),
        ({"available": "5000 m3"}, 5000.0),
        ({"sources": {"A": "3000 m3", "B": "1000 m3"}, "reserve": "1200 m3"}, 2800.0),
        ({"available": "5000 m3", "sources": {"A": "3000 m3"}, "reserve": "1 ML"}, 4000.0),
        ({}, float("inf")),
    ],
)
def test_a_reserve_is_kept_back(water: dict[str, Any], left: float) -> None:
    assert volume_for_plan_m3(Water.model_validate(water)) == left


def test_the_plan_leaves_the_reserve() -> None:
    plan, _ = planned({}, available="3000 m3", reserve="1300 m3")
    assert 810.0 < plan["m3"].sum() <= 1700.0


@pytest.mark.parametrize(
    ("supplies", "water", "message"),
    [
        ({}, {"source_days": {"Dich": []}}, "there is no source 'Dich'"),
        ({"V1": ValveSupply("Ditch")}, {"source_days": {"Dich": []}}, "'Dich'. Did you mean 'Ditch'?"),
        ({"V1": ValveSupply("Canl")}, {"sources": {"Canal": "1 m3"}}, "'Canl'. Did you mean 'Canal'?"),
        ({}, {"sources": {"A": "1 m3", "C": "1 m3"}}, "goes by the source 'C'"),
        ({}, {"pump_least": {"C": "1 m3/h"}}, "there is no pump 'C'"),
        ({}, {"pumps": {"A": "50 m3/h"}, "pump_least": {"A": "60 m3/h"}},
         "'A' must give at least 60 m3/h and can give 50 m3/h at most. Correct one of the two flows"),
        ({}, {"available": "1000 m3", "reserve": "1000 m3"},
         "the reserve of 1,000 m3 leaves no water to plan with. Keep back less than there is"),
        ({}, {"sources": {"A": "400 m3", "B": "500 m3"}, "reserve": "1 ML"}, "leaves no water to plan with"),
        ({}, {"reserve": "1 ML"}, "a reserve is to be kept back, but not how much water there is"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused(
    supplies: dict[str, ValveSupply], water: dict[str, Any], message: str
) -> None:
    with pytest.raises(SettingsError) as caught:
        fed(supplies, **water)
    assert message in str(caught.value)
    assert str(caught.value).startswith("ranch.toml, column water.")
