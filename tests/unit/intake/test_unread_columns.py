"""Which columns were read, which were not, and what an unread one may have been meant as."""

import pytest

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.core.row_counts import Columns
from stressmap.intake.blocks_and_valves import BLOCK_FIELDS, VALVE_FIELDS
from stressmap.intake.columns import match, recogniser
from stressmap.intake.heading_guesses import meant_by
from stressmap.intake.heading_recognition import Fields, recognise
from stressmap.intake.irrigation_log import FIELDS as LOG
from stressmap.intake.spellings import FIELDS
from stressmap.intake.tabular import read_delimited
from stressmap.intake.unread_columns import columns_of
from stressmap.intake.weather import FIELDS as STATION

PRESSURES = ["12.0", "14.5", "9.8", "11.1"]


def columns(
    headings: str, rows: list[str], chosen: dict[str, str] | None = None, fields: Fields = FIELDS
) -> Noted[Columns]:
    text = "\n".join([headings, *rows]).encode()
    sheet = read_delimited(text, "readings.csv", recogniser(fields, chosen or {})).value
    return columns_of(sheet, match(sheet, fields, chosen or {}), fields, chosen or {})


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


@pytest.mark.parametrize(
    ("heading", "ours", "unit", "fields"),
    [
        ("IRRIG_SYST", "irrigation", None, BLOCK_FIELDS), ("VARIETY_NM", "variety", None, BLOCK_FIELDS),
        ("PLANT_YR", "planted", None, BLOCK_FIELDS), ("ROW_SPACNG", "row_spacing_m", None, BLOCK_FIELDS),
        ("ROW_SPC_FT", "row_spacing_m", "ft", BLOCK_FIELDS), ("CROP_CD", "crop", None, BLOCK_FIELDS),
        ("PRECIP_MMH", "rate", "mm/h", VALVE_FIELDS), ("PUMP_NAME", "pump", None, VALVE_FIELDS),
        ("precip in/h", "rate", "in/h", VALVE_FIELDS),
        ("Hrs", "hours", "h", LOG), ("Hours run", "hours", None, LOG), ("Minutos", "hours", "min", LOG),
        ("Minutes", "hours", "min", LOG), ("min", "hours", "min", LOG), ("Run (min)", "hours", "min", LOG),
        ("Inches", "mm", "in", LOG), ("in", "mm", "in", LOG), ("mm applied", "mm", None, LOG),
        ("Hum. Rel. Media (%)", "rh_pct", "%", STATION), ("Temp Aire Prom", "temp_c", None, STATION),
        ("HR Prom", "rh_pct", None, STATION), ("Temperatura Promedio", "temp_c", None, STATION),
        ("Humedad Promedio", "rh_pct", None, STATION), ("T Aire \u00baC", "temp_c", "C", STATION),
        ("T Aire \u00b0C", "temp_c", "C", STATION), ("H.R. %", "rh_pct", "%", STATION),
        ("AirTC_Avg", "temp_c", None, STATION),
        ("tapado", "bagged_at", None, FIELDS), ("covered at", "bagged_at", None, FIELDS),
    ],
)  # fmt: skip
def test_cut_and_joined_headings_are_read(heading: str, ours: str, unit: str | None, fields: Fields) -> None:
    seen = recognise(heading, fields)
    assert seen is not None
    assert (seen.ours, seen.unit) == (ours, unit)


@pytest.mark.parametrize(
    ("heading", "fields"),
    [
        ("OBJECTID", BLOCK_FIELDS), ("PRECIP", VALVE_FIELDS), ("SHAPE_AREA", BLOCK_FIELDS),
        ("PLANT_SP", BLOCK_FIELDS),
        ("Temperatura M\u00e1xima", STATION), ("Hum Min", STATION), ("Temp Suelo Prom", STATION),
    ],
)  # fmt: skip
def test_other_headings_stay_unread(heading: str, fields: Fields) -> None:
    assert recognise(heading, fields) is None


@pytest.mark.parametrize(
    ("heading", "cell", "ours", "fields"),
    [
        ("yr of plntd", "2005", "planted", BLOCK_FIELDS),
        ("riego actual", "goteo", "irrigation", BLOCK_FIELDS),
        ("suelo pred", "loam", "soil", BLOCK_FIELDS), ("cosecha est", "2026-09-01", "harvest", BLOCK_FIELDS),
    ],
)  # fmt: skip
def test_an_unread_column_on_which_the_plan_rests_is_a_warning(
    heading: str, cell: str, ours: str, fields: Fields
) -> None:
    said = columns(f"block,crop,{heading}", [f"N1,almond,{cell}", f"N2,almond,{cell}"], fields=fields)
    assert [(n.code, n.severity, n.value("ours")) for n in said.notes] == [
        ("column_likely_unread", "warning", ours)
    ]


def test_an_unread_length_of_a_set_is_a_warning() -> None:
    said = columns("valve,start,hrs open", ["V1,2026-07-10 06:00,9", "V2,2026-07-10 06:00,9"], fields=LOG)
    assert [(n.code, n.value("ours")) for n in said.notes] == [("column_likely_unread", "hours")]


def test_pressures_under_the_heading_of_a_leaf_are_a_warning() -> None:
    rows = [f"T{i},{p},{float(p) + 0.2:.1f}" for i, p in enumerate(PRESSURES)]
    said = columns("tree,bar,repetici\u00f3n", rows)
    assert [(n.code, n.severity, n.value("ours")) for n in said.notes] == [
        ("leaf_likely_second", "warning", "recheck_bar")
    ]
    assert columns("tree,bar,repetici\u00f3n", rows, {"repetici\u00f3n": "leaf"}).notes == ()
    labels = [f"T{i},{p},{i % 2 + 1}" for i, p in enumerate(PRESSURES)]
    assert columns("tree,bar,replicate", labels).notes == ()


@pytest.mark.parametrize(
    ("cell", "ours"), [("12:42", "bagged_at"), ("0:12", "bag_minutes"), ("12", "bag_minutes")]
)
def test_clocks_of_the_day_are_when_a_leaf_was_bagged(cell: str, ours: str) -> None:
    said = columns("tree,bar,bolsa puesta", [f"T{i},{p},{cell}" for i, p in enumerate(PRESSURES)])
    assert [n.value("ours") for n in said.notes] == [ours]


def test_a_refused_table_names_the_likely_column() -> None:
    text = b"Fecha,Temp,Hum Ext Sensor\n2026-07-01,20,50\n"
    sheet = read_delimited(text, "station.csv", recogniser(STATION, {})).value
    with pytest.raises(DataError, match='"Hum Ext Sensor" = "rh_pct"'):
        match(sheet, STATION, {}, required=("temp_c", "rh_pct"))
