"""Water per bar: half and twice of it, who still gets water then, and what two visits tell of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from helpers.planned_ranch import ETO_MM, Ranch
from helpers.water_cases import need, terms

from stressmap.core.settings import Water
from stressmap.output.view.plan_words import tell
from stressmap.output.view.water_words import WaterWords
from stressmap.water import water_per_bar
from stressmap.water.allocation_problem import AllocationProblem
from stressmap.water.formulation import formulate
from stressmap.water.measured_water_per_bar import WaterPerBar
from stressmap.water.read_trees import ReadTrees
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


USE_MM = 3 * 1.113 * ETO_MM
"""Of almond in three days before the middle of July, which stress does not lower: coefficients of 1.05 in the
middle of June and 1.12 in that of July, straight between them (docs/references.md)."""


def read_twice(ran_h: float, changed_bar: float, se_bar: float = 0.5) -> Ranch:
    """Almond 8 bar below its line on 12 July; two sets of so many hours; its change until the 15th."""
    ranch = Ranch().block("A", "almond", 4.0 + changed_bar)
    ranch.valves[0] |= {"change_bar": changed_bar, "change_se_bar": se_bar}
    for start in ("2026-07-13 00:00", "2026-07-14 16:00"):
        ranch.ran("A1", start, ran_h)
    ranch.read = ReadTrees(before=dt.date(2026, 7, 12))
    return ranch


@pytest.mark.parametrize(("true_mm", "ran_h"), [(4.0, 18.0), (7.0, 22.0), (14.0, 26.0)])
def test_water_per_bar_of_a_simulated_valve_is_found_between_two_visits(true_mm: float, ran_h: float) -> None:
    """Trees of a known water per bar, relieved by what ran less what they used; readings err by 0.5 bar.

    By hand: change = (use - 2 x hours x 1.5 mm/h x 0.95) / true water per bar. Soil and roots say 6 mm.
    """
    change = (USE_MM - 2 * ran_h * 1.5 * 0.95) / true_mm
    assert -7.5 < change < -1.5
    rng = np.random.default_rng(18)
    found = [read_twice(ran_h, change + error).needs()[0] for error in rng.normal(0.0, 0.5, 40)]
    told = np.array(
        [np.log(one.mm_per_bar / true_mm) for one in found if "mm_per_bar_measured" in one.assumed]
    )
    sd = np.array([one.mm_per_bar_log_sd for one in found if "mm_per_bar_measured" in one.assumed])
    prior = np.log(6.0 / true_mm)
    assert len(told) >= 30
    assert np.abs(told).mean() <= max(0.25, 0.6 * abs(prior)), "nearer to the truth than soil and roots"
    assert np.mean(np.abs(told) <= 1.645 * sd) >= 0.8, "the 90 % intervals hold"
    assert (sd <= np.log(1.5)).all()


def test_what_two_visits_cannot_tell_is_left_to_soil_and_roots() -> None:
    """Where as much came as went, where readings err, and where the trees dried as if nothing had run."""
    kept = Ranch().block("A", "almond", 2.0).needs()[0].mm_per_bar
    even = USE_MM / (2 * 1.5 * 0.95)
    for ranch in (read_twice(even, 0.1), read_twice(26.0, -6.5, 4.0), read_twice(24.0, 2.5)):
        (one,) = ranch.needs()
        assert one.mm_per_bar == pytest.approx(kept)
        assert "mm_per_bar" in one.assumed
    assert read_twice(24.0, 2.5).needs()[0].inspect[0] == "not_relieved"
    own = read_twice(26.0, -6.5)
    own.water = own.water.model_copy(update={"mm_per_bar": 9.0})
    assert own.needs()[0].mm_per_bar == 9.0, "what the ranch measured goes before"


def test_what_a_season_taught_goes_before_two_visits_and_is_never_doubled_by_them() -> None:
    ranch = read_twice(26.0, -6.5)
    ranch.read = replace(ranch.read, learnt={"A1": WaterPerBar(11.0, 0.3)})
    (one,) = ranch.needs()
    assert (one.mm_per_bar, one.mm_per_bar_log_sd) == (11.0, 0.3)
    assert "mm_per_bar_season" in one.assumed
    made = ranch.plan()
    for language, word in (("en", "taught by the season"), ("es", "que enseñó la temporada")):
        (line,) = [one for part in tell(made, WaterWords(language)) for one in part.lines if word in one]
        assert "A1 (1)" in line
    ranch.read = replace(ranch.read, learnt={"A1": WaterPerBar(11.0, 0.5)})
    assert "mm_per_bar_measured" in ranch.needs()[0].assumed, "the season is not sure within a factor of 1.5"


def test_what_others_lend_joins_soil_and_roots_where_nothing_surer_is_known() -> None:
    """By hand, on the logarithm: precisions of 1 / ln(2)^2 for soil and roots, of 1 / 0.4^2 for the loan."""
    ranch = Ranch().block("A", "almond", 2.0)
    kept = ranch.needs()[0].mm_per_bar
    ranch.read = replace(ranch.read, lent={"A1": WaterPerBar(16.0, 0.4)})
    (one,) = ranch.needs()
    own, loan = np.log(2.0) ** -2, 0.4**-2
    assert np.log(one.mm_per_bar) == pytest.approx((own * np.log(kept) + loan * np.log(16.0)) / (own + loan))
    assert one.mm_per_bar_log_sd == pytest.approx((own + loan) ** -0.5)
    assert "mm_per_bar_borrowed" in one.assumed
    made = ranch.plan()
    for language, word in (("en", "borrowed from other ranches"), ("es", "prestada de otros ranchos")):
        (line,) = [one for part in tell(made, WaterWords(language)) for one in part.lines if word in one]
        assert "A1 (1)" in line
    known = read_twice(26.0, -6.5)
    measured = known.needs()[0]
    known.read = replace(known.read, lent={"A1": WaterPerBar(16.0, 0.4)})
    assert known.needs()[0] == measured, "what two visits measured here goes before"


def test_a_valve_that_the_season_found_not_relieved_is_looked_at_first() -> None:
    ranch = read_twice(26.0, -6.5)
    ranch.read = replace(ranch.read, learnt={"A1": WaterPerBar(11.0, 0.3)}, not_relieved=frozenset({"A1"}))
    (one,) = ranch.needs()
    assert one.inspect[0] == "not_relieved"
    assert "mm_per_bar" in one.assumed


def test_the_plan_names_valves_whose_water_per_bar_was_measured_and_varies_it_less() -> None:
    made = read_twice(26.0, -6.5).plan()
    assert "mm_per_bar_measured" in plan_table(made)["assumed"].iloc[0]
    for language, word in (("en", "measured between the two visits"), ("es", "medida entre las dos visitas")):
        (line,) = [one for part in tell(made, WaterWords(language)) for one in part.lines if word in one]
        assert "A1 (1)" in line


@pytest.mark.parametrize("changed_bar", [0.0, -0.9, 1.0])
def test_a_set_that_arrived_in_part_is_an_alarm_and_no_measured_water_per_bar(changed_bar: float) -> None:
    """Two sets of 24 h brought 68 mm by the log, 41 mm over the use: by soil and roots 7 bar of relief.

    With one that stayed away (or half of both) the trees hold their place, to the error of the readings of
    0.5 bar. Taken for a measurement, no change at all would be 40 mm a bar and more.
    """
    (one,) = read_twice(24.0, changed_bar).needs()
    assert one.mm_per_bar == pytest.approx(Ranch().block("A", "almond", 2.0).needs()[0].mm_per_bar)
    assert "mm_per_bar" in one.assumed
    assert "mm_per_bar_measured" not in one.assumed
    assert one.inspect[0] == "not_relieved"


def test_a_relief_within_its_error_measures_nothing_and_a_clear_one_does() -> None:
    """Where readings err by 2.5 bar, 4 bar of relief are no measurement; by 0.5 bar they are."""
    unclear, clear = (read_twice(24.0, -4.0, se).needs()[0] for se in (2.5, 0.5))
    assert "mm_per_bar_measured" not in unclear.assumed
    assert "mm_per_bar_measured" in clear.assumed
    assert clear.mm_per_bar == pytest.approx(41.0 / 4.0, rel=0.25), "68 mm less the use, over 4 bar"


def test_the_other_plans_are_made_in_the_hours_of_the_plan(monkeypatch: pytest.MonkeyPatch) -> None:
    """Once the plan left the dear hours out and the others did not."""
    water = Water.model_validate({"draws": 0})
    case = formulate([need(k) for k in range(2)], water, FIRST, ZoneInfo("UTC"))
    assert case.cheap is not None
    allowed: list[int] = []

    def solve(problem: AllocationProblem, *, time_limit_s: float) -> SimpleNamespace:
        assert time_limit_s > 0.0
        allowed.append(int(problem.hours[0].water_allowed.sum()))
        return SimpleNamespace(steps=np.ones(2))

    monkeypatch.setattr(water_per_bar, "solve_milp", solve)
    for own in (case.problem, case.cheap):
        allowed.clear()
        water_per_bar.watered_by_factor(replace(case, problem=own), water, FIRST, np.ones(2, dtype=np.int64))
        assert allowed == [int(own.hours[0].water_allowed.sum())] * 2
