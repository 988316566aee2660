"""Figures beside readings and blocks: what they are, what is missing, what is carried, what is refused."""

import datetime as dt
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from helpers.told import english
from shapely.geometry import box

from stressmap.agronomy import crops, indices
from stressmap.agronomy.crop_names import settle_crops
from stressmap.agronomy.orchard import Orchard, settle
from stressmap.core.errors import DataError, SettingsError
from stressmap.core.notes import NoteList
from stressmap.core.settings import Settings
from stressmap.output.text.note_words import sentence
from stressmap.output.text.words import Words

ZONE = "America/Los_Angeles"
RANCH = {"name": "Invented Ranch", "timezone": ZONE}
FILES = {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson"), "weather": Path("weather.csv")}


def settings(rank_by: str = "below_target", **parts: Any) -> Settings:
    return Settings.model_validate({"ranch": RANCH, "files": FILES, "map": {"rank_by": rank_by}, **parts})


def readings(*rows: tuple[str, str | None, float], **columns: Any) -> pd.DataFrame:
    times, blocks, swp = zip(*rows, strict=True)
    table = pd.DataFrame({"row": range(2, len(rows) + 2), "block": list(blocks), "swp_bar": list(swp)})
    table["time"] = pd.DatetimeIndex(pd.to_datetime(list(times))).tz_localize(ZONE)
    return table.assign(**{"temp_c": np.nan, "rh_pct": np.nan, **columns})


def blocks(north_m: float = 4_300_000.0, crs: str = "EPSG:32610", **crop_of: str) -> gpd.GeoDataFrame:
    table = gpd.GeoDataFrame(
        {"block": list(crop_of), "crop": list(crop_of.values())},
        geometry=[
            box(6e5 + 500 * i, north_m, 6e5 + 500 * i + 400, north_m + 400) for i in range(len(crop_of))
        ],
        crs=crs,
    )
    return table.assign(planted=np.nan, harvest=None)


def weather(*rows: tuple[str, float, float]) -> pd.DataFrame:
    times, temp, humidity = zip(*rows, strict=True)
    index = pd.DatetimeIndex(pd.to_datetime(list(times))).tz_localize(ZONE)
    return pd.DataFrame({"time": index, "temp_c": list(temp), "rh_pct": list(humidity)})


def orchard(where: pd.DataFrame) -> Orchard:
    return settle(where, crops.load_profiles({}, "r"), blocks_file="blocks.geojson").value


def add(
    table: pd.DataFrame, where: pd.DataFrame, air: pd.DataFrame | None, **kwargs: Any
) -> tuple[Any, list[str]]:
    notes = NoteList()
    own = kwargs.pop("crops", {})
    profiles = crops.load_profiles(own, "ranch.toml")
    chosen = settings(**kwargs)
    files = {"blocks_file": str(chosen.files.blocks), "settings_file": chosen.source}
    grown = notes.keep(settle(where, profiles, **files))
    return notes.keep(indices.add_figures(table, grown, air, chosen)), english(notes)


HOT = ("2026-07-14 13:00", 40.0, 20.0)
MILD_NOON = ("2026-07-14 13:00", 28.0, 45.0)
MILD = ("2026-07-15 13:00", 28.0, 45.0)


def test_the_figures_hang_together_as_stated() -> None:
    table, said = add(readings(("2026-07-14 13:00", "A", -14.0)), blocks(A="prune"), weather(HOT))
    row = table.iloc[0]
    assert row["tension_bar"] == 14.0
    assert row["vpd_kpa"] == pytest.approx(7.376 * 0.8, abs=5e-4)  # FAO-56 table 2.3
    assert row["baseline_bar"] == pytest.approx(-4.1 - 1.2 * row["vpd_kpa"])
    # published: 4 to 6 bar below the line from mid-June to early August (docs/references.md)
    assert 4.0 <= row["allowance_bar"] <= 6.0
    assert row["target_bar"] == pytest.approx(row["baseline_bar"] - row["allowance_bar"])
    assert row["below_target_bar"] == pytest.approx(row["target_bar"] + 14.0)
    assert row["below_baseline_bar"] == pytest.approx(row["baseline_bar"] + 14.0)
    assert row["stress_bar"] == row["below_target_bar"]
    assert row["weather_shift_bar"] == 0.0
    assert said == []


@pytest.mark.parametrize("rank_by", ["below_target", "below_baseline", "tension"])
def test_stress_is_the_figure_that_rank_by_names(rank_by: str) -> None:
    table, _ = add(
        readings(("2026-07-14 13:00", "A", -14.0)), blocks(A="prune"), weather(HOT), rank_by=rank_by
    )
    assert table["stress_bar"].tolist() == table[f"{rank_by}_bar"].tolist()


def test_air_at_the_tree_goes_before_the_weather_file() -> None:
    table = readings(("2026-07-14 13:00", "A", -14.0), temp_c=35.0, rh_pct=30.0)
    result, _ = add(table, blocks(A="prune"), weather(HOT))
    assert result["vpd_kpa"].iloc[0] == pytest.approx(5.623 * 0.7, abs=5e-4)  # FAO-56 table 2.3


def test_weather_is_read_to_the_minute() -> None:
    air = weather(("2026-07-14 13:00", 30.0, 40.0), ("2026-07-14 14:00", 34.0, 30.0))
    halfway, _ = add(readings(("2026-07-14 13:30", "A", -9.0)), blocks(A="prune"), air)
    at_32_c, _ = add(
        readings(("2026-07-14 13:30", "A", -9.0), temp_c=32.0, rh_pct=35.0), blocks(A="prune"), air
    )
    assert halfway["vpd_kpa"].tolist() == pytest.approx(at_32_c["vpd_kpa"].tolist())


def test_two_hours_are_bridged_and_more_are_not() -> None:
    table = readings(("2026-07-14 13:00", "A", -9.0))
    two = weather(("2026-07-14 12:00", 30.0, 40.0), ("2026-07-14 14:00", 34.0, 30.0))
    three = weather(("2026-07-14 11:30", 30.0, 40.0), ("2026-07-14 14:00", 34.0, 30.0))
    assert add(table, blocks(A="prune"), two)[0]["vpd_kpa"].notna().all()
    result, said = add(table, blocks(A="prune"), three)
    assert result["vpd_kpa"].isna().all()
    assert result["stress_bar"].notna().all()
    assert said == [
        "No reading has a vapour pressure deficit and so no baseline: weather.csv has nothing from "
        "2026-07-14 "
        "11:30 to 2026-07-14 14:00, and more than two hours are not bridged.",
        "Prune is held against its season target in absolute figures, because there is no weather: heat is "
        "not taken out.",
    ]


def test_a_weather_file_that_ends_before_the_visit_is_said() -> None:
    table = readings(("2026-07-14 13:00", "A", -9.0), ("2026-07-15 13:00", "A", -9.0))
    _, said = add(table, blocks(A="prune"), weather(HOT))
    assert said == [
        "1 of 2 readings has no vapour pressure deficit and so no baseline: weather.csv ends 2026-07-14 "
        "13:00, "
        "before it was taken.",
        "1 reading stays as it is, not carried to the middle weather: nothing is known of the weather of "
        "its minute.",
    ]


def test_below_baseline_without_any_weather_is_one_error() -> None:
    with pytest.raises(DataError) as caught:
        add(readings(("2026-07-14 13:00", "A", -9.0)), blocks(A="prune"), None, rank_by="below_baseline")
    assert str(caught.value) == (
        "weather.csv: no reading has a vapour pressure deficit, which rank_by = 'below_baseline' needs: no "
        "temperature and humidity at the trees and no weather file. Give temperature and humidity at the "
        "trees or "
        'an hourly weather file that covers the visit, or write [map] rank_by = "below_target".'
    )


def test_a_crop_without_a_target_is_one_error() -> None:
    own = {"cherry": {"edges": {"tension": [8, 12, 15]}}}
    with pytest.raises(SettingsError) as caught:
        add(readings(("2026-07-14 13:00", "A", -9.0)), blocks(A="cherry"), None, crops=own)
    assert str(caught.value) == (
        "ranch.toml, column crops.cherry.season_target: the crop cherry has no season target, and rank_by = "
        "'below_target' needs one. Write [crops.cherry] season_target = [[\"MM-DD\", bar], ...] with your "
        "own days "
        'and targets, or [map] rank_by = "tension".'
    )


def test_a_crop_without_a_target_is_refused_behind_one_that_has_one() -> None:
    own = {"cherry": {"edges": {"tension": [8, 12, 15]}}}
    table = readings(("2026-07-14 13:00", "A", -9.0), ("2026-07-14 13:10", "B", -9.0))
    with pytest.raises(SettingsError, match="the crop cherry has no season target"):
        add(table, blocks(A="prune", B="cherry"), None, crops=own)


def test_a_crop_without_a_line_is_one_error_when_ranked_by_it() -> None:
    own = {"cherry": {"season_target": [["05-01", -8.0]]}}
    with pytest.raises(SettingsError) as caught:
        add(
            readings(("2026-07-14 13:00", "A", -9.0)),
            blocks(A="cherry"),
            weather(HOT),
            crops=own,
            rank_by="below_baseline",
        )
    assert str(caught.value) == (
        "ranch.toml, column crops.cherry.baseline: the crop cherry has no fully watered baseline, and "
        "rank_by = "
        "'below_baseline' needs one. Write [crops.cherry] baseline = { intercept_bar = ..., "
        "slope_bar_per_kpa = ... "
        '} if one is published for your crop, or [map] rank_by = "below_target" or "tension".'
    )


@pytest.mark.parametrize("rank_by", ["tension", "below_target"])
def test_a_crop_without_a_line_is_ranked_by_tension_or_target(rank_by: str) -> None:
    own = {
        "pistachio": {"season_target": [["05-01", -8.0], ["09-01", -14.0]], "edges": {"tension": [8, 12, 16]}}
    }
    table, _ = add(
        readings(("2026-07-14 13:00", "A", -9.0)),
        blocks(A="pistachio"),
        weather(HOT),
        crops=own,
        rank_by=rank_by,
    )
    assert table["stress_bar"].notna().all()
    assert table["vpd_kpa"].notna().all()
    assert table["baseline_bar"].isna().all()


def test_a_crop_without_a_profile_is_one_error_with_the_nearest_name() -> None:
    with pytest.raises(DataError) as caught:
        add(readings(("2026-07-14 13:00", "A", -9.0)), blocks(A="alomnd"), None)
    assert str(caught.value) == (
        "blocks.geojson, column crop: block 'A': no profile for the crop 'alomnd'. Did you mean 'almond'? "
        "Otherwise write a profile [crops.alomnd] in the settings, or one of almond, cherry, olive, "
        "pistachio, prune, table grape, walnut."
    )


def test_crops_in_spanish_are_recognised_and_said() -> None:
    table, said = add(readings(("2026-07-14 13:00", "A", -9.0)), blocks(A="ciruela_pasa"), weather(HOT))
    assert table["target_bar"].notna().all()
    assert said == ["blocks.geojson: crops are taken as: 'ciruela_pasa' as prune."]


def test_a_crop_in_the_reader_s_own_word_needs_no_telling() -> None:
    where, profiles = blocks(A="Ciruelo", B="Nogal"), crops.load_profiles({}, "r")
    noted = settle_crops(where, profiles, "b.csv", lambda crop: Words("es").known("crop", crop))
    said = [sentence(note, Words("es")) for note in noted.notes]
    assert said == ["b.csv: los cultivos se toman así: 'Nogal' como nogal de Castilla."]


def test_a_reading_in_no_block_keeps_its_tension_and_deficit() -> None:
    table, _ = add(readings(("2026-07-14 13:00", None, -9.0)), blocks(A="prune"), weather(HOT))
    row = table.iloc[0]
    assert (row["tension_bar"], np.isnan(row["stress_bar"]), np.isfinite(row["vpd_kpa"])) == (9.0, True, True)


def test_young_blocks_take_the_young_limit() -> None:
    where = blocks(A="prune", B="prune").assign(planted=[2023.0, 2022.0])
    table, said = add(
        readings(("2026-08-10 13:00", "A", -12.0), ("2026-08-10 13:00", "B", -12.0)),
        where,
        None,
        rank_by="tension",
    )
    assert table["target_bar"].tolist() == [-10.0, -14.0]
    assert table["allowance_bar"].iloc[0] == 3.0  # published: 2 to 4 bar below the line all season
    assert (
        "Planted under 4 years ago: A. Young prune is allowed at most 3 bar below the fully watered line."
        in said
    )


def test_a_block_harvested_late_is_let_down_late() -> None:
    where = blocks(A="prune", B="prune").assign(harvest=["08-31", None])
    table, _ = add(readings(("2026-08-01 13:00", "A", -12.0), ("2026-08-01 13:00", "B", -12.0)), where, None)
    assert table["target_bar"].tolist() == pytest.approx([-6.0 - 8.0 * 92 / 122, -14.0])


def test_a_harvest_that_is_no_day_names_the_block() -> None:
    where = blocks(A="prune").assign(harvest=["soon"])
    with pytest.raises(DataError) as caught:
        add(readings(("2026-08-01 13:00", "A", -12.0)), where, None)
    assert str(caught.value) == (
        "blocks.geojson, column harvest: block 'A': 'soon' is not a day of the year; write month and day as "
        '"05-01". Write month and day of the harvest, MM-DD, after the first day of the crop\'s '
        "allowance."
    )


def test_harvest_as_a_setting_of_the_crop() -> None:
    table, _ = add(
        readings(("2026-08-31 13:00", "A", -12.0)),
        blocks(A="prune"),
        None,
        crops={"prune": {"harvest": "08-31"}},
    )
    assert table["target_bar"].tolist() == [-14.0]


def test_in_the_south_the_built_in_season_is_moved_and_said() -> None:
    where = blocks(north_m=6_200_000.0, crs="EPSG:32719", A="prune")
    table, said = add(readings(("2026-12-17 13:00", "A", -12.0)), where, weather(HOT), rank_by="tension")
    assert table["target_bar"].tolist() == [-10.0]
    assert said[0] == (
        "The ranch lies in the south: the built-in season of prune was moved by six "
        "months; write "
        "[crops] season_target to set your own days."
    )


def test_in_the_south_own_days_are_taken_as_written() -> None:
    where = blocks(north_m=6_200_000.0, crs="EPSG:32719", A="prune")
    own = {"prune": {"season_target": [["11-15", -6.0], ["02-15", -14.0]]}}
    table, _ = add(readings(("2027-02-15 13:00", "A", -12.0)), where, None, crops=own)
    assert table["target_bar"].tolist() == [-14.0]


def test_walnut_wetter_than_the_line_is_marked() -> None:
    table, said = add(
        readings(("2026-07-14 13:00", "A", -3.0), ("2026-07-14 13:00", "B", -3.0)),
        blocks(A="walnut", B="prune"),
        weather(HOT),
    )
    assert table["too_wet"].tolist() == [True, False]
    assert (
        "1 reading of walnut is wetter than a fully watered tree shows (in A): always wet harms walnut "
        "too; "
        "look for too much water." in said
    )


def test_the_provisional_line_of_walnut_is_said_with_its_reason() -> None:
    _, said = add(readings(("2026-07-14 13:00", "A", -6.0)), blocks(A="walnut"), weather(MILD_NOON))
    (note,) = said
    assert note.startswith("The fully watered line of walnut is provisional: ")
    assert "Agricultural Water Management 319:109808, 2025" in note
    _, said = add(readings(("2026-07-14 13:00", "A", -9.0)), blocks(A="prune"), weather(MILD_NOON))
    assert said == []


def test_readings_are_carried_to_the_middle_weather_and_it_is_said() -> None:
    """The same two trees on a hot and a mild day, each following the line exactly: alike once carried."""
    both = weather(HOT, MILD)
    rows = readings(("2026-07-14 13:00", "A", 0.0), ("2026-07-15 13:00", "A", 0.0))
    bare, _ = add(rows, blocks(A="prune"), both)
    rows["swp_bar"] = bare["baseline_bar"] - 3.0
    table, said = add(rows, blocks(A="prune"), both)
    carried = rows["swp_bar"] + table["weather_shift_bar"]
    assert carried.iloc[0] == pytest.approx(carried.iloc[1])
    assert table["below_target_bar"].tolist() == pytest.approx((3.0 - table["allowance_bar"]).tolist())
    assert table["weather_shift_bar"].sum() == pytest.approx(0.0)
    assert table["weather_shift_bar"].iloc[0] > 0.0
    assert said == [
        "Readings were carried along the fully watered line to the visit's middle vapour pressure deficit, "
        "4.0 kPa: by \N{MINUS SIGN}2.3 to +2.3 bar ([reading] same_weather = false turns this off)."
    ]


def test_same_weather_false_turns_it_off() -> None:
    """Potentials as read are then held against one target, that of the visit's middle weather."""
    rows = readings(("2026-07-14 13:00", "A", -12.0), ("2026-07-15 13:00", "A", -8.0))
    table, said = add(rows, blocks(A="prune"), weather(HOT, MILD), reading={"same_weather": False})
    assert table["weather_shift_bar"].tolist() == [0.0, 0.0]
    moved = table["allowance_bar"].diff().iloc[1]
    assert table["below_target_bar"].diff().iloc[1] == pytest.approx(-4.0 - moved)
    assert said == []


def test_a_reading_whose_minute_has_no_weather_stays_as_it_is() -> None:
    rows = readings(("2026-07-14 13:00", "A", -12.0), ("2026-07-15 13:00", "A", -12.0))
    table, said = add(rows, blocks(A="prune"), weather(HOT))
    assert table["weather_shift_bar"].tolist() == [0.0, 0.0]
    assert table["stress_bar"].notna().all()
    assert table["stress_bar"].diff().iloc[1] == pytest.approx(-table["allowance_bar"].diff().iloc[1])
    assert any("stays as it is" in line for line in said)


def test_below_baseline_a_reading_without_weather_is_held_against_the_middle_weather() -> None:
    rows = readings(("2026-07-14 13:00", "A", -12.0), ("2026-07-15 13:00", "A", -12.0))
    table, _ = add(rows, blocks(A="prune"), weather(HOT), rank_by="below_baseline")
    assert table["baseline_bar"].isna().tolist() == [False, True]
    assert table["stress_bar"].iloc[1] == pytest.approx(table["stress_bar"].iloc[0])


def test_only_readings_in_use_make_the_middle_weather() -> None:
    rows = readings(("2026-07-14 13:00", "A", -12.0), ("2026-07-15 13:00", "A", -8.0), used=[True, False])
    table, said = add(rows, blocks(A="prune"), weather(HOT, MILD))
    assert table["weather_shift_bar"].iloc[0] == 0.0
    assert said == []


def test_readings_without_any_time_are_said_and_not_lost() -> None:
    rows = readings(("2026-08-05 13:00", "A", -12.0)).assign(time=pd.NaT)
    table, said = add(rows, blocks(A="prune"), weather(HOT), rank_by="tension")
    assert table["stress_bar"].tolist() == [12.0]
    assert said == ["No reading has a vapour pressure deficit and so no baseline: no time was written down."]


def test_readings_without_a_time_get_the_middle_day() -> None:
    rows = readings(("2026-08-05 13:00", "A", -12.0), ("2026-08-05 13:00", "A", -8.0))
    rows.loc[1, "time"] = pd.NaT
    table, said = add(rows, blocks(A="prune"), None)
    assert table["target_bar"].tolist() == [-14.0, -14.0]
    assert said[0] == "1 reading without a time got the target of the visit's middle day, 2026-08-05."


def test_a_deficit_beyond_the_published_range_is_said() -> None:
    _, said = add(
        readings(("2026-07-14 13:00", "A", -12.0)),
        blocks(A="prune"),
        weather(("2026-07-14 13:00", 44.0, 15.0)),
    )
    assert said == [
        "1 reading of prune was taken at a vapour pressure deficit outside 0.5 to 6 kPa (7.7 to 7.7), "
        "for which "
        "its fully watered line is published; the line was carried on."
    ]


VISIT = (dt.date(2026, 7, 14), dt.date(2026, 7, 15))


def hours(day: str, temp: float, humidity: float) -> list[tuple[str, float, float]]:
    return [(f"{day} {hour}:00", temp, humidity) for hour in (13, 14, 15)]


def test_blocks_have_target_and_baseline_of_the_visit() -> None:
    air = weather(*hours("2026-07-14", 40.0, 20.0), *hours("2026-07-15", 20.0, 50.0))
    where = blocks(A="prune", B="almendro")
    table = indices.block_figures(orchard(where), VISIT, air, settings())
    # FAO-56 table 2.3: 7.376 and 2.338 kPa
    assert table["vpd_kpa"].tolist() == pytest.approx([(7.376 * 0.8 + 2.338 * 0.5) / 2.0] * 2, abs=5e-4)
    assert table["baseline_bar"].tolist() == pytest.approx((-4.1 - 1.2 * table["vpd_kpa"]).tolist())
    assert table["target_bar"].tolist() == pytest.approx(
        (table["baseline_bar"] - table["allowance_bar"]).tolist()
    )
    assert table["limit_bar"].tolist() == [10.0, 10.0]
    assert table["crop"].tolist() == ["prune", "almond"]


def test_blocks_without_weather_have_a_target_only() -> None:
    table = indices.block_figures(orchard(blocks(A="prune")), VISIT, None, settings())
    assert table["target_bar"].notna().all()
    assert table[["baseline_bar", "vpd_kpa"]].isna().all(axis=None)


def test_the_weather_of_a_visit_is_that_of_all_its_hours_of_measuring() -> None:
    """Air that warms in a straight line at a steady share of saturation: the mean over 13:00 to 15:00."""
    air = weather(*((f"2026-07-14 {hour}:00", 2.0 * hour, 40.0) for hour in range(12, 17)))
    day = (dt.date(2026, 7, 14), dt.date(2026, 7, 14))
    table = indices.block_figures(orchard(blocks(A="prune")), day, air, settings())
    temp = np.linspace(26.0, 30.0, 2001)
    held = 0.6108 * np.exp(17.27 * temp / (temp + 237.3))  # FAO-56 equation 11
    assert table["vpd_kpa"].tolist() == pytest.approx([0.6 * held.mean()], rel=2e-3)


def test_blocks_have_the_middle_weather_that_readings_were_carried_to() -> None:
    rows = readings(("2026-07-14 13:10", "A", -9.0), ("2026-07-15 14:40", "A", -9.0))
    rows["temp_c"], rows["rh_pct"] = [40.0, 20.0], [20.0, 50.0]
    figured, _ = add(rows, blocks(A="prune"), None)
    table = indices.block_figures(orchard(blocks(A="prune")), VISIT, figured, settings())
    # FAO-56 table 2.3: 7.376 and 2.338 kPa
    assert table["vpd_kpa"].tolist() == pytest.approx([(7.376 * 0.8 + 2.338 * 0.5) / 2.0], abs=5e-4)
    carried = figured["baseline_bar"] + figured["weather_shift_bar"]
    assert carried.tolist() == pytest.approx([table.loc["A", "baseline_bar"]] * 2)


def test_local_day_counts_not_that_of_utc() -> None:
    rows = readings(("2026-07-31 23:30", "A", -9.0))
    rows["time"] = rows["time"].dt.tz_convert(ZoneInfo("UTC"))
    table, _ = add(rows, blocks(A="prune"), None)
    assert table["target_bar"].iloc[0] > -14.0


def test_readings_of_other_visits_are_not_carried_to_this_visits_weather() -> None:
    when = [
        ("2026-06-25 13:00", "A", -9.0),
        ("2026-07-14 13:00", "A", -12.0),
        ("2026-07-15 13:00", "A", -11.0),
    ]
    table = readings(*when).assign(used=[False, True, True], flags=[("outside_visit",), (), ()])
    air = weather(("2026-06-25 13:00", 33.0, 30.0), HOT, MILD)
    added, said = add(table, blocks(A="prune"), air)
    assert said[0].startswith("Readings were carried along the fully watered line")
    assert (added["weather_shift_bar"] != 0).tolist() == [False, True, True]
    assert added["below_target_bar"].iloc[0] == pytest.approx(added["target_bar"].iloc[0] + 9.0)
