"""What must hold of any water plan."""

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from helpers.water_cases import PLAIN, need, random_ranch, terms
from scipy import integrate, sparse, stats

from stressmap.core.settings import Water
from stressmap.output.view.plan_words import tell
from stressmap.output.view.water_words import WaterWords
from stressmap.water import milp as planning
from stressmap.water.alternatives import compare_alternatives, evaluate_over_draws
from stressmap.water.benefit import expected_excess
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.milp import bound_beside, solve_milp
from stressmap.water.plan_and_schedule import plan_and_schedule
from stressmap.water.value_of_water import LITTLE, water_value_curve
from stressmap.water.water_plan import advise

FIRST, ZONE = dt.date(2026, 7, 16), ZoneInfo("America/Los_Angeles")


def case_of(count: int, **water: object) -> PlanInputs:
    rng = np.random.default_rng(count)
    needs = [
        need(k, area_ha=float(rng.uniform(1, 5)), dry_bar=float(rng.normal(2, 2)), min_hours=2.0)
        for k in range(count)
    ]
    return formulate(needs, Water.model_validate(PLAIN | water), FIRST, ZONE)


@pytest.mark.parametrize(("mean", "se"), [(3.0, 0.5), (0.2, 1.0), (-1.0, 0.7), (-4.0, 0.5), (6.0, 2.0)])
def test_what_is_beyond_is_the_expectation_over_the_error(mean: float, se: float) -> None:
    def part(x: float) -> float:
        return max(x, 0.0) * stats.norm.pdf(x, mean, se)

    expected = integrate.quad(part, mean - 10 * se, mean + 10 * se, points=[0.0], limit=200)[0]
    assert float(expected_excess(mean, se)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("seed", [1001, 1004, 1007, 1010, 1013])
def test_both_curves_rise_ever_less(seed: int) -> None:
    for curve in random_ranch(seed).case().problem.curves:
        for figures in (curve.value, curve.past_limit):
            slopes = np.diff(figures) / np.diff(curve.steps)
            assert (slopes >= -1e-9).all()
            assert (np.diff(slopes) <= 1e-9).all()


def test_no_amount_within_the_limits_outweighs_a_bar_beyond_them() -> None:
    """One small zone half a bar past its limit among large ones that gain far more from the same water."""
    past = need(0, area_ha=1.0, dry_bar=4.0, limit_bar=3.5, mm_per_bar=40.0, dry_se_bar=0.5)
    others = [need(k, area_ha=8.0, dry_bar=4.0, mm_per_bar=8.0, weight=3.0) for k in range(1, 8)]
    water = Water.model_validate(PLAIN | {"available": "400 m3"})
    case = formulate([past, *others], water, FIRST, ZONE)
    found = solve_milp(case.problem)
    own = case.problem.curves[0]
    affordable = case.problem.feasible_steps(
        0, int(400 / case.problem.flow_m3_h[0] / case.problem.step_hours)
    )
    assert found.past_limit == pytest.approx(float(own.past_limit_at(affordable)))
    assert found.past_limit == pytest.approx(found.past_limit_bound, rel=1e-5)
    free = solve_milp(
        replace(
            case.problem, curves=tuple(replace(c, past_limit=0.0 * c.past_limit) for c in case.problem.curves)
        )
    )
    assert free.steps[0] < found.steps[0]
    assert free.benefit > found.benefit
    planned = plan_and_schedule(case.problem, case.calendar, case.benefit_model.dry_bar)
    assert planned.solution.past_limit == pytest.approx(found.past_limit)
    assert planned.solution.benefit <= planned.solution.bound


def test_a_plan_that_falls_short_beyond_the_limits_gets_a_bound_that_holds_for_it() -> None:
    for seed in (1001, 1004, 1007, 1010, 1013):
        problem = random_ranch(seed).case().problem
        free = tuple(replace(c, past_limit=0.0 * c.past_limit) for c in problem.curves)
        anything = solve_milp(replace(problem, curves=free))
        assert bound_beside(problem, 0.0) >= anything.benefit * (1 - 1e-6)
        assert bound_beside(problem, solve_milp(problem).past_limit) >= solve_milp(problem).benefit * (
            1 - 1e-6
        )


def test_more_water_never_relieves_less() -> None:
    case = case_of(5)
    volumes = np.linspace(200, 8000, 14)
    worth = [solve_milp(replace(case.problem, volume_m3=float(v))).benefit for v in volumes]
    assert (np.diff(worth) >= -1e-5 * worth[-1]).all()


def test_the_curve_flattens_after_its_knee_and_ends_where_all_is_relieved() -> None:
    curve = water_value_curve(case_of(5), time_limit_s=30.0)
    slopes = [p.per_ml for p in curve.points[:-1]]
    assert all(s < LITTLE * slopes[0] for s in slopes[curve.knee :])
    assert slopes[curve.knee - 1] >= LITTLE * slopes[0]
    assert curve.points[-1].share == pytest.approx(1.0, abs=1e-9)


def test_enough_for_all_is_no_better_than_the_simple_ways_and_says_so() -> None:
    case = case_of(6, available="100 ML", draws=10)
    made = advise(case, terms(Water(), FIRST))
    assert not made.is_better
    said = [line for s in tell(made, WaterWords("en")) for line in s.lines]
    assert "This plan is no better than equal share: with these amounts the simple way does as well." in said


def test_a_short_search_gives_the_best_so_far_and_says_so() -> None:
    case = case_of(40, available="3 ML", pump="300 m3/h", hours=["20:00", "06:00"])
    cut = plan_and_schedule(
        case.problem, case.calendar, case.benefit_model.dry_bar, time_limit_s=1e-9
    ).solution
    assert cut.stopped == "time"
    assert cut.benefit > 0.5 * solve_milp(case.problem).benefit
    water = Water.model_validate(PLAIN | {"time_limit_s": 1e-9})
    lines = tell(advise(case, terms(water, FIRST)), WaterWords("en"))[0].lines
    assert any(
        line.startswith("The search was stopped after 1e-09 s: this is the best plan") for line in lines
    )


def test_a_search_of_few_branches_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(planning, "MOST_NODES", 1)
    case = case_of(40, available="3 ML", pump="300 m3/h", hours=["20:00", "06:00"])
    assert solve_milp(case.problem, gap=0.0).stopped == "nodes"


def test_a_sure_valve_is_chosen_in_every_draw_and_a_doubtful_one_in_some() -> None:
    needs = [
        need(0, dry_bar=8.0, dry_se_bar=0.1),
        *(need(k, dry_bar=2.0, dry_se_bar=2.0) for k in range(1, 6)),
    ]
    case = formulate(needs, Water.model_validate(PLAIN | {"available": "4 ML"}), FIRST, ZONE)
    judged = evaluate_over_draws(case, compare_alternatives(case, solve_milp(case.problem).steps), 60)
    assert judged.chosen[0] == 1.0
    assert (judged.chosen[1:] < 1.0).all()
    assert (judged.chosen[1:] > 0.0).all()
    low, mean, high = judged.share["plan"][1], judged.share["plan"][0], judged.share["plan"][2]
    assert low < mean < high


def test_draws_judged_two_at_once_come_out_the_same() -> None:
    case = case_of(8)
    ways = compare_alternatives(case, solve_milp(case.problem).steps)
    one, two = (evaluate_over_draws(case, ways, 30, jobs=jobs) for jobs in (1, 2))
    assert (one.chosen == two.chosen).all()
    assert (one.share, one.best) == (two.share, two.best)


def test_draws_follow_a_covariance() -> None:
    case = case_of(5, available="2 ML")
    ways = compare_alternatives(case, solve_milp(case.problem).steps)
    diagonal = sparse.csr_array(np.diag(case.benefit_model.se_bar**2))
    apart, same = (
        evaluate_over_draws(case, ways, 40, covariance=diagonal),
        evaluate_over_draws(case, ways, 40),
    )
    assert apart.share["plan"][0] == pytest.approx(same.share["plan"][0], abs=1e-9)
    nothing = evaluate_over_draws(case, ways, 5, covariance=sparse.csr_array((5, 5)))
    assert nothing.share["plan"][1] == pytest.approx(nothing.share["plan"][2])


def test_the_same_case_gives_the_same_plan() -> None:
    for seed in (3, 8, 11):
        one, two = (repr(random_ranch(seed).tables()) for _ in range(2))
        assert one == two


def test_a_valve_that_fits_in_one_set_is_not_split() -> None:
    case = case_of(12, pump="400 m3/h", days=7)
    table = plan_and_schedule(case.problem, case.calendar, case.benefit_model.dry_bar).timetable
    assert len(table.sets) == len({s.valve for s in table.sets})


def test_out_of_service_takes_a_valve_out_and_only_that() -> None:
    free = solve_milp(case_of(6, available="2 ML").problem).steps
    case = case_of(6, available="2 ML", out_of_service=["V1"])
    assert free[0] > 0
    assert solve_milp(case.problem).steps[0] == 0
    assert case.barred[0] == "out_of_service"
