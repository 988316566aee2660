"""The need of a valve zone, step by step, against arithmetic done by hand."""

import dataclasses
import datetime as dt
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.orchard import Orchard
from stressmap.core.settings import Water
from stressmap.core.unsure_sets import UnsureSets, with_unsure
from stressmap.water.crop_water_use import Climate, ReferenceEt
from stressmap.water.read_trees import ReadTrees
from stressmap.water.requirement import Requirement, RequirementFacts, requirements

VISIT_END, START = dt.date(2026, 7, 14), dt.date(2026, 7, 16)
NEXT = dt.date(2026, 7, 23)
ZONE = "America/Los_Angeles"
SEASON = {
    "season_target": [["05-01", -6.0], ["08-01", -14.0]],
    "stress_coefficient": [[0.0, 1.0], [9.0, 1.0]],
}
ORCHARD = Orchard(None, load_profiles({"prune": SEASON}, "ranch.toml"))
"""Prune on a season of the ranch's own in absolute figures, without weather, whose use does not fall with
stress: targets and depths are easily added up."""


def valve(**own: Any) -> pd.DataFrame:
    row = {
        "valve": "V1", "block": "B1", "crop": "prune", "area_ha": 4.0, "stress_bar": 2.0,
        "stress_se_bar": 0.5, "swp_bar": -14.0, "target_bar": -12.0, "baseline_bar": -8.0,
    }  # fmt: skip
    return pd.DataFrame([row | own])


def data(**own: Any) -> pd.DataFrame:
    row = {
        "valve": "V1", "block": "B1", "rate_mm_h": 1.5, "flow_m3_h": np.nan, "min_hours": np.nan,
        "max_hours": np.nan, "pump": None,
    }  # fmt: skip
    return pd.DataFrame([row | own])


def blocks(**own: Any) -> pd.DataFrame:
    row = {
        "block": "B1", "crop": "prune", "weight": 1.0, "irrigation": "drip", "soil": None, "harvest": None,
        "planted": 2000.0,
    }  # fmt: skip
    return pd.DataFrame([row | own])


def facts(log: pd.DataFrame | None = None, **water: Any) -> RequirementFacts:
    return RequirementFacts(
        water=Water.model_validate({"mm_per_bar": 10.0} | water),
        orchard=ORCHARD,
        rank_by="below_target",
        visit_end=VISIT_END,
        start=START,
        next_turn=NEXT,
        eto=ReferenceEt({}, 5.0, "set"),
        log=log,
    )


def sets(*rows: tuple[str, float]) -> pd.DataFrame:
    start = pd.DatetimeIndex([r[0] for r in rows]).tz_localize(ZONE)
    hours = pd.to_timedelta([r[1] for r in rows], unit="h")
    return pd.DataFrame({"valve": "V1", "start": start, "end": start + hours, "mm": np.nan})


def one(
    v: pd.DataFrame | None = None,
    d: pd.DataFrame | None = None,
    b: pd.DataFrame | None = None,
    f: RequirementFacts | None = None,
) -> Requirement:
    given = (
        valve() if v is None else v,
        data() if d is None else d,
        blocks() if b is None else b,
        facts() if f is None else f,
    )
    return requirements(*given)[0]


def test_stress_and_use_make_the_need() -> None:
    # Days 15 to 22 July, 0.90 x 5 mm each; the target goes down 8 bar in the 92 days from 1 May to 1 August.
    use, let_down = 8 * 0.90 * 5.0, 9 * 8 / 92
    found = one()
    assert found.etc_until_mm == pytest.approx(use)
    assert found.let_down_bar == pytest.approx(let_down)
    assert found.need_mm == pytest.approx(2.0 * 10 + use - 10 * let_down)
    assert found.end_bar == pytest.approx(found.need_mm / 10)
    spread = 1.6448536 * 0.5 * 10
    assert found.need_low_mm == pytest.approx(found.need_mm - spread, rel=1e-6)
    assert found.need_high_mm == pytest.approx(found.need_mm + spread, rel=1e-6)


def test_the_use_of_prunes_falls_with_stress_and_half_the_rain_is_counted() -> None:
    """Water loss halves within 5 to 6 bar of the line (docs/references.md): 5.5 in the profile."""
    built_in = Orchard(
        None, load_profiles({"prune": {"season_target": SEASON["season_target"]}}, "ranch.toml")
    )
    at_target = valve(swp_bar=-13.5, target_bar=-13.5, baseline_bar=-8.0, stress_bar=0.0)
    found = one(v=at_target, f=replace(facts(), orchard=built_in))
    assert found.etc_until_mm == pytest.approx(8 * 0.90 * 5.0 / 2)
    rain, ran = {dt.date(2026, 7, 12): 8.0}, facts(sets(("2026-07-10 06:00", 12.0)))
    dry, wet = (one(f=replace(ran, eto=ReferenceEt({}, 5.0, "set", rain_by_day=fell))) for fell in ({}, rain))
    coming = ReferenceEt({}, 5.0, "set", rain_by_day={dt.date(2026, 7, 15): 12.0})
    assert one(f=replace(facts(), eto=coming)).need_mm == pytest.approx(one().need_mm - 6.0)
    # 5 days of use from the end of the set to the end of the visit, less half of 8 mm
    assert (dry.etc_since_mm, wet.etc_since_mm) == pytest.approx((5 * 0.90 * 5.0, 5 * 0.90 * 5.0 - 4.0))


def test_a_tabulated_coefficient_is_fitted_to_wind_and_dry_air() -> None:
    # FAO Irrigation and Drainage Paper 56, Rome 1998, equation 62 (derived): in a wind of 3 m/s and a lowest
    # humidity of 25 % a crop of 3 m has 0.04 x 1 + 0.004 x 20 = 0.12 more.
    windy = replace(facts(), eto=ReferenceEt({}, 5.0, "set", Climate(3.0, 25.0)))
    found = one(f=windy)
    assert found.etc_until_mm == pytest.approx(8 * 1.02 * 5.0)
    assert "kc_fitted" in found.assumed
    assert "kc_table" not in found.assumed
    own = {"prune": {**SEASON, "crop_coefficient": {"points": [["01-01", 0.8], ["12-31", 0.8]]}}}
    theirs = one(f=replace(windy, orchard=Orchard(None, load_profiles(own, "ranch.toml"))))
    assert theirs.etc_until_mm == pytest.approx(8 * 0.8 * 5.0)
    assert not {"kc_fitted", "kc_table"} & set(theirs.assumed)


def test_the_field_gets_more_by_uniformity_or_efficiency_but_never_both() -> None:
    by_uniformity = one(f=facts(uniformity={"drip": 0.8}, efficiency={"drip": 0.5}))
    by_efficiency = one(f=facts(divide_by="efficiency", uniformity={"drip": 0.8}, efficiency={"drip": 0.5}))
    assert by_uniformity.hours_needed == pytest.approx(by_uniformity.need_mm / 0.8 / 1.5)
    assert by_efficiency.hours_needed == pytest.approx(by_efficiency.need_mm / 0.5 / 1.5)


def test_trees_wetter_than_the_target_use_up_their_store_first() -> None:
    wet = one(v=valve(swp_bar=-11.0, stress_bar=-1.0))
    assert wet.need_mm == pytest.approx(one().need_mm - 30.0)
    assert one(v=valve(swp_bar=-6.0, stress_bar=-6.0)).need_mm == 0.0


def test_water_that_ran_after_the_visit_counts() -> None:
    ran = one(f=facts(sets(("2026-07-15 20:00", 6.0)), uniformity={"drip": 0.9}))
    assert ran.given_mm == pytest.approx(6 * 1.5 * 0.9)
    assert ran.need_mm == pytest.approx(one().need_mm - ran.given_mm)


def test_the_book_of_all_sets_is_the_second_witness_within_the_interval_of_the_trees() -> None:
    # The book begins with the log on 20 June where the target lets trees stand, 4 bar or 40 mm below full;
    # 25 days of 4.5 mm, and 10 h x 1.5 mm/h x 0.95 ran. Weights by variance: trees 0.5 bar x 10 mm; book
    # 20 mm of its beginning, 15 % of use and 10 % of what ran.
    found = one(f=facts(sets(("2026-06-20 06:00", 10.0))))
    use, net = 25 * 0.90 * 5.0, 10 * 1.5 * 0.95
    assert found.etc_since_mm == pytest.approx(use)
    short_by_book = use - net
    book_variance = 20.0**2 + (0.15 * use) ** 2 + (0.10 * net) ** 2
    weight = 25.0 / (25.0 + book_variance)
    expected = (1 - weight) * 20.0 + weight * short_by_book
    assert found.short_mm == pytest.approx(expected)
    assert found.need_by_book_mm - found.need_by_trees_mm == pytest.approx(short_by_book - 20.0)
    assert found.inspect == ("witnesses_apart",)
    assert (found.stress_bar, found.dry_bar) == (2.0, pytest.approx(expected / 10))
    # trees read badly leave the book the say, but not past their interval
    wide = one(v=valve(stress_se_bar=1.0, stress_bar=2.0), f=facts(sets(("2026-06-20 06:00", 10.0))))
    assert 20.0 < found.short_mm < wide.short_mm <= (2.0 + 1.6448536) * 10
    assert "log" in wide.assumed
    # and trees at their target get no shortage from the log alone
    at_target = one(
        v=valve(swp_bar=-12.0, stress_bar=0.0, stress_se_bar=2.0), f=facts(sets(("2026-06-20 06:00", 1.0)))
    )
    assert at_target.short_mm == 0.0


def test_a_log_of_which_rows_could_not_be_used_leaves_the_need_to_the_trees() -> None:
    log = sets(("2026-06-20 06:00", 10.0))
    known = one(f=facts(log))
    for day, by_book in ((dt.date(2026, 7, 10), False), (None, False), (dt.date(2026, 6, 1), True)):
        found = one(f=facts(with_unsure(log.copy(), UnsureSets.of([("V1", day)]))))
        assert np.isfinite(found.need_by_book_mm) == by_book
        assert ("log_unread" in found.assumed) is not by_book
        assert (found.need_mm == known.need_mm) == by_book
        assert found.need_by_trees_mm == known.need_by_trees_mm


def test_a_short_set_is_no_full_refill() -> None:
    """One hour on 10 July brings 1.4 mm of the 100 and more that are missing: the book hardly moves."""
    long_ago = facts(sets(("2026-06-20 06:00", 10.0)))
    short_set = facts(sets(("2026-06-20 06:00", 10.0), ("2026-07-10 06:00", 1.0)))
    long_set = facts(sets(("2026-06-20 06:00", 10.0), ("2026-07-10 06:00", 24.0)))
    books = [one(f=f).need_by_book_mm for f in (long_ago, short_set, long_set)]
    assert books[0] - books[1] == pytest.approx(1.5 * 0.95)
    assert books[0] - books[2] == pytest.approx(24 * 1.5 * 0.95)


def test_every_millimetre_after_the_valves_own_reading_is_subtracted_by_the_minute() -> None:
    """A set of 24 h that begins an hour before the tree is read: 23 h of it ran after; so before, 1 h."""
    read = pd.Timestamp("2026-07-13 14:00", tz=ZONE)
    own = ReadTrees(at={"V1": read})
    dry = one(f=replace(facts(sets(("2026-05-01 06:00", 1.0))), read=own))
    ran = one(f=replace(facts(sets(("2026-05-01 06:00", 1.0), ("2026-07-13 13:00", 24.0))), read=own))
    assert ran.given_mm == pytest.approx(23 * 1.5 * 0.95)
    assert dry.need_by_trees_mm - ran.need_by_trees_mm == pytest.approx(23 * 1.5 * 0.95)
    assert dry.need_by_book_mm - ran.need_by_book_mm == pytest.approx(24 * 1.5 * 0.95)
    # the crop uses water from the day after that reading on: a day more than from the end of the visit
    assert ran.etc_until_mm == pytest.approx(9 * 0.90 * 5.0)


def test_without_a_figure_of_the_trees_the_book_alone_tells_the_need() -> None:
    nothing = valve(stress_bar=np.nan, stress_se_bar=np.nan, swp_bar=np.nan)
    found = one(v=nothing, f=facts(sets(("2026-06-20 06:00", 10.0))))
    assert found.short_mm == pytest.approx(25 * 0.90 * 5.0 - 10 * 1.5 * 0.95)
    assert np.isnan(found.need_by_trees_mm)


BLOCK_OF_FOUR = pd.concat(
    [
        valve(valve=f"V{k}", stress_bar=bar, swp_bar=-12.0 - bar)
        for k, bar in enumerate((4.2, 1.0, 1.2, 0.8), 1)
    ],
    ignore_index=True,
)


def of_block(f: RequirementFacts, **own: Any) -> list[Requirement]:
    rows = pd.concat([data(valve=name, **own) for name in BLOCK_OF_FOUR["valve"]], ignore_index=True)
    return requirements(BLOCK_OF_FOUR, rows, blocks(), f)


def test_a_valve_far_drier_than_its_block_is_looked_at_and_held_at_the_weeks_crop_use() -> None:
    """A dry filter or missed sets: not the largest dose, but a look; its flow measured, the dose is free."""
    held, *others = of_block(facts())
    assert held.inspect == ("drier_than_block",)
    assert held.need_mm > held.most_net_mm == pytest.approx(7 * 0.90 * 5.0)
    assert all(one.inspect == () and one.most_net_mm == pytest.approx(1.3 * 31.5) for one in others)
    looked = of_block(facts(), checked="2026-07-15")[0]
    assert (looked.inspect, looked.most_net_mm) == ((), pytest.approx(1.3 * 31.5))
    assert of_block(facts(), checked="2026-07-01")[0].inspect == ("drier_than_block",), "before the visit"
    two_days = replace(facts(), visit_begin=dt.date(2026, 7, 13))
    assert of_block(two_days, checked="2026-07-13")[0].inspect == (), "on the first day of the visit"
    assert of_block(two_days, checked="2026-07-12")[0].inspect == ("drier_than_block",)


def test_a_valve_that_ran_and_did_not_relieve_its_trees_is_looked_at() -> None:
    read = ReadTrees(before=dt.date(2026, 7, 7))
    ran = replace(facts(sets(("2026-07-09 06:00", 48.0))), read=read)
    # 7 days of 4.5 mm against 48 h x 1.5 mm/h x 0.95: 3.7 bar of relief by the book
    assert one(v=valve(change_bar=0.2, change_se_bar=0.7), f=ran).inspect[0] == "not_relieved"
    assert "not_relieved" not in one(v=valve(change_bar=-3.0, change_se_bar=0.7), f=ran).inspect
    assert "not_relieved" not in one(v=valve(change_bar=0.2, change_se_bar=0.7), f=facts()).inspect


def test_one_leaf_does_not_decide_on_a_large_dose() -> None:
    """At most 1.3 times the week's use, 1.5 with three trees read in it: common practice, no source."""
    dry = valve(stress_bar=9.0, swp_bar=-21.0)
    one_leaf = one(v=dry, f=replace(facts(), read=ReadTrees(by_valve={"V1": 1})))
    three = one(v=dry, f=replace(facts(), read=ReadTrees(by_valve={"V1": 3})))
    assert one_leaf.need_mm > 100.0
    assert (one_leaf.most_net_mm, three.most_net_mm) == pytest.approx((1.3 * 31.5, 1.5 * 31.5))


def test_a_block_of_two_trees_gets_an_order_and_no_amount_unless_asked() -> None:
    thin = ReadTrees(by_block={"B1": 2})
    assert one(f=replace(facts(), read=thin)).order_only
    assert not one(f=replace(facts(amounts_anyway=True), read=thin)).order_only
    assert not one(f=replace(facts(), read=ReadTrees(by_block={"B1": 3}))).order_only


def test_flow_goes_before_rate_and_says_where_they_differ() -> None:
    found = one(d=data(rate_mm_h=1.5, flow_m3_h=80.0))
    assert found.rate_mm_h == pytest.approx(2.0)
    assert "flow_not_rate" in found.assumed
    agreed = one(d=data(rate_mm_h=2.05, flow_m3_h=80.0))
    assert "flow_not_rate" not in agreed.assumed
    for rate, differs in ((9.0, False), (8.99, True), (11.0, False), (11.01, True)):
        edge = one(d=data(rate_mm_h=rate, flow_m3_h=400.0))
        assert ("flow_not_rate" in edge.assumed) == differs, "a tenth is let pass"


@pytest.mark.parametrize(
    ("system", "mm_h"), [("drip", 1.0), ("micro_sprinkler", 1.5), ("sprinkler", 3.0), ("flood", 10.0)]
)
def test_a_system_without_a_rate_gets_its_usual_one(system: str, mm_h: float) -> None:
    """Common practice, no source."""
    found = one(d=data(rate_mm_h=np.nan), b=blocks(irrigation=system))
    assert found.rate_mm_h == mm_h
    assert "rate" in found.assumed


def test_everything_assumed_is_told_beside_the_valve() -> None:
    bare = RequirementFacts(
        water=Water(), orchard=ORCHARD, rank_by="below_target", visit_end=VISIT_END,
        start=START, next_turn=NEXT, eto=ReferenceEt({}, 6.0, "assumed"), log=None,
    )  # fmt: skip
    found = one(d=data(rate_mm_h=np.nan), b=blocks(irrigation=None), f=bare)
    assert set(found.assumed) == {
        "soil",
        "harvest",
        "mm_per_bar",
        "system",
        "uniformity",
        "rate",
        "no_log",
        "eto",
        "max_hours",
        "kc_table",
    }
    told = one(b=blocks(soil="clay loam"), f=facts(uniformity={"drip": 0.9}))
    assert set(told.assumed) == {"no_log", "max_hours", "kc_table", "harvest"}
    known = one(b=blocks(soil="clay loam", harvest="08-20"), f=facts(uniformity={"drip": 0.9}))
    assert "harvest" not in known.assumed


def test_the_root_zone_cannot_be_short_of_more_than_it_holds() -> None:
    """Sand, roots of 1.0 m, 0.35 of the ground wetted by drip; and what the crop uses in the plan's days: on
    the day between reading and plan an empty root zone gives nothing.
    """
    sandy = one(v=valve(swp_bar=-60.0, stress_bar=48.0), b=blocks(soil="sand"), f=facts(mm_per_bar=None))
    later = 7 * 0.90 * 5.0 - sandy.mm_per_bar * sandy.let_down_bar
    assert sandy.need_mm == pytest.approx(0.35 * 1.0 * 25.4 / 0.3048 + later)


@pytest.mark.parametrize(("system", "mm"), [("drip", 28.0), ("micro_sprinkler", 47.0), ("flood", 79.0)])
def test_a_set_brings_no_more_than_the_wetted_root_zone_takes(system: str, mm: float) -> None:
    """Loam: 158 mm/m (docs/references.md) x 1.0 m x 0.50 x wetted share 0.35, 0.60, 1.0: FAO Irrigation and
    Drainage Paper 56, 1998, tables 22 and 20 (from memory).
    """
    assert one(b=blocks(irrigation=system, soil="loam")).most_net_mm_a_set == pytest.approx(mm, abs=0.6)
    told = one(b=blocks(irrigation=system, soil="loam", wetted_share=0.5))
    assert told.most_net_mm_a_set == pytest.approx(39.6, abs=0.3)


def test_a_crop_without_a_target_counts_from_its_first_edge() -> None:
    found = one(v=valve(target_bar=np.nan, stress_bar=9.0), f=facts())
    assert "target" in found.assumed
    assert found.dry_bar == pytest.approx(9.0)
    # or from the first edge of the map's own settings: 9 - 1.5
    own = dataclasses.replace(facts(), edges_bar=(1.5, 3.0, 5.5))
    found = one(v=valve(target_bar=np.nan, stress_bar=9.0), f=own)
    assert found.dry_bar == pytest.approx(7.5)


def test_the_last_water_before_harvest_and_light_sets_of_dry_prune() -> None:
    """Prune 7 to 14 days before harvest; end cracking in June and July (docs/references.md, read)."""
    late = one(b=blocks(harvest="08-20"))
    assert late.cut_off == dt.date(2026, 8, 13)
    usual, dry = one(), one(v=valve(stress_bar=4.5, swp_bar=-16.5))
    assert dry.most_net_mm_a_set == pytest.approx(usual.most_net_mm_a_set / 2)
    young = one(b=blocks(planted=2025.0))
    assert young.most_net_mm_a_set == pytest.approx(usual.most_net_mm_a_set * 0.38 / 0.90)


def test_a_valve_at_which_trouble_was_reported_is_looked_at_first_and_held_to_what_the_crop_uses() -> None:
    reported = dataclasses.replace(facts(), troubles=frozenset({"V1"}))
    plain, looked = (requirements(valve(), data(), blocks(), told)[0] for told in (facts(), reported))
    assert (plain.inspect, looked.inspect) == ((), ("trouble_reported",))
    assert looked.most_net_mm <= looked.daily_use_mm * (NEXT - START).days + 1e-9
    elsewhere = dataclasses.replace(facts(), troubles=frozenset({"V2"}))
    assert requirements(valve(), data(), blocks(), elsewhere)[0].inspect == ()
