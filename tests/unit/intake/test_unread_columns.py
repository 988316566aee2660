"""Which columns were read, which were not, and what an unread one may have been meant as."""

import pytest

from stressmap.core.notes import Noted
from stressmap.core.row_counts import Columns
from stressmap.intake.blocks_and_valves import BLOCK_FIELDS
from stressmap.intake.columns import match, recognise, recogniser
from stressmap.intake.spellings import FIELDS
from stressmap.intake.tabular import read_delimited
from stressmap.intake.unread_columns import columns_of, meant_by
from stressmap.intake.weather import FIELDS as STATION

PRESSURES = ["12.0", "14.5", "9.8", "11.1"]


def columns(headings: str, rows: list[str], chosen: dict[str, str] | None = None) -> Noted[Columns]:
    text = "\n".join([headings, *rows]).encode()
    sheet = read_delimited(text, "readings.csv", recogniser(FIELDS, chosen or {})).value
    return columns_of(sheet, match(sheet, FIELDS, chosen or {}), FIELDS, chosen or {})


@pytest.mark.parametrize(
    ("heading", "ours"),
    [("irrigatio", "irrigation"), ("WETTED_SHA", "wetted_share"), ("year_plant", "planted")],
)
def test_a_heading_that_a_shapefile_cut_is_read(heading: str, ours: str) -> None:
    seen = recognise(heading, BLOCK_FIELDS)
    assert seen is not None
    assert seen.ours == ours


@pytest.mark.parametrize(
    ("heading", "ours", "unit"),
    [
        ("Humedad relativa", "rh_pct", None), ("HR (%)", "rh_pct", "%"), ("T. aire (C)", "temp_c", "C"),
        ("Temp F", "temp_c", "F"), ("Vel. viento (km/h)", "wind_m_s", "km/h"),
        ("Rad. solar (W/m²)", "solar_w_m2", "W/m2"), ("Precipitación (mm)", "rain_mm", "mm"),
        ("ETo", "eto_mm", None), ("Fecha", "day", None), ("Hora", "time", None),
    ],
)  # fmt: skip
def test_headings_of_a_station_are_read(heading: str, ours: str, unit: str | None) -> None:
    seen = recognise(heading, STATION)
    assert seen is not None
    assert (seen.ours, seen.unit) == (ours, unit)


@pytest.mark.parametrize("heading", ["2a lectura", "2ª lectura", "segunda lectura", "relectura", "2nd (psi)"])
def test_a_second_reading_is_read_as_such(heading: str) -> None:
    seen = recognise(heading, FIELDS)
    assert seen is not None
    assert seen.ours == "recheck"


def test_what_an_unread_column_may_mean_is_asked() -> None:
    assert meant_by("PLANT_YR", BLOCK_FIELDS) == "planted"
    assert meant_by("OBJECTID", BLOCK_FIELDS) is None


@pytest.mark.parametrize("heading", ["psi again", "zz"])
def test_a_likely_second_reading_that_is_unread_is_a_warning(heading: str) -> None:
    rows = [f"T{i},{p},{float(p) + 0.2:.1f}" for i, p in enumerate(PRESSURES)]
    said = columns(f"tree,bar,{heading}", rows)
    assert said.value == Columns((("tree", "tree_id"), ("bar", "pressure_bar")), ((heading, "recheck_bar"),))
    assert [(n.code, n.severity, n.value("column")) for n in said.notes] == [
        ("column_likely_unread", "warning", heading)
    ]
    assert columns(f"tree,bar,{heading}", rows, {heading: ""}).notes == ()


def test_a_column_in_whose_place_another_was_chosen_is_no_second_reading() -> None:
    rows = [f"T{i},{p},{p}" for i, p in enumerate(PRESSURES)]
    said = columns("tree,gauge,pressure_bar", rows, {"gauge": "pressure_bar"})
    assert said.notes == ()
    assert said.value.unread == (("pressure_bar", ""),)
