"""What trees lack goes on from an old reading to the plan by the running book, and has a bottom."""

from __future__ import annotations

import pytest
from helpers.planned_ranch import Ranch
from helpers.water_cases import need

from stressmap.agronomy.crops import load_profiles
from stressmap.water.requirement import Requirement
from stressmap.water.root_zone import root_zone

HELD_MM = (1.5 + 2.3) / 2 / 12 * 1000 * 1.0 * 0.35
"""Loam: 1.50 to 2.30 in/ft ("Soil Characteristics", university pages, read); 1 m of roots, 0.35 wetted."""


def almonds(days_before: int, dry_bar: float = 2.0, **water: float) -> Requirement:
    ranch = Ranch(amounts_anyway=True, **water).block("A", "almond", dry_bar)
    ranch.days_before = days_before
    return ranch.needs()[0]


def roots_m() -> float:
    return load_profiles({}, "ranch.toml")["almond"].roots.depth_m


@pytest.mark.parametrize("days_before", [10, 18, 60])
def test_a_root_zone_lacks_no_more_than_it_holds_when_the_plan_begins(days_before: int) -> None:
    """Once almonds read 18 days before were to lack 244 mm of a root zone that holds 55, at -50 bar.

    From the plan's first day on they are given what seven days use at most: Kc x 7 mm a day.
    """
    found = almonds(days_before)
    week = 7 * found.daily_use_mm
    assert found.need_mm <= HELD_MM * roots_m() + 1.02 * week
    assert found.unmet_mm > 0.0
    assert "root_zone_empty" in found.assumed
    assert found.target_end_bar - found.end_bar >= -40.0


def test_the_day_before_nothing_is_cut() -> None:
    found = almonds(1)
    assert found.unmet_mm == 0.0
    assert "root_zone_empty" not in found.assumed
    assert found.need_mm == pytest.approx(
        2.0 * found.mm_per_bar + found.etc_until_mm - found.let_down_bar * found.mm_per_bar
    )


def test_stress_slows_the_use_of_the_days_between() -> None:
    """Prune at 5.5 bar below fully watered uses half (FAO Paper 56, equation 81, read off the trees); drier
    trees use less than those held at their target, whose use is what is counted.
    """

    def carried(dry: float) -> float:
        ranch = Ranch(amounts_anyway=True, mm_per_bar=20.0).block("P", "prune", dry)
        ranch.days_before = 6
        return ranch.needs()[0].unmet_mm

    assert 0.0 <= carried(0.0) < carried(3.0) < carried(6.0)


def test_no_course_goes_below_what_trees_give_to_read() -> None:
    driest = need(0, dry_bar=10.0, etc_until_mm=600.0, mm_per_bar=15.0, target_end_bar=-13.0)
    assert driest.end_bar == pytest.approx(27.0)  # -40 bar
    drier = need(0, dry_bar=30.0, etc_until_mm=600.0, mm_per_bar=15.0, target_end_bar=-13.0)
    assert drier.end_bar == pytest.approx(30.0)  # read at -43 bar: as read
    unknown = need(0, dry_bar=10.0, etc_until_mm=600.0, target_end_bar=float("nan"))
    assert unknown.end_bar == pytest.approx(10.0 - 0.5 + 600.0 / 15.0)


def test_the_loam_of_drip_holds_what_the_bound_is_taken_from() -> None:
    almond = load_profiles({}, "ranch.toml")["almond"]
    held = root_zone("loam", almond, 5.0, wetted_share=0.35).capacity_mm
    assert held == pytest.approx(HELD_MM * roots_m())
