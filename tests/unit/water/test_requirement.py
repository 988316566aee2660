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
from stressmap.water.crop_water_use import Climate, ReferenceEt
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


def test_the_log_raises_the_need_but_not_over_the_interval() -> None:
    # Since 20 June: 25 days x 4.5 mm; the target allows 4 bar, 40 mm of it.
    since = 25 * 0.90 * 5.0
    raised = one(f=facts(sets(("2026-06-20 06:00", 10.0))))
    assert raised.etc_since_mm == pytest.approx(since)
    assert since - 40 > (2.0 + 1.6448536 * 0.5) * 10
    assert raised.short_mm == pytest.approx((2.0 + 1.6448536 * 0.5) * 10, rel=1e-6)
    assert (raised.stress_bar, raised.dry_bar) == (2.0, pytest.approx(2.0 + 1.6448536 * 0.5, rel=1e-6))
    assert "log" in raised.assumed
    wide = one(v=valve(stress_se_bar=5.0), f=facts(sets(("2026-06-20 06:00", 10.0))))
    assert wide.short_mm == pytest.approx(since - 40)
    recent = one(f=facts(sets(("2026-07-10 06:00", 10.0))))
    assert recent.short_mm == pytest.approx(20.0)
    assert "log" not in recent.assumed


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
    assert told.assumed == ("no_log", "max_hours", "kc_table")


def test_the_root_zone_cannot_be_short_of_more_than_it_holds() -> None:
    sandy = one(v=valve(swp_bar=-60.0, stress_bar=48.0), b=blocks(soil="sand"), f=facts(mm_per_bar=None))
    assert sandy.need_mm == pytest.approx(1.5 * 1.0 * 25.4 / 0.3048)


def test_a_crop_without_a_target_counts_from_its_first_edge() -> None:
    found = one(v=valve(target_bar=np.nan, stress_bar=9.0), f=facts())
    assert "target" in found.assumed
    assert found.dry_bar == pytest.approx(9.0)
    # or from the first edge of the map's own settings: 9 - 1.5
    own = dataclasses.replace(facts(), edges_bar=(1.5, 3.0, 5.5))
    found = one(v=valve(target_bar=np.nan, stress_bar=9.0), f=own)
    assert (found.dry_bar, found.step_bar) == pytest.approx((7.5, 2.0))
