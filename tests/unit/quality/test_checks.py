"""Each check alone: what it finds, at its edge, and whether the reading is then used."""

import numpy as np
import pandas as pd
import pytest
from helpers import invented_ranch as ranch
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.core.settings import FLAG_CODES
from stressmap.core.units import BAR_PER
from stressmap.quality import reading_error, unit_suspect
from stressmap.quality.checks import CHECKS, assess
from stressmap.quality.tree_identity import tree_codes

BLOCKS = ranch.blocks()
CLEAN = ranch.readings(BLOCKS)


def changed(**cells: object) -> pd.DataFrame:
    """The clean readings with cells of the first row changed."""
    table = CLEAN.copy()
    for column, value in cells.items():
        table.loc[0, column] = value
    return table


def local(clock: str, day: str = "2026-07-14") -> pd.Timestamp:
    return pd.Timestamp(f"{day} {clock}", tz=ranch.ZONE)


def test_there_is_one_line_for_every_flag_code() -> None:
    assert tuple(CHECKS) == FLAG_CODES


def test_clean_readings_pass_and_nothing_is_lost() -> None:
    out = ranch.assess(CLEAN, BLOCKS)
    assert out["row"].tolist() == CLEAN["row"].tolist()
    assert out["used"].all()
    assert out["flags"].tolist() == [()] * len(CLEAN)
    assert (out["swp_bar"] == -CLEAN["pressure_bar"]).all()
    assert [b.split("-")[0] for b in out["tree_id"]] == out["block"].tolist()


@pytest.mark.parametrize(
    ("cells", "code", "used"),
    [
        ({"pressure_bar": np.nan}, "no_value", False),
        ({"lon": np.nan}, "no_place", False),
        ({"lat": 95.0, "lon": 10.0}, "no_place", False),
        ({"time": pd.NaT}, "no_time", False),
        ({"lon": -121.9}, "outside_blocks", False),
        ({"time": local("12:59")}, "outside_window", False),
        ({"time": local("15:01")}, "outside_window", False),
        ({"bag_minutes": 9.0}, "short_bag", False),
        ({"recheck_bar": 40.0}, "recheck_apart", False),
        ({"pressure_bar": 0.0}, "impossible_value", False),
        ({"time": local("13:30", "2026-07-13")}, "outside_visit", False),
        ({"time": local("13:30", "2026-07-15")}, "outside_visit", False),
        ({"pressure_bar": -12.0}, "sign_read_as_potential", True),
        ({"lon": CLEAN.loc[0, "lat"], "lat": CLEAN.loc[0, "lon"]}, "lonlat_swapped", True),
    ],
)
def test_a_fault_gets_its_code_and_its_consequence(cells: dict, code: str, used: bool) -> None:  # noqa: FBT001
    out = ranch.assess(changed(**cells), BLOCKS)
    assert out.loc[0, "flags"] == (code,)
    assert out.loc[0, "used"] == used
    assert out["used"].iloc[1:].all()


@pytest.mark.parametrize(
    "cells",
    [
        {"time": local("13:00")},
        {"time": local("15:00:59")},
        {"bag_minutes": 10.0},
        {"bag_minutes": np.nan},
        {"pressure_bar": 12.0, "recheck_bar": 13.0},
        {"pressure_bar": 12.0, "recheck_bar": -11.5},
        {"time": local("00:00") + pd.Timedelta(hours=13)},
    ],
)
def test_a_reading_at_the_edge_passes(cells: dict) -> None:
    assert ranch.assess(changed(**cells), BLOCKS).loc[0, "flags"] == ()


def test_the_bounds_of_what_is_possible_are_a_setting() -> None:
    out = ranch.assess(changed(pressure_bar=31.0, recheck_bar=np.nan), BLOCKS, possible_bar=[0.5, 30.0])
    assert out.loc[0, ["flags", "used"]].tolist() == [("impossible_value",), False]


@pytest.mark.parametrize(
    ("bar", "flags"),
    [(0.4, ("impossible_value",)), (0.5, ()), (30.0, ()), (30.1, ("impossible_value",))],
)
def test_the_edge_of_what_is_possible_is_possible(bar: float, flags: tuple[str, ...]) -> None:
    """The least and the greatest that a tree can show are what it can show."""
    kept = ["unit_suspect", "unlike_neighbours"]
    out = ranch.assess(
        changed(pressure_bar=bar, recheck_bar=np.nan), BLOCKS, possible_bar=[0.5, 30.0], keep=kept
    )
    found = tuple(f for f in out.loc[0, "flags"] if f == "impossible_value")
    assert found == flags


@pytest.mark.parametrize(
    ("clock", "flags"),
    [("13:29", ("outside_window",)), ("13:30", ()), ("14:10", ()), ("14:11", ("outside_window",))],
)
def test_a_window_with_seconds_is_kept_to_the_minute(clock: str, flags: tuple[str, ...]) -> None:
    """From half a minute before 13:30 to half a minute after 14:10: a minute begun belongs to its hour."""
    out = ranch.assess(changed(time=local(clock)), BLOCKS.iloc[:1], window=["13:29:30", "14:10:30"])
    assert out.loc[0, "flags"] == flags


def test_keep_brings_a_kind_back_and_keeps_its_flag() -> None:
    out = ranch.assess(changed(bag_minutes=3.0), BLOCKS, keep=["short_bag"])
    assert out.loc[0, ["flags", "used"]].tolist() == [("short_bag",), True]


@pytest.mark.parametrize("cells", [{"pressure_bar": np.nan}, {"lon": np.nan}, {"lon": -121.9}])
def test_keep_cannot_bring_back_what_is_nowhere_or_nothing(cells: dict) -> None:
    out = ranch.assess(changed(**cells), BLOCKS, keep=["no_value", "no_place", "outside_blocks"])
    assert not out.loc[0, "used"]


def test_other_checks_are_made_on_readings_of_another_visit() -> None:
    out = ranch.assess(changed(time=local("16:30", "2026-06-01"), bag_minutes=2.0), BLOCKS)
    assert out.loc[0, "flags"] == ("outside_window", "short_bag", "outside_visit")


def test_a_row_entered_twice_is_a_duplicate_and_the_first_stays() -> None:
    table = pd.concat([CLEAN, CLEAN.iloc[[3]]], ignore_index=True)
    table["row"] = range(2, len(table) + 2)
    out = ranch.assess(table, BLOCKS)
    assert out.loc[3, "flags"] == ()
    assert out.iloc[-1]["flags"] == ("duplicate",)
    assert not out.iloc[-1]["used"]


@pytest.mark.parametrize(
    "cells",
    [
        {"pressure_bar": CLEAN.loc[3, "pressure_bar"] + 0.7},
        {"leaf": "2"},
        {"chamber": "B"},
        {"time": local("14:59")},
    ],
)
def test_a_second_leaf_of_a_tree_is_no_duplicate(cells: dict) -> None:
    table = pd.concat([CLEAN, CLEAN.iloc[[3]]], ignore_index=True)
    table["row"] = range(2, len(table) + 2)
    table[["leaf", "chamber"]] = table[["leaf", "chamber"]].astype(object)
    table.loc[3, ["leaf", "chamber"]] = ["1", "A"]
    table.loc[len(table) - 1, ["leaf", "chamber"]] = ["1", "A"]
    for column, value in cells.items():
        table.loc[len(table) - 1, column] = value
    out = ranch.assess(table, BLOCKS, recheck_bar=20.0)
    assert out.iloc[-1]["used"]
    assert "duplicate" not in out.iloc[-1]["flags"]


def in_another_unit(unit: str, decimals: int) -> pd.DataFrame:
    """The clean readings and, below them, once more as a gauge of another unit shows them."""
    per = BAR_PER[unit]
    again = CLEAN.assign(
        pressure_bar=(CLEAN["pressure_bar"] / per).round(decimals) * per, recheck_bar=np.nan, unit=unit
    )
    table = pd.concat([CLEAN.assign(unit="bar"), again], ignore_index=True)
    table["row"] = range(2, len(table) + 2)
    return table


@pytest.mark.parametrize(("unit", "decimals"), [("psi", 0), ("psi", 1), ("MPa", 2), ("kPa", 0), ("kPa", -1)])
def test_readings_once_more_in_another_unit_are_duplicates_and_no_repeat_leaves(
    unit: str, decimals: int
) -> None:
    out = ranch.assess(in_another_unit(unit, decimals), BLOCKS)
    n = len(CLEAN)
    assert out["flags"].iloc[:n].tolist() == [()] * n
    assert out["flags"].iloc[n:].tolist() == [("duplicate",)] * n
    assert reading_error.estimate(out).repeats == 0


def test_a_third_unit_is_held_against_the_other_two() -> None:
    table = pd.concat([in_another_unit("psi", 0), in_another_unit("MPa", 2).iloc[len(CLEAN) :]])
    table = table.iloc[len(CLEAN) :].assign(row=lambda t: range(2, len(t) + 2)).reset_index(drop=True)
    out = ranch.assess(table, BLOCKS)
    assert out["used"].tolist() == [True] * len(CLEAN) + [False] * len(CLEAN)


@pytest.mark.parametrize("cells", [{"pressure_bar": 0.3}, {"time": pd.Timedelta(minutes=2)}])
def test_a_second_leaf_in_another_unit_is_no_duplicate(cells: dict) -> None:
    table = in_another_unit("psi", 0)
    for column, more in cells.items():
        table.loc[len(table) - 1, column] -= more
    assert ranch.assess(table, BLOCKS).iloc[-1]["flags"] == ()


def test_leaves_of_one_minute_and_one_unit_differ_by_any_step() -> None:
    table = in_another_unit("psi", 0).iloc[len(CLEAN) :]
    table = pd.concat([table, table.assign(pressure_bar=table["pressure_bar"] + BAR_PER["psi"])])
    table = table.assign(row=range(2, len(table) + 2)).reset_index(drop=True)
    assert ranch.assess(table, BLOCKS)["used"].all()


def test_one_mpa_reading_among_bars_is_suspect() -> None:
    out = ranch.assess(changed(pressure_bar=CLEAN.loc[0, "pressure_bar"] / 10), BLOCKS)
    assert "unit_suspect" in out.loc[0, "flags"]
    assert out["used"].tolist() == [False] + [True] * (len(CLEAN) - 1)


def test_a_lost_decimal_point_is_suspect() -> None:
    out = ranch.assess(changed(pressure_bar=CLEAN.loc[0, "pressure_bar"] * 10), BLOCKS)
    assert "unit_suspect" in out.loc[0, "flags"]
    assert out["used"].sum() == len(CLEAN) - 1


def test_a_column_half_in_mpa_loses_the_mpa_half_only() -> None:
    table = CLEAN.copy()
    half = np.arange(len(table)) % 2 == 0
    table.loc[half, "pressure_bar"] /= 10
    table["recheck_bar"] = np.nan
    out = ranch.assess(table, BLOCKS)
    assert (out["used"].to_numpy() == ~half).all()


def test_a_day_wholly_in_mpa_is_suspect() -> None:
    table = CLEAN.assign(pressure_bar=CLEAN["pressure_bar"] / 10, recheck_bar=np.nan)
    assert all("unit_suspect" in flags for flags in ranch.assess(table, BLOCKS)["flags"])


def at(x: float, y: float, **cells: object) -> pd.DataFrame:
    lon, lat = ranch.TO_DEGREES.transform(ranch.WEST + x, ranch.SOUTH + y)
    return changed(lon=lon, lat=lat, **cells)


def test_a_reading_just_off_a_block_belongs_to_it_and_is_marked() -> None:
    out = ranch.assess(at(-8.0, 50.0), BLOCKS)
    assert out.loc[0, ["block", "valve", "flags", "used"]].tolist() == ["B1", "B1W", ("near_boundary",), True]


def test_a_reading_whose_accuracy_reaches_the_next_valve_is_marked() -> None:
    assert ranch.assess(at(92.0, 50.0, gps_accuracy_m=4.0), BLOCKS).loc[0, "flags"] == ()
    assert ranch.assess(at(92.0, 50.0, gps_accuracy_m=9.0), BLOCKS).loc[0, "flags"] == ("near_boundary",)


def test_the_valve_that_the_crew_wrote_ends_the_doubt() -> None:
    out = ranch.assess(at(92.0, 50.0, gps_accuracy_m=9.0, valve="b1w"), BLOCKS)
    assert out.loc[0, ["valve", "flags"]].tolist() == ["B1W", ()]


def test_the_crew_wins_over_the_gps_and_the_contradiction_is_marked() -> None:
    out = ranch.assess(at(98.0, 50.0, valve="B1E"), BLOCKS)
    assert out.loc[0, ["block", "valve", "flags", "used"]].tolist() == ["B1", "B1E", ("near_boundary",), True]
    out = ranch.assess(at(198.0, 50.0, block="Block B2"), BLOCKS)
    assert out.loc[0, ["block", "flags", "used"]].tolist() == ["B2", ("near_boundary",), True]


def test_a_crew_far_from_its_block_is_said() -> None:
    out = ranch.assess_noted(at(100.0, 150.0, block="B4", tree_id="B4-T9"), BLOCKS)
    assert out.value.loc[0, ["block", "flags", "used"]].tolist() == ["B4", ("near_boundary",), True]
    assert english(out) == [
        "Readings over 164 ft from the block that the crew wrote (row 2); the crew's block was taken. "
        "Correct the block or the coordinates."
    ]


@pytest.mark.parametrize(
    ("count", "shown"), [(8, "2, 3, 4, 5, 6, 7, 8, 9"), (9, "2, 3, 4, 5, 6, 7, 8, 9 and 1 more")]
)
def test_eight_rows_far_from_their_block_are_named(count: int, shown: str) -> None:
    table = CLEAN.copy()
    table["block"] = table["block"].astype(object)
    for i in range(count):
        lon, lat = ranch.TO_DEGREES.transform(ranch.WEST + 60.0 + 7 * i, ranch.SOUTH + 150.0)
        table.loc[i, ["lon", "lat"]] = [lon, lat]
        table.loc[i, "block"] = "B4"
        table.loc[i, "tree_id"] = f"B4-X{i}"
    said = " ".join(english(ranch.assess_noted(table, BLOCKS)))
    assert f"(row {shown}); the crew's block was taken" in said


def test_a_block_that_does_not_exist_is_said_and_the_position_decides() -> None:
    out = ranch.assess_noted(changed(block="Nowhere"), BLOCKS)
    assert out.value.loc[0, ["block", "flags"]].tolist() == ["B1", ()]
    assert english(out) == ["Readings name blocks that do not exist ('Nowhere'); their position decided."]


def test_a_reading_far_away_is_outside_whatever_the_crew_wrote() -> None:
    out = ranch.assess(at(5000.0, 50.0, block="B2"), BLOCKS)
    assert out.loc[0, ["flags", "used"]].tolist() == [("outside_blocks",), False]


def test_tables_in_another_crs_are_refused() -> None:
    moved = BLOCKS.to_crs("EPSG:32611")
    with pytest.raises(DataError) as error:
        assess(CLEAN, moved, ranch.valves(BLOCKS), ranch.settings(), ranch.VISIT, ranch.CRS)
    assert str(error.value) == (
        "blocks: they are not in the working CRS. Bring all tables into one projected CRS first."
    )


def test_one_name_at_two_places_is_two_trees() -> None:
    table = CLEAN.iloc[[0, 1, 0]].assign(tree_id="1", block="B1").reset_index(drop=True)
    table.loc[2, "lon"] += 5e-5
    assert tree_codes(table).tolist() == [0, 1, 0]


def test_nameless_readings_at_one_place_are_one_tree() -> None:
    """Seven decimals of a degree are a centimetre: what differs beyond is the same spot."""
    table = CLEAN.iloc[[0, 0, 0]].assign(tree_id=None, lat=[38.85, 38.85 + 2e-8, 38.85 + 2e-7], lon=-121.0)
    table = table.reset_index(drop=True)
    assert tree_codes(table).tolist() == [0, 0, 1]
    assert tree_codes(table.assign(lon=[-121.0, -121.0 - 2e-8, -121.0], lat=38.85)).tolist() == [0, 0, 0]


def test_few_and_many_readings_have_the_same_nearest() -> None:
    xy = np.random.default_rng(3).uniform(0, 400, (300, 2))
    few, many = unit_suspect._few_nearest(xy, 9), unit_suspect._many_nearest(xy, 9)
    assert (few == many).all()


def test_two_very_dry_trees_among_wet_ones_are_used_and_said() -> None:
    table = CLEAN.assign(pressure_bar=6.5, recheck_bar=np.nan)
    table.loc[[0, 1], "pressure_bar"] = [40.0, 42.0]
    out = ranch.assess_noted(table, BLOCKS)
    assert out.value["used"].all()
    assert [f for f in out.value["flags"] if f] == []
    assert english(out) == [
        "2 readings (row 2, 3) are five times as high as most around and more, but agree with another: they "
        "count as trees that dry. If they are in another unit (psi), correct them."
    ]
    table.loc[1, "pressure_bar"] = 6.5
    alone = ranch.assess_noted(table, BLOCKS)
    assert alone.value.loc[0, ["flags", "used"]].tolist() == [("unit_suspect",), False]
    assert english(alone) == []
