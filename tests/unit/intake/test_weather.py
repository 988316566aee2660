"""Weather files as stations write them: mended and said, or refused in one line."""

from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.intake.weather import read_weather

ZONE = ZoneInfo("America/Los_Angeles")
FILE = "weather.csv"


def read(folder: Path, text: str, zone: ZoneInfo = ZONE) -> tuple[pd.DataFrame, list[str]]:
    path = folder / FILE
    path.write_text(text, encoding="utf-8")
    record = read_weather(path, zone=zone)
    return record.value, [said.replace(str(path), FILE) for said in english(record)]


def refused(folder: Path, text: str, zone: ZoneInfo = ZONE) -> str:
    with pytest.raises(DataError) as caught:
        read(folder, text, zone)
    return str(caught.value).replace(str(folder / FILE), FILE)


def record(clock_offset_h: int = 0, days: int = 3, *, sun: bool = False) -> str:
    """Hours of July days whose warmest time is 16:00 and noon 13:00, by a clock so many hours ahead."""
    time = pd.date_range("2026-07-12", periods=24 * days, freq="h")
    temp = 25.0 + 10.0 * np.cos(2.0 * np.pi * (time.hour - 16.0) / 24.0)
    light = np.maximum(np.cos(2.0 * np.pi * (time.hour - 13.0) / 24.0), 0.0) * 950.0
    columns = {"time": time + pd.Timedelta(hours=clock_offset_h), "temp_c": temp.round(1), "rh_pct": 40.0}
    if sun:
        columns["solar_w_m2"] = light.round(0)
    return pd.DataFrame(columns).to_csv(index=False)


def test_a_plain_file_says_nothing(tmp_path: Path) -> None:
    table, said = read(tmp_path, "time,temp_c,rh_pct\n2026-07-14 13:00,35,25\n2026-07-14 14:00,36,22\n")
    assert list(table.columns) == [
        "time",
        "temp_c",
        "rh_pct",
        "wind_m_s",
        "solar_w_m2",
        "eto_mm",
        "rain_mm",
    ]
    assert str(table["time"].dt.tz) == str(ZONE)
    assert table["temp_c"].tolist() == [35.0, 36.0]
    assert said == []


def test_units_of_the_headings(tmp_path: Path) -> None:
    table, said = read(
        tmp_path,
        "Date;Hour;Temp (F);RH (%);Wind (mph);Solar (MJ/m2);ETo (in)\n"
        "7/14/2026;1300;95;25;10;3,6;0,02\n7/14/2026;1400;104;20;10;3,6;0,02\n",
    )
    row = table.iloc[0]
    assert row["time"] == pd.Timestamp("2026-07-14 13:00", tz=ZONE)
    # 95 °F is 35 °C; a mile is 1609.344 m; 3.6 MJ an hour is 1 kW; an inch 25.4 mm (all exact)
    assert row[["temp_c", "wind_m_s", "solar_w_m2", "eto_mm"]].tolist() == pytest.approx(
        [35.0, 4.4704, 1000.0, 0.508]
    )
    assert said == []


def test_spanish_headings_and_two_columns_for_the_moment(tmp_path: Path) -> None:
    table, _ = read(tmp_path, "fecha;hora;temperatura;humedad relativa\n14/07/2026;13:00;35,5;25\n")
    assert table.loc[0, ["temp_c", "rh_pct"]].tolist() == [35.5, 25.0]
    assert table.loc[0, "time"] == pd.Timestamp("2026-07-14 13:00", tz=ZONE)


def test_fahrenheit_in_a_celsius_column(tmp_path: Path) -> None:
    table, said = read(tmp_path, "time,temp_c,rh_pct\n2026-07-14 13:00,95,25\n2026-07-14 14:00,104,20\n")
    assert table["temp_c"].tolist() == [35.0, 40.0]
    assert said == [
        "weather.csv, column temp_c: the values (middle one 99.5) can only be Fahrenheit; they were "
        "converted."
    ]


def test_one_spike_is_no_fahrenheit(tmp_path: Path) -> None:
    text = record().replace("2026-07-13 15:00:00,34.7", "2026-07-13 15:00:00,99.9")
    table, said = read(tmp_path, text)
    assert table["temp_c"].isna().sum() == 1
    assert said == [
        "weather.csv, column temp_c: 1 value (row 41) cannot be an air temperature in Celsius; left out."
    ]


def test_humidity_as_a_fraction(tmp_path: Path) -> None:
    table, said = read(tmp_path, "time,temp_c,rh_pct\n2026-07-14 13:00,35,0.25\n2026-07-14 14:00,36,0.2\n")
    assert table["rh_pct"].tolist() == [25.0, 20.0]
    assert said == [
        "weather.csv, column rh_pct: the values (highest 0.25) are fractions; they were taken times 100."
    ]


@pytest.mark.parametrize("wrong", ["-3", "-999", "140"])
def test_impossible_humidity(tmp_path: Path, wrong: str) -> None:
    table, said = read(tmp_path, f"time,temp_c,RH\n2026-07-14 13:00,35,25\n2026-07-14 14:00,36,{wrong}\n")
    assert table["rh_pct"].isna().tolist() == [False, True]
    assert said == ["weather.csv, column RH: 1 value (row 3) cannot be a humidity in per cent; left out."]


def test_per_cent_signs_in_the_cells(tmp_path: Path) -> None:
    table, said = read(tmp_path, "time,temp_c,rh\n2026-07-14 13:00,35,25%\n2026-07-14 14:00,36,22 %\n")
    assert table["rh_pct"].tolist() == [25.0, 22.0]
    assert said == []


def test_a_sensor_a_little_over_saturation(tmp_path: Path) -> None:
    table, said = read(tmp_path, "time,temp_c,rh_pct\n2026-07-14 05:00,12,102\n")
    assert table["rh_pct"].tolist() == [100.0]
    assert said == []


def test_text_in_a_number_column_names_row_and_column(tmp_path: Path) -> None:
    assert refused(tmp_path, "time,temp_c,rh_pct\n2026-07-14 13:00,warm,25\n") == (
        "weather.csv, row 2, column temp_c: 'warm' is not a number. Write degrees as a number, or leave "
        "the cell "
        "empty."
    )


def test_a_missing_column_is_named(tmp_path: Path) -> None:
    assert refused(tmp_path, "time,temp_c\n2026-07-14 13:00,35\n") == (
        "weather.csv: no column is recognised as rh_pct (usual headings: rh_pct, rh, humidity, rel_hum); the "
        'file has time, temp_c. Add it, or name it under [columns], "your heading" = "rh_pct".'
    )


def test_a_missing_time_is_named(tmp_path: Path) -> None:
    assert refused(tmp_path, "when,temp_c,rh_pct\n2026-07-14 13:00,35,20\n") == (
        "weather.csv: no column is recognised as time (usual headings: time, datetime, date and hour); it "
        "has "
        'temp_c, rh_pct. Name it under [columns], "your heading" = "time".'
    )


def test_rows_out_of_order_and_twice(tmp_path: Path) -> None:
    text = "time,temp_c,rh_pct\n2026-07-14 14:00,36,22\n2026-07-14 13:00,35,25\n2026-07-14 13:00,30,25\n"
    table, said = read(tmp_path, text)
    assert table["temp_c"].tolist() == [35.0, 36.0]
    assert said == [
        "weather.csv: 1 row repeats a time; the first of each was taken.",
        "weather.csv: the rows are not in order of time; they were put in order.",
    ]


def test_the_hour_that_exists_twice(tmp_path: Path) -> None:
    hours = ["00:00", "01:00", "01:00", "02:00"]
    rows = "".join(f"2026-11-01 {hour},{10 + i},60\n" for i, hour in enumerate(hours))
    table, said = read(tmp_path, "time,temp_c,rh_pct\n" + rows)
    assert table["time"].diff().dropna().eq(pd.Timedelta(hours=1)).all()
    assert table["temp_c"].tolist() == [10.0, 11.0, 12.0, 13.0]
    assert len(said) == 1
    assert "exist twice (the clock was put back)" in said[0]


def test_the_hour_that_does_not_exist(tmp_path: Path) -> None:
    text = "time,temp_c,rh_pct\n2026-03-08 01:00,10,60\n2026-03-08 02:30,11,60\n2026-03-08 04:00,12,60\n"
    table, said = read(tmp_path, text)
    assert table["time"].iloc[1] == pd.Timestamp("2026-03-08 03:30", tz=ZONE)
    assert len(said) == 1
    assert "does not exist (the clock was put forward)" in said[0]


def test_times_with_an_offset_are_exact(tmp_path: Path) -> None:
    table, said = read(tmp_path, "time,temp_c,rh_pct\n2026-07-14T20:00Z,35,25\n")
    assert table["time"].iloc[0] == pd.Timestamp("2026-07-14 13:00", tz=ZONE)
    assert said == []


REMEDY = (
    "Write its times with their offset from UTC, as 2026-07-14T20:00Z, or in the ranch's time zone; or "
    "correct "
    "[ranch] timezone."
)


def test_a_station_that_writes_utc_is_found_by_its_warmest_time(tmp_path: Path) -> None:
    assert refused(tmp_path, record(7)) == (
        "weather.csv, column time: the warmest time of day is around 23:00, so its times are not those of "
        f"America/Los_Angeles. {REMEDY}"
    )


def test_a_station_of_another_coast_is_found_by_its_sun(tmp_path: Path) -> None:
    assert refused(tmp_path, record(3, sun=True)) == (
        "weather.csv, column time: the middle of the sunshine is around 16:00, so its times are not those of "
        f"America/Los_Angeles. {REMEDY}"
    )


@pytest.mark.parametrize("sun", [True, False])
def test_a_station_with_the_ranch_clock_passes(tmp_path: Path, sun: bool) -> None:  # noqa: FBT001
    _, said = read(tmp_path, record(sun=sun))
    assert said == []


def test_hours_of_measuring_alone_cannot_be_judged_and_pass(tmp_path: Path) -> None:
    table, said = read(tmp_path, "time,temp_c,rh_pct\n2026-07-14 03:00,35,25\n2026-07-14 04:00,36,22\n")
    assert len(table) == 2
    assert said == []


def test_units_written_in_cells_are_honoured(tmp_path: Path) -> None:
    rows = "2026-07-14 13:00,34 °C,25\n2026-07-14 14:00,93 °F,22\n"
    table, _ = read(tmp_path, "time,temp,rh_pct\n" + rows)
    assert table["temp_c"].tolist() == pytest.approx([34.0, 61 / 1.8])  # the definition of the scale


@pytest.mark.parametrize(
    "heading", ["rain_mm", "Precip (mm)", "Rainfall (mm)", "lluvia (mm)", "Precipitación (mm)"]
)
def test_rain_in_both_languages(tmp_path: Path, heading: str) -> None:
    table, said = read(
        tmp_path, f"time,temp_c,rh_pct,{heading}\n2026-04-14 13:00,15,85,2.5\n2026-04-14 14:00,15,85,\n"
    )
    assert table["rain_mm"].tolist() == pytest.approx([2.5, np.nan], nan_ok=True)
    assert said == []


def test_rain_in_inches_and_rain_that_cannot_be(tmp_path: Path) -> None:
    table, said = read(
        tmp_path, "time,temp_c,rh_pct,rain (in)\n2026-04-14 13:00,15,85,0.1\n2026-04-14 14:00,15,85,-3\n"
    )
    assert table["rain_mm"].tolist() == pytest.approx(
        [2.54, np.nan], nan_ok=True
    )  # an inch is 25.4 mm, exact
    assert len(said) == 1
    assert "mm an hour" in said[0]
