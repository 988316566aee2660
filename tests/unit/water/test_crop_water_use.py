"""Crop water use of young and of stressed trees, and rain in the books."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from stressmap.agronomy.crops import load_profiles
from stressmap.agronomy.harvest import at_harvest
from stressmap.agronomy.hemisphere import at_latitude
from stressmap.agronomy.water_use import stress_coefficient, young_shares
from stressmap.water.crop_water_use import (
    Climate,
    ReferenceEt,
    crop_use_mm,
    daily_rain,
    effective_rain_mm,
    is_tabulated,
)

PROFILES = load_profiles({}, "ranch.toml")
ETO = ReferenceEt({}, 6.0, "set")
WEEK = dt.date(2026, 8, 12), dt.date(2026, 8, 19)


def test_half_of_the_rain_of_the_days_counts() -> None:
    """0.5 to 0.6: weekly report on evapotranspiration, university extension service, notes, 2017 (read)."""
    rainy = replace(ETO, rain_by_day={dt.date(2026, 8, 11): 40.0, WEEK[0]: 8.0, WEEK[1]: 20.0})
    assert effective_rain_mm(rainy, *WEEK) == 4.0
    assert effective_rain_mm(rainy, WEEK[1], WEEK[0]) == 0.0
    assert effective_rain_mm(ETO, *WEEK) == 0.0


def test_rain_is_added_up_by_the_days_of_the_ranch() -> None:
    zone = ZoneInfo("America/Los_Angeles")
    times = pd.DatetimeIndex(["2026-04-14 22:00", "2026-04-14 23:00", "2026-04-15 01:00"], tz=zone)
    weather = pd.DataFrame({"time": times.tz_convert("UTC"), "rain_mm": [2.0, 3.0, np.nan]})
    assert daily_rain(weather, zone) == {dt.date(2026, 4, 14): 5.0}
    assert daily_rain(None, zone) == {}
    assert daily_rain(weather.drop(columns="rain_mm"), zone) == {}


def test_no_stress_and_no_age_leave_the_full_use() -> None:
    full = crop_use_mm(PROFILES["prune"], ETO, *WEEK)
    assert crop_use_mm(PROFILES["prune"], ETO, *WEEK, below_baseline_bar=float("nan")) == full
    assert crop_use_mm(PROFILES["prune"], ETO, *WEEK, below_baseline_bar=-2.0) == full
    assert crop_use_mm(PROFILES["prune"], ETO, *WEEK, planted=1999.0) == full


def test_stressed_prune_and_young_trees_use_less() -> None:
    full = crop_use_mm(PROFILES["prune"], ETO, *WEEK)
    assert crop_use_mm(PROFILES["prune"], ETO, *WEEK, below_baseline_bar=5.5) == pytest.approx(full / 2)
    young = [crop_use_mm(PROFILES["walnut"], ETO, *WEEK, planted=2026.0 - years) for years in range(7)]
    assert young == sorted(young)
    assert young[0] < 0.25 * young[-1]
    assert young[5] == young[6]


def test_measured_coefficients_are_not_fitted_to_the_climate() -> None:
    windy = replace(ETO, climate=Climate(wind_m_s=4.0, rh_min_pct=15.0))
    assert crop_use_mm(PROFILES["almond"], windy, *WEEK) == crop_use_mm(PROFILES["almond"], ETO, *WEEK)
    assert crop_use_mm(PROFILES["prune"], windy, *WEEK) > crop_use_mm(PROFILES["prune"], ETO, *WEEK)
    assert [is_tabulated(PROFILES[crop]) for crop in ("prune", "almond", "walnut")] == [True, False, False]


def test_a_late_harvest_keeps_the_coefficient_up_for_longer() -> None:
    days = dt.date(2026, 10, 1), dt.date(2026, 10, 8)
    late = at_harvest(PROFILES["walnut"], "10-05")
    assert crop_use_mm(late, ETO, *days) > crop_use_mm(PROFILES["walnut"], ETO, *days)


def test_a_year_of_growth_in_the_south_begins_in_july() -> None:
    almond = at_latitude(PROFILES, -34.0).value["almond"]
    first, second = young_shares(almond, [dt.date(2026, 2, 1), dt.date(2026, 11, 1)], 2025.0)
    assert first < second
    assert first == young_shares(almond, [dt.date(2025, 11, 1)], 2025.0)[0]


def test_a_crop_of_which_nothing_is_known_uses_all() -> None:
    fig = load_profiles({"fig": {"season_target": [["05-01", -8.0]]}}, "ranch.toml")["fig"]
    assert stress_coefficient(fig, [0.0, 9.0]).tolist() == [1.0, 1.0]
    assert young_shares(fig, [dt.date(2026, 8, 15)], 2026.0).tolist() == [1.0]
    assert crop_use_mm(fig, ETO, *WEEK, planted=2026.0) == pytest.approx(7 * 6.0)
