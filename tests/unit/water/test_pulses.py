"""Pulses of valves that bring more an hour than their soil takes in."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from helpers.water_cases import PLAIN, need, terms

from stressmap.core.settings import Water
from stressmap.output.view.manner_words import pulse_lines, pulse_words
from stressmap.output.view.plan_days import days
from stressmap.output.view.plan_words import WaterWords
from stressmap.water.formulation import formulate
from stressmap.water.pulses import pulse_minutes, with_pulses
from stressmap.water.requirement import Requirement
from stressmap.water.water_per_bar import with_water_per_bar
from stressmap.water.water_plan import Advice, advise, plan_table, timetable_table

DAY, ZONE = dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles")


def sprinkler(**own: Any) -> Requirement:
    """A hectare of 20 mm/h on clay loam, whose upper end is 10 mm/h: open half the time."""
    facts = {
        "system": "sprinkler",
        "texture": "clay loam",
        "area_ha": 1.0,
        "rate_mm_h": 20.0,
        "wetted_share": 1.0,
    }
    return need(0, **(facts | own))


def settings(**own: Any) -> Water:
    return Water.model_validate(PLAIN | {"draws": 0} | own)


def advice(one: Requirement, water: Water) -> Advice:
    return advise(formulate([one, need(1)], water, DAY, ZONE), terms(water, DAY))


def test_the_mean_over_the_set_is_what_the_soil_takes_in() -> None:
    """By hand: 15 of 30 min at 20 mm/h are 10 mm/h and, of 200 m3/h while open, 100 m3 an hour."""
    made = advice(sprinkler(), settings())
    own = timetable_table(made).set_index("valve").loc["V1"]
    assert (own["pulse_on_min"], own["pulse_off_min"]) == (15.0, 15.0)
    assert own["flow_m3_h"] == pytest.approx(200.0), "what the pump must give while the valve is open"
    assert own["mm"] == pytest.approx(10.0 * own["hours"])
    assert own["m3"] == pytest.approx(100.0 * own["hours"])
    row = plan_table(made).set_index("valve").loc["V1"]
    assert row["m3"] == pytest.approx(own["m3"])
    assert row["need_covered"] == pytest.approx(1.0)
    told = {row[2]: row for section in days(made, WaterWords("en", "metric")) for row in section.rows}
    assert told["V1"][-2] == WaterWords("en", "metric").known(own["m3"], "volume"), "pauses bring no water"
    assert timetable_table(made).set_index("valve").loc["V2", "pulse_on_min"] != own["pulse_on_min"]
    assert "V1 (15 min open, 15 min closed)" in pulse_lines(made, WaterWords("en", "metric"))[0]
    assert "V1 (15 min abierta, 15 min cerrada)" in pulse_lines(made, WaterWords("es", "metric"))[0]


@pytest.mark.parametrize("share", [0.2, 0.34, 0.5, 0.75, 0.97])
@pytest.mark.parametrize("step", [15, 30, 60, 120])
def test_a_pulse_is_within_its_limits_and_fills_a_step(share: float, step: int) -> None:
    found = pulse_minutes(share, step, 30.0)
    if found is None:
        assert share * step < 5.0
        return
    opened, closed = found
    assert 5 <= opened <= 30
    assert opened <= share * (opened + closed) + 1e-9
    assert step % (opened + closed) == 0


def test_a_shorter_pulse_may_be_asked_for() -> None:
    assert with_pulses(sprinkler(), settings(pulse_minutes=10)).pulse == (7, 8)


@pytest.mark.parametrize(
    ("one", "water"),
    [
        (sprinkler(rate_mm_h=90.0), {}),
        (sprinkler(), {"pump_starts": 4}),
        (sprinkler(pump="P"), {"pump_least": {"P": "40 m3/h"}}),
        (sprinkler(), {"hours": ["20:00", "21:00"], "least_set_mm": {"sprinkler": 20}}),
    ],
    ids=["open under 5 min", "starts", "least flow", "no useful depth in an hour"],
)
def test_where_pulses_do_not_fit_the_valve_is_refused(one: Requirement, water: dict[str, Any]) -> None:
    case = formulate([one, need(1, pump=one.pump)], settings(**water), DAY, ZONE)
    assert case.barred[0] == "over_intake"


def test_floods_and_valves_within_the_intake_are_not_pulsed() -> None:
    for one in (sprinkler(system="flood"), sprinkler(rate_mm_h=10.0), sprinkler(texture="sand")):
        assert with_pulses(one, settings()) is one


def test_a_soil_that_is_not_known_takes_in_what_loam_does() -> None:
    """Upper end for loam: 15 mm/h (docs/references.md). Once any rate was let run without a soil."""
    assert with_pulses(sprinkler(texture="loam", assumed=("soil",)), settings()).pulse is not None
    slow = sprinkler(texture="loam", rate_mm_h=15.0, assumed=("soil",))
    assert with_pulses(slow, settings()) is slow


def test_pulses_stay_what_they_are_with_other_water_per_bar() -> None:
    pulsed = with_pulses(sprinkler(), settings())
    other = with_water_per_bar(pulsed, 1.0)
    assert with_pulses(other, settings()) is other
    assert other.hours_needed == pytest.approx(pulsed.hours_needed)


def test_a_pump_that_is_too_small_for_the_open_valve_cannot_feed_it() -> None:
    """150 m3/h are more than its mean of 100 and less than the 200 that it takes while it is open."""
    case = formulate([sprinkler(), need(1)], settings(pump="150 m3/h"), DAY, ZONE)
    assert case.barred[0] == "over_pump"


@pytest.mark.parametrize(
    ("language", "said"),
    [("en", "timer: 15 min on, 15 min off"), ("es", "temporizador: 15 min abierta, 15 min cerrada")],
)
def test_each_set_of_a_pulsed_valve_is_noted_in_its_row_with_the_water_it_brings(
    language: str, said: str
) -> None:
    """The row's water is that of the mean: half of 200 m3/h over the hours from opening to closing."""
    made = advice(sprinkler(), settings())
    words = WaterWords(language, "metric")
    assert pulse_words(15.0, 15.0, words) == said
    found = {row[2]: row for day in days(made, words) for row in day.rows}
    assert found["V1"][-1] == said
    assert found["V2"][-1] == ""
    hours = timetable_table(made).set_index("valve").loc["V1", "hours"]
    assert f"{100.0 * hours:,.0f}" in found["V1"][-2]
