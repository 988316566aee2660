"""Awkward weather files: each says in its name what is awkward about it.

Every file of ``stations/`` gives the record of ``clean_station.csv`` (of rain, that of ``rain.csv``), and the
lines that ``SAID`` and ``TOLD`` have for it, or is refused with the lines of ``REFUSED``.
"""

from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.intake.weather import read_weather
from stressmap.output.text.note_words import rows_told
from stressmap.output.text.words import Words

HERE = Path(__file__).parent
FILES = sorted((HERE / "stations").iterdir())
ZONE = ZoneInfo("America/Los_Angeles")

SAID: dict[str, list[str]] = {
    "blank_rows_and_rows_twice.csv": [": 1 row repeats a time; the first of each was taken."],
    "clock_put_back_in_autumn.csv": [
        ": 4 times in time (row 4, 5, 6, 7) exist twice (the clock was put back); the order "
        "of the rows decided."
    ],
    "humidity_as_a_fraction.csv": [
        ", column rh: the values (highest 0.7) are fractions; they were taken times 100."
    ],
    "marks_for_nothing.csv": [
        ", column temp_c: 2 values (rows 10, 15) cannot be an air temperature in Celsius; left out.",
        ", column rh_pct: 2 values (rows 10, 15) cannot be a humidity in per cent; left out.",
        ", column wind: 4 values (rows 2, 7, 10, 15) cannot be (0 to 60 m/s); left out.",
        ": 8 rows without a value that can be used were left out.",
    ],
    "means_at_the_foot.csv": [
        ": 2 times in Fecha y hora (row 10, 11) could not be read.",
        ": 2 rows without a time were left out.",
    ],
    "milliseconds_since_1970.csv": [": timestamp counts seconds since 1970 (UTC); they were read as such."],
    "newest_first.csv": [": the rows are not in order of time; they were put in order."],
    "rain_counted_since_autumn.csv": [
        ", column Rain (mm): the figures count on (to 8.65 in) and do not say the rain of each row; what "
        "was added from row to row was taken."
    ],
    "rain_counted_since_midnight.csv": [
        ", column lluvia (pulg): the figures count on (to 0.29 in) and do not say the rain of each row; "
        "what was added from row to row was taken."
    ],
    "seconds_since_1970.csv": [": timestamp counts seconds since 1970 (UTC); they were read as such."],
    "serial_days_of_a_spreadsheet.csv": [": time holds serial day numbers; they were read as such."],
    "windows_letters.csv": [": the text is not UTF-8; it was read as Latin-1 (Windows 1252)."],
}
"""File -> its notes, without the file's name before them."""
TOLD = {
    "blank_rows_and_rows_twice.csv": ["row 9: it repeats the time of a row above."],
    "headings_on_every_page.csv": ["row 7: it repeats the headings."],
    "marks_for_nothing.csv": ["row 10, 11, 12, 13, 14, 15, 16, 17: none of its values can be used."],
    "means_at_the_foot.csv": ["row 10, 11: it has no date and time that can be read."],
}
_ADD = 'Add it, or name it under [columns], "your heading" = "{}".'
_NO_HUMIDITY = (
    ": no column is recognised as rh_pct (usual headings: rh_pct, rh, humidity, rel_hum); the file has "
)
_DAYS = "Date, Tmax, Tmin, RHmax, RHmin. "
REFUSED: dict[str, list[str]] = {
    "dates_that_leave_it_open.csv": [
        ", row 2, column time: '07/08/2026 18:00' can be day first or month first, and no other date of the "
        'column tells. Say [reading] date_order = "day-first" or "month-first".'
    ],
    "extremes_of_days_only.csv": [
        ": no column is recognised as temp_c (usual headings: temp_c, temp, temperature, air_temp); the file "
        f"has {_DAYS}{_ADD.format('temp_c')}",
        f"{_NO_HUMIDITY}{_DAYS}{_ADD.format('rh_pct')}",
    ],
    "no_column_for_the_time.csv": [
        ": no column is recognised as time (usual headings: time, datetime, date and hour); it has temp_c, "
        'rh_pct. Name it under [columns], "your heading" = "time".'
    ],
    "no_humidity.csv": [f"{_NO_HUMIDITY}time, temp_c, dew_point_c. {_ADD.format('rh_pct')}"],
    "old_workbook.xls": [
        ": it is a workbook of the old .xls kind, or protected by a password. Save it as .xlsx or CSV, "
        "without a password."
    ],
    "web_page_named_csv.csv": [
        ": it is a web page, not a table. Download the file itself; the page may ask to log in."
    ],
    "words_for_a_figure.csv": [
        ", row 3, column temp_c: 'hot' is not a number. Write degrees as a number, or leave the cell empty."
    ],
}
"""File -> its lines, without the file's name before them."""
RAIN = {"rain_counted_since_autumn.csv", "rain_counted_since_midnight.csv"}
CLOCKS = {"clock_put_back_in_autumn.csv", "clock_put_forward_in_spring.csv"}


def read(path: Path) -> Noted[pd.DataFrame]:
    return read_weather(path, zone=ZONE)


def lines(texts: list[str], path: Path) -> list[str]:
    return [text.removeprefix(str(path)) for text in texts]


TWIN = read(HERE / "clean_station.csv").value


@pytest.mark.parametrize("path", [p for p in FILES if p.name not in REFUSED], ids=lambda p: p.name)
def test_what_is_said_of_an_awkward_record(path: Path) -> None:
    record = read(path)
    (counts,) = record.counts
    assert counts.used == len(record.value) == counts.rows - len(counts.left_out)
    assert lines(english(record), path) == SAID.get(path.name, [])
    assert list(rows_told(counts, Words("en"))[1:]) == TOLD.get(path.name, [])


@pytest.mark.parametrize(
    "path", [p for p in FILES if p.name not in {*REFUSED, *RAIN, *CLOCKS}], ids=lambda p: p.name
)
def test_an_awkward_record_reads_as_its_clean_twin(path: Path) -> None:
    record = read(path).value
    if path.name == "every_quarter_of_an_hour.csv":
        assert len(record) == 4 * len(TWIN)
        record = record[record["time"].dt.minute == 0].reset_index(drop=True)
    assert record["time"].tolist() == TWIN["time"].tolist()
    # as many decimals as a file in other units has
    for column, close in {"temp_c": 0.01, "rh_pct": 1e-6, "wind_m_s": 2e-3, "solar_w_m2": 0.01}.items():
        if column in {"temp_c", "rh_pct"} or record[column].notna().all():
            np.testing.assert_allclose(record[column], TWIN[column], rtol=0.0, atol=close)
        else:
            assert record[column].isna().all() or path.name == "marks_for_nothing.csv"


@pytest.mark.parametrize("name", sorted(RAIN))
def test_rain_that_a_gauge_counts_on_is_the_rain_of_each_row(name: str) -> None:
    rain = read(HERE / "stations" / name).value["rain_mm"]
    assert np.isnan(rain.iloc[0])
    np.testing.assert_allclose(rain[1:], read(HERE / "rain.csv").value["rain_mm"][1:], atol=2e-3)


@pytest.mark.parametrize("name", sorted(CLOCKS))
def test_the_nights_that_the_clock_changes_have_equal_steps(name: str) -> None:
    times = read(HERE / "stations" / name).value["time"]
    step = pd.Timedelta(minutes=30 if "autumn" in name else 60)
    assert times.diff().dropna().eq(step).all()
    assert times.iloc[0].hour == 0


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_record_that_is_none_is_refused_with_its_lines(name: str) -> None:
    path = HERE / "stations" / name
    with pytest.raises(DataError) as error:
        read(path)
    assert lines(str(error.value).splitlines(), path) == REFUSED[name]


def test_the_corpus_has_its_size_and_every_exception_is_of_a_file() -> None:
    names = {path.name for path in FILES}
    assert len(names) >= 45
    assert {*SAID, *TOLD, *REFUSED, *RAIN, *CLOCKS} <= names
