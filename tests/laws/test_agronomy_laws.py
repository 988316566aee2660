"""What holds for any plausible weather, date and reading: nothing lost silently, monotone as physics is."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from helpers.told import english
from hypothesis import given, settings
from hypothesis import strategies as st

from stressmap import agronomy
from stressmap.core.errors import DataError
from stressmap.core.notes import NoteList
from stressmap.core.settings import Settings

QUICK = settings(max_examples=60, deadline=None, derandomize=True)
TEMPERATURES = st.floats(-30.0, 55.0)
HUMIDITIES = st.floats(0.0, 100.0)
DEFICITS = st.floats(0.0, 12.0)
DAYS = st.dates(pd.Timestamp("2020-01-01").date(), pd.Timestamp("2030-12-31").date())
MONTH_DAYS = st.dates(pd.Timestamp("2025-01-01").date(), pd.Timestamp("2025-12-31").date())
PROFILES = agronomy.load_profiles({}, "ranch.toml")
COMPLETE = ("almond", "prune", "walnut")
"""Crops with a fully watered line and a season's target; others are built in with levels only."""
CROPS = st.sampled_from(COMPLETE)
STATION = agronomy.Site(39.0, -122.0, 20.0)


@QUICK
@given(TEMPERATURES, HUMIDITIES)
def test_a_deficit_is_finite_and_never_negative(temp: float, humidity: float) -> None:
    deficit = float(agronomy.deficit_kpa(temp, humidity))
    assert np.isfinite(deficit)
    assert deficit >= 0.0


@QUICK
@given(TEMPERATURES, st.floats(0.01, 5.0), HUMIDITIES)
def test_warmer_air_holds_more_and_pulls_no_less(temp: float, warmer: float, humidity: float) -> None:
    assert agronomy.saturation_kpa(temp + warmer) > agronomy.saturation_kpa(temp)
    assert agronomy.deficit_kpa(temp + warmer, humidity) >= agronomy.deficit_kpa(temp, humidity)
    assert agronomy.saturation_slope_kpa_per_c(temp) > 0.0


@QUICK
@given(TEMPERATURES, st.floats(0.0, 99.0), st.floats(0.01, 1.0))
def test_damper_air_pulls_less(temp: float, humidity: float, damper: float) -> None:
    assert agronomy.deficit_kpa(temp, humidity + damper) < agronomy.deficit_kpa(temp, humidity)


@QUICK
@given(TEMPERATURES, st.floats(1.0, 100.0))
def test_humidity_and_vapour_pressure_turn_into_each_other(temp: float, humidity: float) -> None:
    back = agronomy.humidity_pct(temp, agronomy.actual_kpa(temp, humidity))
    assert abs(float(back) - humidity) < 1e-9


@QUICK
@given(CROPS, DEFICITS, st.floats(0.01, 3.0))
def test_a_watered_tree_shows_more_tension_in_drier_air(crop: str, vpd: float, drier: float) -> None:
    line = PROFILES[crop].baseline
    assert line is not None
    bars = agronomy.baseline_bar(
        [vpd, vpd + drier], intercept_bar=line.intercept_bar, slope_bar_per_kpa=line.slope_bar_per_kpa
    )
    assert np.isfinite(bars).all()
    assert bars[1] < bars[0] < 0.0


@QUICK
@given(CROPS, DAYS)
def test_a_target_lies_between_its_points_on_every_day(crop: str, day: Any) -> None:
    points = PROFILES[crop].season_target
    assert points is not None
    values = [bar for _, bar in points]
    assert min(values) <= agronomy.target_bar(day, points)[0] <= max(values)


@QUICK
@given(st.lists(MONTH_DAYS, min_size=2, max_size=5, unique=True), st.integers(0, 4), DAYS)
def test_any_season_in_order_has_a_target_on_every_day(days: list[Any], turn: int, day: Any) -> None:
    """A season cut at any place of the year, over the year end or not."""
    texts = sorted(d.strftime("%m-%d") for d in days)
    turned = texts[turn % len(texts) :] + texts[: turn % len(texts)]
    points = [(text, -6.0 - i) for i, text in enumerate(turned)]
    assert -5.0 - len(points) <= agronomy.target_bar(day, points)[0] <= -6.0


@QUICK
@given(CROPS, DAYS)
def test_half_a_year_on_the_other_side_of_the_equator_it_is_the_same(crop: str, day: Any) -> None:
    points = PROFILES[crop].season_target
    assert points is not None
    here = agronomy.target_bar(day, points)
    there = agronomy.target_bar(pd.Timestamp(day) + pd.DateOffset(months=6), agronomy.six_months_on(points))
    # months differ by up to three days, and prune is let down by under 0.1 bar a day
    in_season = pd.Timestamp(day).month in range(3, 11)
    assert not in_season or abs(here - there)[0] < 0.8


@QUICK
@given(st.floats(5.0, 45.0), st.floats(5.0, 95.0), st.floats(0.2, 8.0), st.floats(0.0, 25.0))
def test_reference_evapotranspiration_grows_with_sun_and_dry_air(
    temp: float, humidity: float, wind: float, net: float
) -> None:
    def depth(vapour_share: float, radiation: float) -> float:
        held = float(agronomy.saturation_kpa(temp))
        air = agronomy.Air(temp, held, held * vapour_share / 100.0, wind)
        return float(agronomy.penman_monteith_mm_day(air, radiation))

    assert np.isfinite(depth(humidity, net))
    assert depth(humidity, net + 1.0) > depth(humidity, net) >= 0.0
    assert depth(humidity + 1.0, net) < depth(humidity, net)


@QUICK
@given(st.integers(1, 366), st.floats(-60.0, 60.0))
def test_hours_above_the_atmosphere_add_up_to_the_day(day_of_year: int, latitude: float) -> None:
    start = pd.Timestamp("2024-01-01", tz="UTC") + pd.Timedelta(days=day_of_year - 1, minutes=30)
    hours = agronomy.extraterrestrial_hourly_mj(pd.date_range(start, periods=24, freq="h"), latitude, 0.0)
    day = float(agronomy.extraterrestrial_mj(day_of_year, latitude))
    assert (hours >= 0.0).all()
    assert abs(float(hours.sum()) - day) < 0.02 * day + 0.1


RANCH = {"name": "Invented Ranch", "timezone": "America/Los_Angeles"}
FILES = {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")}

READING = st.tuples(
    st.sampled_from(["A", "B", "C"]),
    st.floats(-40.0, -1.0),
    st.one_of(st.none(), st.floats(-5.0, 50.0)),
    st.one_of(st.none(), st.floats(1.0, 100.0)),
    st.integers(0, 3 * 24 * 60),
)


@QUICK
@given(
    st.lists(READING, min_size=1, max_size=6),
    st.sampled_from(["below_target", "below_baseline", "tension"]),
    st.booleans(),
    st.sampled_from([2018.0, 2024.0, float("nan")]),
)
def test_no_figure_is_lost_without_a_word(
    rows: list[Any], rank_by: str, with_weather: object, planted: float
) -> None:
    """Whatever is NaN has its reason among the notes, and the ranked figure only where it says so."""
    block, swp, temp, humidity, minute = zip(*rows, strict=True)
    start = pd.Timestamp("2026-07-13", tz="America/Los_Angeles")
    table = pd.DataFrame({"row": range(2, len(rows) + 2), "block": block, "swp_bar": swp})
    table["time"] = pd.DatetimeIndex([start + pd.Timedelta(minutes=m) for m in minute])
    table["temp_c"], table["rh_pct"] = pd.Series(temp, dtype=float), pd.Series(humidity, dtype=float)
    blocks = pd.DataFrame({"block": ["A", "B", "C"], "crop": COMPLETE, "planted": planted})
    hours = pd.date_range(start, periods=40, freq="h")
    weather = pd.DataFrame({"time": hours, "temp_c": 30.0, "rh_pct": 30.0}) if with_weather else None
    chosen = Settings.model_validate({"ranch": RANCH, "files": FILES, "map": {"rank_by": rank_by}})
    notes = NoteList()
    refused = None
    try:
        orchard = notes.keep(agronomy.settle(blocks, PROFILES, blocks_file="blocks.geojson"))
        result = notes.keep(agronomy.add_figures(table, orchard, weather, chosen))
    except DataError as error:
        refused = str(error)
    if refused:
        assert "no reading has a vapour pressure deficit" in refused
        assert rank_by == "below_baseline"
        return
    always = ["tension_bar", "target_bar", "below_target_bar", "weather_shift_bar"]
    assert np.isfinite(result[always].to_numpy(float)).all()
    blind = result["vpd_kpa"].isna()
    assert blind.equals(result["baseline_bar"].isna())
    assert not blind.any() or any("vapour pressure deficit" in said for said in english(notes))
    assert not result["stress_bar"].isna().any() or rank_by == "below_baseline"
    assert result["stress_bar"].isna().equals(blind) or not result["stress_bar"].isna().any()
