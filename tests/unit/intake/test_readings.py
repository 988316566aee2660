"""Single cells of a readings file: what people write, what it comes to, and what is said about it."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from helpers.invented_ranch import settings
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.core.settings import Settings
from stressmap.intake.coordinates import parse_angle
from stressmap.intake.numbers import parse_numbers
from stressmap.intake.readings import read_readings


def read_noted(tmp_path: Path, column: str, cells: list[str], chosen: Settings | None = None) -> Noted:
    """Readings that are clean but for one column, and what was said of them."""
    head = {"tree_id": "T", "time": "2026-07-14 13:30", "lon": "-121.5", "lat": "38.5", "pressure_bar": "12"}
    rows = [{**head, column: cell} for cell in cells]
    path = tmp_path / "r.csv"
    pd.DataFrame(rows).to_csv(path, index=False)
    return read_readings(path, chosen or settings())


def read(tmp_path: Path, column: str, cells: list[str], chosen: Settings | None = None) -> pd.DataFrame:
    return read_noted(tmp_path, column, cells, chosen).value


@pytest.mark.parametrize(
    ("column", "cells", "minutes"),
    [
        ("bag_minutes", ["12", "12 min", "0:12", "7,5", "-", ""], [12, 12, 12, 7.5, np.nan, np.nan]),
        ("bag (h)", ["0.5", "1"], [30, 60]),
        ("bagged_at", ["13:10", "1:15 pm", "1318", "2026-07-14 13:00", "25"], [20, 15, 12, 30, 25]),
        ("bagged_at", ["13:45"], [-15]),
        ("Bagged", ["yes", "no", "sí", "x", ""], [np.nan, 0, np.nan, np.nan, np.nan]),
    ],
)
def test_minutes_in_the_bag(tmp_path: Path, column: str, cells: list[str], minutes: list[float]) -> None:
    np.testing.assert_allclose(read(tmp_path, column, cells)["bag_minutes"], minutes)


@pytest.mark.parametrize(
    ("column", "cells", "celsius"),
    [
        ("temp_c", ["31", "30,5", "29 °C"], [31, 30.5, 29]),
        ("temp_f", ["88"], [31.111]),
        ("Temperatura (°F)", ["88°F", ""], [31.111, np.nan]),
        ("temp", ["88", "91"], [31.111, 32.778]),
        ("temp", ["31", "33"], [31, 33]),
        ("temp_c", ["31", "310"], [31, np.nan]),
    ],
)
def test_temperature_at_the_tree(tmp_path: Path, column: str, cells: list[str], celsius: list[float]) -> None:
    np.testing.assert_allclose(read(tmp_path, column, cells)["temp_c"], celsius, atol=5e-4)


def test_an_unbelievable_temperature_is_left_out_and_said(tmp_path: Path) -> None:
    assert english(read_noted(tmp_path, "temp_c", ["31", "310"])) == [
        f"{tmp_path / 'r.csv'}, column temp_c: 1 value (row 3) cannot be an air temperature in Celsius; "
        "left out."
    ]


def test_a_temperature_without_a_unit_is_told_by_its_size_and_said(tmp_path: Path) -> None:
    assert english(read_noted(tmp_path, "temp", ["88"])) == [
        f"{tmp_path / 'r.csv'}: temp states no unit; degrees that air has only in Fahrenheit were taken so, "
        "the others as Celsius.",
        f"{tmp_path / 'r.csv'}, column temp: the values (middle one 88) can only be Fahrenheit; they were "
        "converted.",
    ]


def test_one_hot_cell_does_not_turn_a_celsius_column_into_fahrenheit(tmp_path: Path) -> None:
    found = read_noted(tmp_path, "temp", ["34"] * 98 + ["99"])
    # 99 °F is 37.2 °C: the definition of the scale
    assert found.value["temp_c"].tolist() == pytest.approx([34.0] * 98 + [(99 - 32) / 1.8])
    said = f"{tmp_path / 'r.csv'}, column temp: 1 value (row 100) can only be Fahrenheit; converted."
    assert said in english(found)


def test_a_unit_in_the_cell_goes_before_that_of_the_heading(tmp_path: Path) -> None:
    cells = ["34 °C", "93 °F", "93F", "33.9 C", "45 °F"]
    for heading in ("temp", "temp_c", "temp (F)"):
        found = read(tmp_path, heading, cells)["temp_c"]
        assert found.tolist() == pytest.approx([34.0, 61 / 1.8, 61 / 1.8, 33.9, 13 / 1.8])


def test_humidity_as_fractions_is_taken_as_percent_and_said(tmp_path: Path) -> None:
    found = read_noted(tmp_path, "rh_pct", ["0.3", "0.25"])
    assert found.value["rh_pct"].tolist() == [30.0, 25.0]
    assert any("are fractions; they were taken times 100" in note for note in english(found))


def test_humidity_as_percent_or_as_a_fraction(tmp_path: Path) -> None:
    assert read(tmp_path, "rh_pct", ["35", "40%", "101"])["rh_pct"].tolist()[:2] == [35.0, 40.0]
    assert read(tmp_path, "HR (%)", ["0.35"])["rh_pct"].tolist() == [35.0]


def test_our_own_heading_yields_to_the_unit_of_the_settings(tmp_path: Path) -> None:
    found = read_noted(tmp_path, "pressure_bar", ["1.25"], settings(unit="MPa"))
    assert found.value["pressure_bar"].tolist() == [12.5]
    assert english(found) == [f"{tmp_path / 'r.csv'}: pressure_bar is read in MPa, as [reading] unit says."]


def test_a_heading_with_another_unit_is_said(tmp_path: Path) -> None:
    chosen = settings().model_copy(update={"columns": {"Manometer (MPa)": "pressure_bar"}})
    found = read_noted(tmp_path, "Manometer (MPa)", ["-1.25"], chosen)
    assert found.value["pressure_bar"].tolist() == [-12.5]
    assert english(found) == [f"{tmp_path / 'r.csv'}: Manometer (MPa) is read in MPa, as its heading says."]


@pytest.mark.parametrize(
    ("cells", "numbers"),
    [
        (["1,5", "2,25"], [1.5, 2.25]),
        (["1,234", "2"], [1234, 2]),
        (["1,234", "2,5"], [1.234, 2.5]),
        (["1.234,5"], [1234.5]),
        (["1,234.5", "1 234.5"], [1234.5, 1234.5]),
        (["-0,5", "\u22120.5", "- 0.5"], [-0.5, -0.5, -0.5]),
        (["1e1", "+3", ".5", "5."], [10, 3, 0.5, 5]),
    ],
)
def test_numbers(cells: list[str], numbers: list[float]) -> None:
    value, bad = parse_numbers(pd.Series(cells))
    assert value.tolist() == numbers
    assert not bad.any()


@pytest.mark.parametrize("cell", ["x", "1_000", "inf", "1,2,3", "12.5.1", "0x10", "1e999", "12 13"])
def test_what_is_no_number(cell: str) -> None:
    value, bad = parse_numbers(pd.Series([cell]))
    assert value.isna().tolist() == bad.tolist() == [True]


@pytest.mark.parametrize(
    ("written", "degrees"),
    [
        ("121° 30' 36\" W", -121.51), ("121 30.6 O", -121.51), ("W121:30:36", -121.51),
        ("-121 30 36", -121.51),
        ("121\u00b030\u203236\u2033W", -121.51), ("121,51 oeste", -121.51), ("38.21 norte", 38.21),
        ("38d12m36s S", -38.21), ("38°12.6'", 38.21), ("+38.21", 38.21),
    ],
)  # fmt: skip
def test_coordinates_by_their_side_of_the_world(written: str, degrees: float) -> None:
    assert parse_angle(written) == pytest.approx(degrees, abs=1e-9)


@pytest.mark.parametrize("written", ["38 60", "38 12 61", "38.5 12", "N 38 S", "thirty", "", "38 12 36 7"])
def test_what_is_no_coordinate(written: str) -> None:
    assert np.isnan(parse_angle(written))


def test_nought_nought_is_no_place(tmp_path: Path) -> None:
    table = read(tmp_path, "lon", ["0", "-121.5"])
    assert table["lon"].isna().tolist() == [False, False]
    path = tmp_path / "r.csv"
    path.write_text(path.read_text().replace(",0,38.5", ",0,0"))
    assert read_readings(path, settings()).value["lon"].isna().tolist() == [True, False]


def test_every_faulty_cell_is_a_line_up_to_ten(tmp_path: Path) -> None:
    with pytest.raises(DataError) as error:
        read(tmp_path, "pressure_bar", ["12", *["wet"] * 13])
    lines = str(error.value).splitlines()
    assert len(lines) == 11
    assert lines[0].endswith(
        "r.csv, row 3, column pressure_bar: 'wet' is not a number. "
        "Write the pressure as a number, or leave the cell empty."
    )
    assert lines[-1].endswith(
        "r.csv, column pressure_bar: 3 more such cells. "
        "Write the pressure as a number, or leave the cell empty."
    )
