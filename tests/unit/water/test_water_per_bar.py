"""Half and twice the water per bar: what a zone then needs, and who still gets water."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from helpers.water_cases import need, terms

from stressmap.core.settings import Water
from stressmap.output.view.plan_words import tell
from stressmap.output.view.water_words import WaterWords
from stressmap.water.formulation import formulate
from stressmap.water.requirement import Requirement
from stressmap.water.water_per_bar import with_water_per_bar
from stressmap.water.water_plan import Advice, advise, plan_table
from stressmap.water.water_sources import ValveSupply

FIRST = dt.date(2026, 7, 16)


def plan(needs: list[Requirement], available: str) -> Advice:
    water = Water.model_validate({"available": available, "draws": 0})
    return advise(formulate(needs, water, FIRST, ZoneInfo("UTC")), terms(water, FIRST))


def test_what_a_zone_needs_with_other_water_per_bar_by_hand() -> None:
    """2 bar dry, 40 mm of use, 0.5 bar let down: 2 x 15 + 40 - 7.5; so at half and at twice 15 mm a bar."""
    zone = need(0)
    assert with_water_per_bar(zone, 1.0).need_mm == pytest.approx(62.5)
    assert with_water_per_bar(zone, 0.5).need_mm == pytest.approx(51.25)
    assert with_water_per_bar(zone, 2.0).need_mm == pytest.approx(85.0)
    assert with_water_per_bar(zone, 2.0).hours_needed == pytest.approx(85.0 / 0.9 / 1.5)
    assert with_water_per_bar(zone, 0.5).end_bar == pytest.approx(2.0 - 0.5 + 40.0 / 7.5)


def test_with_enough_for_all_every_valve_is_sure() -> None:
    made = plan([need(k) for k in range(4)], "100 ML")
    assert made.by_factor.agree
    assert plan_table(made)["sure"].all()
    parts = tell(made, WaterWords("en"))
    said = [line for part in parts for line in part.lines if line.startswith("Water per bar is known")]
    assert said == [
        "Water per bar is known only within a factor of two: with half and with twice as much, the same "
        "valves would get water."
    ]


def test_where_water_per_bar_decides_who_gets_any_the_first_page_says_so() -> None:
    """Dry trees and thirsty ones: with little water per bar use dries, with much what they lack."""
    dry = [need(k, dry_bar=6.0, etc_until_mm=5.0, dry_se_bar=0.1, mm_per_bar=20.0) for k in range(3)]
    thirsty = [need(k, dry_bar=-1.0, etc_until_mm=60.0, dry_se_bar=0.1, mm_per_bar=15.0) for k in range(3, 6)]
    made = plan([*dry, *thirsty], "4 ML")
    assert not made.by_factor.agree
    table = plan_table(made)
    assert (table["hours"][table["sure"]] > 0).all()
    for language, word in (("en", "it decides who gets any"), ("es", "decide quién recibe")):
        lines = tell(made, WaterWords(language))[0].lines
        assert any(word in line for line in lines)


def test_the_other_plans_draw_on_the_same_sources() -> None:
    """With half and twice the water per bar each valve's water still comes from where its file says."""
    needs = [need(k, rate_mm_h=1.0) for k in range(2)]
    water = Water.model_validate({"sources": {"Canal": "9000 m3", "Well": "1 m3"}, "draws": 0})
    supplies = {"V1": ValveSupply("Canal"), "V2": ValveSupply("Well")}
    case = formulate(needs, water, FIRST, ZoneInfo("UTC"), supplies=supplies)
    found = advise(case, terms(water, FIRST)).by_factor
    assert found.others.tolist() == [[True, False], [True, False]]
    assert found.agree
