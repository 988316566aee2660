"""Pieces of the water plan on their own: soil, systems, use, benefit, hours and rows of the relaxation."""

from __future__ import annotations

import datetime as dt
from itertools import combinations
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from stressmap.agronomy.crops import load_profiles
from stressmap.water import benefit, capacity_constraints, irrigation_system, root_zone
from stressmap.water.calendar import calendar
from stressmap.water.crop_water_use import Climate, ReferenceEt, crop_use_mm, reference

UTC = ZoneInfo("UTC")
DAY = dt.date(2026, 7, 16)


@pytest.mark.parametrize(
    ("soil", "texture", "mm_per_m"),
    [
        ("Loam", "loam", 1.9 / 12 * 1000),
        ("franco arcilloso", "clay loam", 2.125 / 12 * 1000),
        ("Arena", "sand", 1.0 / 12 * 1000),
        ("clay", "clay", 2.05 / 12 * 1000),
    ],
)
def test_a_soil_holds_the_middle_of_its_published_range(soil: str, texture: str, mm_per_m: float) -> None:
    """Inches in a foot are twelfths: the range's middle by twelve, of a metre."""
    assert root_zone.texture_class(soil) == texture
    assert root_zone.available_mm_per_m(texture) == pytest.approx(mm_per_m)
    assert root_zone.texture_class("moon dust") is None


@pytest.mark.parametrize(
    ("p_table", "etc", "p"),
    [(0.5, 5.0, 0.5), (0.5, 8.0, 0.38), (0.5, 2.0, 0.62), (0.7, 0.0, 0.8), (0.2, 9.0, 0.1)],
)
def test_the_depletion_fraction_follows_the_days_use(p_table: float, etc: float, p: float) -> None:
    """FAO-56 table 22, footnote 2: p + 0.04 (5 - ETc), within 0.1 and 0.8 (from memory, cross-checked)."""
    assert root_zone.depletion_fraction(p_table, etc) == pytest.approx(p)


def test_a_bar_of_stress_is_its_share_of_the_readily_available_water() -> None:
    crop = load_profiles({}, "ranch.toml")["prune"]
    found = root_zone.root_zone("loam", crop, 6.0, root_depth_m=1.2)
    assert found.capacity_mm == pytest.approx(1.9 / 12 * 1200)
    fraction = crop.roots.depletion_fraction - 0.04
    assert crop.edges.below_baseline is not None
    assert found.mm_per_bar == pytest.approx(fraction * 1.9 / 12 * 1200 / crop.edges.below_baseline[2])
    drip = root_zone.root_zone("loam", crop, 4.0, wetted_share=0.35)
    assert drip.capacity_mm == pytest.approx(0.35 * 1.9 / 12 * 1000 * crop.roots.depth_m)


@pytest.mark.parametrize(
    ("crop", "etc", "low", "high"), [("walnut", 8.0, 14.0, 20.0), ("almond", 8.5, 6.0, 7.0)]
)
def test_water_per_bar_is_within_a_factor_of_two_of_published_courses(
    crop: str, etc: float, low: float, high: float
) -> None:
    """Walnut 3 to 4 bar in a cycle of 55 to 60 mm (Interpretation for the Beginner, extension manual on stem
    water potential, read; the interval assumed); almond 13 bar in the second ten days without water
    (Irrigation Science 19:125-131, 2000, conference abstract, read)."""
    profile = load_profiles({}, "ranch.toml")[crop]
    for wetted in (0.35, 0.6, 1.0):
        found = root_zone.root_zone("loam", profile, etc, wetted_share=wetted).mm_per_bar
        assert low / 2 <= found <= high * 2


def test_low_quarter_uniformity_is_the_driest_quarter_over_the_mean() -> None:
    assert irrigation_system.low_quarter_uniformity([4, 8, 8, 12, 8, 6, 8, 10]) == pytest.approx(5.0 / 8.0)
    assert irrigation_system.low_quarter_uniformity([1, 2, 2, 3]) == pytest.approx(0.5)
    for bad in ([1.0, 2.0, 3.0], [0.0] * 8):
        with pytest.raises(ValueError, match="at least four figures"):
            irrigation_system.low_quarter_uniformity(bad)


def test_coming_days_get_the_mean_of_the_last_seven_known_before() -> None:
    """Eight days of 1 to 8 mm and one after: the last seven before are 2 to 8, mean 5."""
    known = {DAY - dt.timedelta(days=9 - k): float(k) for k in range(1, 9)} | {DAY: 99.0}
    found = reference(known, before=DAY)
    assert (found.other_mm, found.source) == (5.0, "weather")
    assert found.on(DAY) == 99.0
    assert found.on(DAY + dt.timedelta(days=3)) == 5.0
    assert reference(known, before=DAY, set_mm=7.5).other_mm == 7.5
    assert reference({DAY: 4.0}, before=DAY).source == "assumed"


def test_a_crop_uses_its_coefficient_of_each_day_from_the_first_to_before_the_last() -> None:
    """Prune from 20 May to 27 September has 0.90 (FAO-56 table 12, stone fruit, mid-season)."""
    prune = load_profiles({}, "ranch.toml")["prune"]
    eto = ReferenceEt({DAY: 8.0}, 5.0, "weather")
    assert crop_use_mm(prune, eto, DAY, DAY + dt.timedelta(days=3)) == pytest.approx(0.9 * (8 + 5 + 5))
    assert crop_use_mm(prune, eto, DAY, DAY) == 0.0
    assert crop_use_mm(prune, eto, DAY, DAY - dt.timedelta(days=2)) == 0.0
    cherry = load_profiles({"cherry": {}}, "ranch.toml")["cherry"]
    assert crop_use_mm(cherry, eto, DAY, DAY + dt.timedelta(days=1)) == 8.0


def test_a_dry_windy_place_raises_mid_season_and_leaves_the_start() -> None:
    """FAO-56 equation 62 for 3 m trees at 4 m/s and 25 %: 0.90 + 0.08 + 0.08; the first coefficient stays."""
    prune = load_profiles({}, "ranch.toml")["prune"]
    eto = ReferenceEt({}, 10.0, "weather", Climate(4.0, 25.0))
    assert crop_use_mm(prune, eto, DAY, DAY + dt.timedelta(days=1)) == pytest.approx(10.6)
    march = dt.date(2026, 3, 10)
    assert crop_use_mm(prune, eto, march, march + dt.timedelta(days=1)) == pytest.approx(4.5)
    own = {"crop_coefficient": {"points": [["05-01", 0.8], ["09-01", 0.8]]}}
    ranch = load_profiles({"prune": own}, "ranch.toml")["prune"]
    assert crop_use_mm(ranch, eto, DAY, DAY + dt.timedelta(days=1)) == pytest.approx(8.0)


@pytest.mark.parametrize(("mean", "se"), [(2.0, 0.5), (-1.0, 1.5), (0.0, 2.0), (3.0, 0.0), (-2.0, 0.0)])
def test_what_is_beyond_is_the_expected_excess(mean: float, se: float) -> None:
    expected = max(mean, 0.0)
    if se:
        density = norm(mean, se).pdf
        expected = quad(lambda x: x * density(x), 0.0, max(mean, 0) + 12 * se)[0]
    assert float(benefit.expected_excess(mean, se)) == pytest.approx(expected, abs=1e-9)


def model() -> benefit.BenefitModel:
    three = (np.array([3.0, 1.0, 2.0]), np.array([0.5, 0.0, 1.0]), np.array([0.5, 0.0, 1.0]))
    return benefit.BenefitModel(
        *three, mm_per_bar=np.array([10.0, 12.0, 8.0]), need_mm=np.array([30.0, 12.0, 16.0]),
        weight=np.array([2.0, 1.0, 0.5]), limit_bar=np.array([2.0, np.inf, np.inf]),
        limit_weight=np.array([4.0, 1.0, 1.0]), days=3,
    )  # fmt: skip


def test_bar_days_are_summed_over_the_days_by_hand() -> None:
    """Without error: 2, 2.5, 3 bar; 15 mm at 10 a bar leave 0.5, 1, 1.5: 4.5 bar-days of 7.5, weight 2.

    Beyond 2 bar are 0, 0.5, 1: 1.5 bar-days, weight 4, all of them gone with 10 mm or more.
    """
    sure = model().with_known_stress(np.array([3.0, 1.0, -1.0]))
    assert sure.course_bar[:, 0].tolist() == [2.0, 2.5, 3.0]
    assert sure.bar_days([15.0, 6.0, 9.0]).tolist() == pytest.approx([4.5, 1.5, 0.0])
    assert sure.benefit([15.0, 6.0, 9.0]).tolist() == pytest.approx([9.0, 1.5, 0.0])
    assert sure.past_limit([15.0, 6.0, 9.0]).tolist() == pytest.approx([6.0, 0.0, 0.0])
    assert sure.past_limit([5.0, 6.0, 9.0]).tolist() == pytest.approx([4.0, 0.0, 0.0])
    assert sure.merit([5.0, 0.0, 0.0])[0] == pytest.approx(2.0 * 1.5 + benefit.FIRST * 4.0)
    assert sure.need_mm.tolist() == [30.0, 12.0, 0.0]


def test_what_steps_bring_adds_up_to_what_all_of_them_bring() -> None:
    made, top = model(), np.array([30.0, 40.0, 8.0])
    steps = made.marginal_merits(top, 5)
    assert steps.sum(axis=1) == pytest.approx(made.merit(top))
    assert (np.diff(steps, axis=1) <= 1e-9).all(), "each step brings less than the one before"


def test_a_curve_meets_the_benefit_at_its_points() -> None:
    per_step = np.array([2.0, 1.5, 0.5])
    short, long, none = benefit.benefit_curves(model(), per_step, np.array([10, 40, 0]))
    assert short.steps.tolist() == list(range(11))
    assert (long.steps[0], long.steps[-1], len(long.steps)) == (0, 40, 17)
    assert none.steps.tolist() == [0]
    for i, curve in enumerate((short, long)):
        for step, value, beyond in zip(curve.steps, curve.value, curve.past_limit, strict=True):
            depth = np.full(3, step * per_step[i])
            assert value == pytest.approx(model().benefit(depth)[i])
            assert beyond == pytest.approx(model().past_limit(depth)[i])
    assert short.value_at(2.5) == pytest.approx((short.value[2] + short.value[3]) / 2)


class Problem(SimpleNamespace):
    def __len__(self) -> int:
        return len(self.flow_m3_h)


@pytest.mark.parametrize("seed", range(8))
def test_no_row_forbids_what_a_pump_can_run(seed: int) -> None:
    """Every set of valves that fits on the pump at once, held against every cover."""
    rng = np.random.default_rng(seed)
    share = np.where(rng.random(9) < 0.8, rng.choice([0.2, 1 / 3, 0.34, 0.5, 0.51, 0.7, 1.0], 9), 0.0)
    groups = capacity_constraints._cover_groups(share)
    mine = np.flatnonzero(share)
    fitting = [
        list(run)
        for n in range(len(mine) + 1)
        for run in combinations(mine, n)
        if share[list(run)].sum() <= 1 + 1e-9
    ]
    for at_once, group in groups:
        assert group.sum() > at_once, "a row that forbids nothing is left out"
        assert max(group[run].sum() for run in fitting) <= at_once
    for a, b in combinations(mine, 2):
        if share[a] + share[b] > 1 + 1e-9:
            assert any(k == 1 and group[a] and group[b] for k, group in groups), "every clash has a row"


def test_rows_of_steps_are_volume_then_pumps_then_covers() -> None:
    flows = np.array([60.0, 70.0, 30.0, 50.0])
    made = Problem(
        flow_m3_h=flows, pump_draw=flows,
        pump=np.array([0, 0, 0, 1]), capacity_m3_h=np.array([100.0, np.inf]),
        volume_m3=5000.0, step_hours=0.5, hours_steps=48, windows=(20, 28),
        source=np.full(4, -1), source_m3=np.zeros(0),
    )  # fmt: skip
    rows = capacity_constraints.step_constraints(made).toarray()
    assert rows[0] == pytest.approx(flows * 0.5 / 5000.0)
    assert rows[1] == pytest.approx(np.array([0.6, 0.7, 0.3, 0.0]) / 48)
    assert rows[2] == pytest.approx(np.array([1.0, 1.0, 0.0, 0.0]) / 48)
    free = Problem(**(vars(made) | {"volume_m3": np.inf, "capacity_m3_h": np.array([np.inf, np.inf])}))
    assert capacity_constraints.step_constraints(free).shape == (0, 4)
    long = capacity_constraints.long_set_constraints(made, np.array([0, 1, 2]), np.array([15.0, 14.0, 20.0]))
    assert long.shape[0] >= 1
    assert long.toarray()[:, 1].max() == 0.0, "half the longest window is not long"
    assert long.toarray()[0, 0] == pytest.approx(0.5), "one at once in two windows"


def test_crew_and_water_meet_at_the_ends_of_both() -> None:
    """Water from 6 to 18, crew from 8 to 16, one day, half-hour steps: sets of 8 hours, 16 steps."""
    made = calendar(DAY, 1, UTC, hours=(dt.time(6), dt.time(18)), crew=(dt.time(8), dt.time(16)))
    assert made.clock(made.windows[0][0]) == made.clock(0) + dt.timedelta(hours=8)
    assert (made.steps, made.set_lengths) == (16, ((1, 16),))
    first = int(np.flatnonzero(made.can_start(made.cells_per_step))[0])
    assert made.clock(first).hour == 8
    assert not made.can_start(17 * made.cells_per_step).any()


def test_a_night_is_one_window_and_so_are_days_on_end() -> None:
    """Water from 20 to 6 over two nights; all day over two days; and from 6:10 to 9:25."""
    made = calendar(DAY, 2, UTC, hours=(dt.time(20), dt.time(6)))
    assert [(b - a) * made.cell_minutes for a, b in made.windows] == [600, 600]
    assert (made.clock(made.windows[0][0]).hour, made.clock(made.windows[1][1]).hour) == (20, 6)
    assert made.steps == 40
    whole = calendar(DAY, 2, UTC)
    assert (whole.steps, len(whole.windows)) == (96, 1)
    odd = calendar(DAY, 1, UTC, hours=(dt.time(6, 10), dt.time(9, 25)), step_hours=0.75)
    assert (odd.cell_minutes, odd.cells_per_step, odd.steps) == (5, 9, 4)


def test_the_night_of_a_clock_change_is_an_hour_longer() -> None:
    """1 November 2026, clocks go back at 2: from 20:00 to 6:00 are eleven hours."""
    zone = ZoneInfo("America/Los_Angeles")
    made = calendar(dt.date(2026, 10, 31), 1, zone, hours=(dt.time(20), dt.time(6)))
    (window,) = made.windows
    assert (window[1] - window[0]) * made.cell_minutes == 660
    assert [made.clock(cell).hour for cell in window] == [20, 6]
