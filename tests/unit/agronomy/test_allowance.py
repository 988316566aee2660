"""Allowances of places: young trees, varieties, harvests of block and crop, and what is refused."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd
import pytest

from stressmap.agronomy.allowance import allowances, least_allowances, limits
from stressmap.agronomy.crops import CropProfile, load_profiles
from stressmap.agronomy.harvest import at_harvest, cut_off_days
from stressmap.core.errors import DataError, SettingsError

PROFILES = load_profiles({}, "ranch.toml")


def places(**columns: Any) -> pd.DataFrame:
    count = max((len(value) for value in columns.values() if isinstance(value, list)), default=1)
    usual = {"block": "A", "crop": "prune", "harvest": None, "planted": np.nan}
    return pd.DataFrame({**usual, **columns}, index=range(count))


def on(day: str, profiles: dict[str, CropProfile] | None = None, **columns: Any) -> list[float]:
    rows = places(**columns)
    return allowances(rows, [day] * len(rows), profiles or PROFILES).tolist()


def test_a_place_without_crop_or_day_has_no_allowance_and_no_variety_is_needed() -> None:
    rows = places(crop=["prune", None, "prune"])
    assert np.isnan(allowances(rows, ["2026-06-15", "2026-06-15", None], PROFILES)).tolist() == [
        False,
        True,
        True,
    ]


def test_a_crop_without_allowance_has_none() -> None:
    fig = load_profiles({"fig": {"season_target": [["05-01", -8.0]]}}, "ranch.toml")
    assert np.isnan(on("2026-07-01", fig, crop="fig")).all()
    assert np.isnan(limits(places(crop="fig"), fig)).all()
    assert least_allowances(places(crop="fig"), fig).tolist() == [0.0]


def test_almond_may_dry_in_the_first_two_weeks_of_hull_split_and_comes_back_in_the_third() -> None:
    """-15 bar in the first two weeks, which is 6.5 below the line at 3.7 kPa, and 2 bar below it in the
    third: Irrigating from Hull-split to Harvest, university extension page, 2010s (read).
    """
    weeks = [on(f"2026-07-{day:02d}", crop="almond")[0] for day in (7, 10, 14, 21)]
    assert weeks == [6.5, 6.5, 6.5, 2.0]
    fully_watered = -4.1 - 1.2 * 3.7
    assert fully_watered - weeks[0] == pytest.approx(-15.0, abs=0.1)


def test_almond_bears_less_while_next_years_buds_form() -> None:
    """No severe stress from the middle of August to September: Almond irrigation scheduling in tight water
    supplies, farm press, 2014 (read); 8 bar, the dry end of the season's range, stands for it (derived).
    """
    almond = places(crop="almond")
    for first, last, bar in (
        ((7, 10), (7, 17), 10.0), ((8, 7), (8, 14), 10.0), ((8, 8), (8, 15), 8.0),
        ((9, 30), (10, 7), 8.0), ((10, 1), (10, 8), 10.0),
    ):  # fmt: skip
        week = dt.date(2026, *first), dt.date(2026, *last)
        assert set(limits(almond, PROFILES, week)) == {bar}
    winter = {"almond": {"limit_within": [{"from": "12-20", "until": "01-10", "limit_bar": 3}]}}
    over = load_profiles(winter, "ranch.toml")
    for day, bar in ((dt.date(2026, 12, 25), 3.0), (dt.date(2027, 1, 5), 3.0), (dt.date(2027, 1, 11), 10.0)):
        assert set(limits(almond, over, (day, day))) == {bar}


def test_young_trees_are_allowed_less_but_never_more() -> None:
    assert on("2026-08-25", planted=[2010.0, 2023.0, np.nan]) == [8.0, 3.0, 8.0]
    assert on("2026-04-01", planted=[2010.0, 2023.0]) == [2.0, 2.0]


def test_the_harvest_of_a_block_goes_before_that_of_the_crop() -> None:
    ranch = load_profiles({"prune": {"harvest": "09-05"}}, "ranch.toml")
    rows = places(harvest=["08-15", None])
    assert allowances(rows, ["2026-08-15", "2026-09-05"], ranch).tolist() == [8.0, 8.0]


def test_an_allowance_of_the_ranch_is_drawn_for_its_own_harvest() -> None:
    own = {"harvest": "09-01", "allowance": {"points": [["04-01", 2.0], ["09-01", 6.0], ["11-01", 3.0]]}}
    ranch = load_profiles({"prune": own}, "ranch.toml")
    rows = places(harvest=[None, "09-01", "09-15"])
    assert allowances(rows, ["2026-09-01", "2026-09-01", "2026-09-15"], ranch).tolist() == [6.0, 6.0, 6.0]


def test_varieties_have_their_own() -> None:
    assert on("2026-06-15", crop="walnut", variety=["Chandler", "serr", "Hartley", None]) == [
        2.2,
        2.9,
        2.5,
        2.5,
    ]


@pytest.mark.parametrize(
    ("harvest", "what"),
    [
        ("13-40", "'13-40' is not a day of the year; write month and day as \"05-01\""),
        ("03-15", "harvest 03-15 is not after the season's first point, 04-01"),
    ],
)
def test_a_harvest_that_cannot_be_is_refused_with_block_and_remedy(harvest: str, what: str) -> None:
    with pytest.raises(DataError) as caught:
        allowances(places(harvest=harvest), ["2026-07-01"], PROFILES, "blocks.geojson")
    message = str(caught.value)
    assert message.startswith("blocks.geojson, column harvest: block 'A': ")
    assert what.split(";", maxsplit=1)[0] in message
    assert message.endswith(
        "Write month and day of the harvest, MM-DD, after the first day of the crop's allowance."
    )


def test_a_harvest_of_the_crop_that_cannot_be_is_a_wrong_setting() -> None:
    ranch = load_profiles({"prune": {"harvest": "03-15"}}, "ranch.toml")
    with pytest.raises(SettingsError) as caught:
        allowances(places(), ["2026-07-01"], ranch)
    assert str(caught.value) == (
        "ranch.toml, column crops.prune.harvest: harvest 03-15 is not after the season's first point, 04-01. "
        "Write month and day of the harvest, MM-DD, after the first day of the crop's allowance."
    )


def test_stages_and_coefficients_move_with_the_harvest_and_the_season_target_does_not() -> None:
    prune = PROFILES["prune"]
    moved = at_harvest(prune, "09-04")
    begins = {stage.text.en: stage.begins for stage in moved.stages}
    assert begins["after harvest, recovery"] == "09-04"
    assert begins["bloom and leaf-out"] == "03-01"
    assert begins["dormant"] == "11-15"
    assert moved.crop_coefficient is not None
    assert prune.crop_coefficient is not None
    assert moved.crop_coefficient.points[0] == prune.crop_coefficient.points[0]
    assert moved.crop_coefficient.points[2][0] > prune.crop_coefficient.points[2][0]
    assert moved.season_target == prune.season_target


def test_coefficients_of_the_ranch_are_drawn_for_its_own_harvest_whatever_else_is_built_in() -> None:
    points = [["04-01", 0.4], ["09-01", 0.9], ["11-01", 0.5]]
    prune = load_profiles(
        {"prune": {"harvest": "09-01", "crop_coefficient": {"points": points}}}, "ranch.toml"
    )
    moved = at_harvest(prune["prune"])
    assert moved.allowance != prune["prune"].allowance  # built in, for another day
    assert moved.crop_coefficient == prune["prune"].crop_coefficient


def test_coefficients_stay_where_the_day_that_they_were_drawn_for_is_not_known() -> None:
    points = [["04-01", 0.4], ["09-01", 0.9], ["11-01", 0.5]]
    fig = load_profiles({"fig": {"crop_coefficient": {"points": points}}}, "ranch.toml")["fig"]
    assert at_harvest(fig, "09-15").crop_coefficient == fig.crop_coefficient


@pytest.mark.parametrize(
    ("crop", "harvest", "days"),
    [
        # Late season irrigation in prune, university extension article, 2021 (read): one to two weeks
        ("prune", "08-28", ("08-14", "08-21")),
        # Irrigation Science 19:125-131, 2000, conference abstract (read): 10 to 14 days before shaking
        ("almond", "08-15", ("08-01", "08-05")),
        # common practice, no source
        ("walnut", "10-01", ("09-21", "09-21")),
    ],
)
def test_last_water_before_harvest(crop: str, harvest: str, days: tuple[str, str]) -> None:
    assert cut_off_days(PROFILES[crop], harvest) == days


def test_a_crop_without_cut_off_has_no_last_day() -> None:
    fig = load_profiles({"fig": {"harvest": "08-20"}}, "ranch.toml")["fig"]
    assert cut_off_days(fig) is None
