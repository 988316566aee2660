"""One volume between ranches: optimum by other solvers, floors, equal shares, no curve."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, linprog, minimize

from stressmap.core.arrays import Floats
from stressmap.water.equal_marginal import allocate, concave_hull, fill_evenly
from stressmap.water.shared_volume import RanchCurve, share_volume

Curves = list[tuple[Floats, Floats]]


def drawn(seed: int, ranches: int, points: int = 9) -> Curves:
    """Concave curves of their own lengths: widths at random, marginal benefits falling."""
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(ranches):
        widths = rng.uniform(50.0, 900.0, points)
        slopes = np.sort(rng.exponential(1.0, points))[::-1]
        made.append((np.r_[0.0, np.cumsum(widths)], np.r_[0.0, np.cumsum(widths * slopes)]))
    return made


def total(curves: Curves, shares: Floats) -> float:
    return sum(float(np.interp(x, *curve)) for x, curve in zip(shares, curves, strict=True))


def by_linear_program(curves: Curves, volume: float, least: Floats) -> float:
    """The same optimum by HiGHS: a variable a segment, one row for the volume, a row a floor."""
    owner = np.concatenate([np.full(len(a) - 1, i) for i, (a, _) in enumerate(curves)])
    widths = np.concatenate([np.diff(a) for a, _ in curves])
    slopes = np.concatenate([np.diff(b) / np.diff(a) for a, b in curves])
    floors = -np.array([owner == i for i in range(len(curves))], dtype=float)
    rows, bounds = np.vstack([np.ones_like(widths), floors]), np.r_[volume, -least]
    found = linprog(-slopes, A_ub=rows, b_ub=bounds, bounds=np.c_[np.zeros_like(widths), widths])
    assert found.status == 0
    return -float(found.fun)


@pytest.mark.parametrize("seed", range(12))
def test_no_linear_program_finds_more(seed: int) -> None:
    rng = np.random.default_rng(900 + seed)
    curves = drawn(seed, ranches=int(rng.integers(2, 12)))
    needs = np.array([a[-1] for a, _ in curves])
    least = rng.uniform(0.0, 0.5) * needs * rng.integers(0, 2, len(needs))
    volume = least.sum() + rng.uniform(0.05, 0.9) * (needs - least).sum()
    shares, _ = allocate(curves, volume, least)
    assert shares.sum() == pytest.approx(volume)
    assert (shares >= least - 1e-9).all()
    assert (shares <= needs + 1e-9).all()
    assert total(curves, shares) == pytest.approx(by_linear_program(curves, volume, least), rel=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_who_is_held_by_nothing_has_the_marginal_benefit_of_all(seed: int) -> None:
    """The conditions of an optimum (Karush-Kuhn-Tucker), each ranch's slopes read beside its share."""
    curves = drawn(100 + seed, ranches=6)
    least = np.array([0.3 * a[-1] if i % 2 else 0.0 for i, (a, _) in enumerate(curves)])
    shares, marginal = allocate(curves, 0.55 * sum(a[-1] for a, _ in curves), least)
    for i, (amounts, benefit) in enumerate(curves):
        slopes = np.diff(benefit) / np.diff(amounts)
        after = slopes[amounts[1:] > shares[i] + 1e-6]
        before = slopes[amounts[:-1] < shares[i] - 1e-6]
        if len(after):
            assert after[0] <= marginal + 1e-9, "one more cubic metre would bring more here"
        if shares[i] > least[i] + 1e-6:
            assert before[-1] >= marginal - 1e-9, "the last cubic metre would bring more elsewhere"


def test_smooth_curves_are_shared_as_a_solver_for_smooth_problems_shares_them() -> None:
    rng = np.random.default_rng(4)
    high, need = rng.uniform(2.0, 9.0, 5), rng.uniform(40.0, 160.0, 5)
    least, volume = 0.2 * need, 0.6 * float(need.sum())

    def benefit(x: Floats) -> Floats:
        return np.asarray(high * x * (1.0 - 0.5 * x / need))

    found = minimize(
        lambda x: -benefit(x).sum(),
        least,
        jac=lambda x: -high * (1.0 - x / need),
        method="SLSQP",
        bounds=list(zip(least, need, strict=True)),
        constraints=LinearConstraint(np.ones((1, 5)), -np.inf, volume),
        options={"ftol": 1e-12},
    )
    assert found.success
    grid = np.linspace(0.0, 1.0, 4001)
    curves = [(g * grid, h * g * grid * (1.0 - 0.5 * grid)) for g, h in zip(need, high, strict=True)]
    shares, _ = allocate(curves, volume, least)
    assert shares == pytest.approx(found.x, abs=0.05)
    inner = (found.x > least + 0.1) & (found.x < need - 0.1)
    assert np.ptp((high * (1.0 - shares / need))[inner]) < 0.01


def test_canal_of_four_units_between_three_crops() -> None:
    """Water Resources Planning and Management, lecture M4L3, "Dynamic Programming and Applications: Water
    Allocation II", numerical problem: net benefits 5x - 0.5x2, 8x - 1.5x2, 7x - x2, four units in whole ones.
    The functions, four units and one unit for crop 1 were read at second hand; that the others get one and
    two units, and 21 in all, follows from listing every division.
    """
    x = np.arange(5.0)
    curves = [(x[:p], (a * x - b * x**2)[:p]) for a, b, p in ((5, 0.5, 5), (8, 1.5, 3), (7, 1, 4))]
    shares, marginal = allocate(curves, 4.0, np.zeros(3))
    assert shares.tolist() == [1.0, 1.0, 2.0]
    assert total(curves, shares) == 21.0
    assert marginal == pytest.approx(4.0)


def test_hull_is_concave_and_nowhere_below() -> None:
    rng = np.random.default_rng(11)
    amounts = np.r_[0.0, np.cumsum(rng.uniform(1.0, 3.0, 30))]
    benefit = np.r_[0.0, np.cumsum(rng.exponential(1.0, 30))]
    corners, heights = concave_hull(amounts, benefit)
    slopes = np.diff(heights) / np.diff(corners)
    assert all(a > b for a, b in pairwise(slopes))
    assert (np.interp(amounts, corners, heights) >= benefit - 1e-9).all()
    assert set(corners) <= set(amounts)
    assert (corners[0], corners[-1]) == (amounts[0], amounts[-1])


def ranch(slug: str, need: float, per_m3: float, area: float, past: float = 0.0) -> RanchCurve:
    amounts = np.linspace(0.0, need, 41)
    relieved = per_m3 * amounts * (1.0 - 0.5 * amounts / need)
    return RanchCurve(slug, slug.title(), area, need, amounts, relieved, past * np.minimum(amounts, need / 4))


def test_the_plan_relieves_more_than_either_equal_share() -> None:
    curves = [
        ranch("dry", 9000.0, 4.0, 20.0),
        ranch("wet", 6000.0, 1.0, 40.0),
        ranch("mid", 8000.0, 2.0, 25.0),
    ]
    shared = share_volume(curves, 9_000.0)
    relieved = shared.table[["benefit", "equal_benefit", "need_benefit"]].sum()
    assert relieved.idxmax() == "benefit"
    assert shared.table["why"].tolist() == ["even", "nothing", "even"]
    for name in ("share_m3", "equal_share_m3", "need_share_m3"):
        assert shared.table[name].sum() == pytest.approx(9_000.0)
    assert shared.left_m3 == 0.0


def test_trees_past_their_limit_come_first_on_whatever_ranch() -> None:
    """No bar-day within the limit is bought with one beyond it, as inside one ranch."""
    curves = [ranch("rich", 9000.0, 40.0, 20.0), ranch("harmed", 8000.0, 0.5, 20.0, past=0.2)]
    shared = share_volume(curves, 3000.0)
    assert shared.share_of("harmed") == pytest.approx(2000.0)
    assert shared.table["past_limit"].sum() == pytest.approx(0.2 * 2000.0)


def test_a_floor_holds_and_is_named() -> None:
    curves = [ranch("dry", 9000.0, 4.0, 20.0), ranch("wet", 6000.0, 0.1, 40.0)]
    shared = share_volume(curves, 8000.0, 0.4)
    assert shared.table["floor_m3"].tolist() == pytest.approx([3600.0, 2400.0])
    assert shared.share_of("wet") == pytest.approx(2400.0)
    assert shared.table["why"].tolist() == ["even", "floor"]


def test_floors_beyond_the_volume_shrink_alike() -> None:
    curves = [ranch("a", 9000.0, 4.0, 20.0), ranch("b", 6000.0, 1.0, 40.0)]
    shared = share_volume(curves, 6000.0, 0.8)
    assert shared.floors_kept == pytest.approx(0.5)
    assert shared.table["share_m3"].tolist() == pytest.approx([3600.0, 2400.0])


def test_more_than_all_can_use_is_left() -> None:
    shared = share_volume([ranch("a", 900.0, 4.0, 20.0), ranch("b", 600.0, 1.0, 40.0)], 2000.0, 0.2)
    assert shared.table["share_m3"].tolist() == pytest.approx([900.0, 600.0])
    assert shared.table["why"].tolist() == ["need", "need"]
    assert (shared.left_m3, shared.marginal) == (pytest.approx(500.0), 0.0)


def test_a_ranch_without_amounts_gets_the_same_depth_as_all() -> None:
    blind = RanchCurve("new", "New", 30.0, float("nan"), why="few_trees")
    shared = share_volume([ranch("a", 9000.0, 4.0, 20.0), ranch("b", 9000.0, 1.0, 10.0), blind], 6000.0, 0.1)
    row = shared.table.set_index("slug").loc["new"]
    assert row["share_m3"] == row["equal_share_m3"] == pytest.approx(3000.0)
    assert row["why"] == "few_trees"
    assert np.isnan(row["benefit"])
    assert shared.table["share_m3"].sum() == pytest.approx(6000.0)


def test_a_ranch_that_failed_gets_nothing_and_says_so() -> None:
    failed = RanchCurve("lost", "Lost", 0.0, float("nan"), why="failed")
    shared = share_volume([failed, ranch("a", 9000.0, 4.0, 20.0)], 5000.0)
    assert shared.table["share_m3"].tolist() == pytest.approx([0.0, 5000.0])
    assert shared.table["why"].tolist() == ["failed", "even"]


def in_sets(slug: str, sets: list[float], relieved: list[float]) -> RanchCurve:
    """A flooded ranch: whole sets or nothing."""
    amounts = np.array([0.0, *sets])
    gaps = tuple(pairwise(amounts.tolist()))
    return RanchCurve(
        slug, slug, 10.0, sets[-1], amounts, np.array([0.0, *relieved]), np.zeros(len(amounts)), gaps=gaps
    )


def test_no_water_is_left_between_two_whole_sets() -> None:
    flooded = in_sets("flooded", [1000.0, 2000.0], [900.0, 1500.0])
    shared = share_volume([flooded, ranch("drip", 3000.0, 0.8, 10.0)], 1800.0)
    assert shared.table["share_m3"].tolist() == pytest.approx([1000.0, 800.0])
    assert shared.table["why"].tolist() == ["sets", "even"]
    assert flooded.benefit_at(1999.0) == flooded.benefit_at(1000.0) == 900.0
    alone = share_volume([flooded], 900.0)
    assert alone.table[["share_m3", "benefit"]].to_numpy().tolist() == [[0.0, 0.0]]


@pytest.mark.parametrize("seed", range(6))
def test_whole_sets_are_shared_nearly_as_well_as_can_be(seed: int) -> None:
    """Against every combination of whole sets on four ranches."""
    rng = np.random.default_rng(500 + seed)
    curves = []
    for i in range(4):
        sets, slopes = np.cumsum(rng.uniform(300.0, 900.0, 4)), np.sort(rng.exponential(1.0, 4))[::-1]
        curves.append(in_sets(str(i), sets.tolist(), np.cumsum(np.diff(np.r_[0, sets]) * slopes).tolist()))
    volume = 0.5 * sum(one.need_m3 for one in curves)
    best = max(
        sum(one.benefit[k] for one, k in zip(curves, chosen, strict=True))
        for chosen in product(range(5), repeat=4)
        if sum(one.amounts_m3[k] for one, k in zip(curves, chosen, strict=True)) <= volume
    )
    shared = share_volume(curves, volume)
    assert all(one.gap_at(m3) is None for one, m3 in zip(curves, shared.table["share_m3"], strict=True))
    assert shared.table["share_m3"].sum() <= volume * (1 + 1e-9)
    assert 0.93 * best <= shared.table["benefit"].sum() <= best * (1 + 1e-9)


def test_what_is_over_at_one_goes_round_to_the_others() -> None:
    assert fill_evenly(np.ones(3), np.array([1.0, 3.0, 9.0]), 9.0).tolist() == [1.0, 3.0, 5.0]
    assert fill_evenly(np.ones(2), np.array([1.0, 2.0]), 9.0).tolist() == [1.0, 2.0]
