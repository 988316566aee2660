"""Folders of readings and of logs as people keep them: each says in its name what is awkward about it.

Every folder of ``folders/`` gives the table of ``clean.csv`` and every one of ``log_folders/`` that of
``clean_log.csv``, or is refused with the lines that stand here.
"""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from stressmap.core.errors import DataError
from stressmap.core.listed_files import TABLES
from stressmap.core.notes import Noted
from stressmap.core.settings import Settings
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.intake.readings import read_readings
from stressmap.output.text.note_words import rows_told
from stressmap.output.text.words import Words

HERE = Path(__file__).parent
CHOSEN = Settings.model_validate(
    {
        "ranch": {"name": "Invented", "timezone": "America/Los_Angeles"},
        "files": {"readings": "folders", "blocks": "blocks.geojson"},
    }
)
SIX = [2, 3, 4, 5, 6, 7]
HALVES = [2, 3, 4, 2, 3, 4]
ROWS = {
    "three_kinds_of_file": [2, 3, 2, 3, 2, 3],
    "locks_hidden_files_and_a_picture": SIX,
    "an_empty_sheet_beside": SIX,
    "a_sheet_a_block": [4, 5, 6, 2, 3, 4],
    "one_in_psi": [2, 3, 4, 5, 2, 3],
    "days_first_and_months_first": HALVES,
    "an_older_folder_in_it": SIX,
    "endings_in_capitals": HALVES,
    "a_day_a_sheet_by_its_name": HALVES,
}
NUMBER = "is not a number. Write the pressure as a number, or leave the cell empty."
REFUSED = {
    "nothing_but_headings": [
        "FOLDER: no readings yet: a.csv and 1 more have no row below the headings. Fill in a row per reading."
    ],
    "no_table": [
        "FOLDER: the folder holds no file of readings (names that end in "
        f"{', '.join(sorted(TABLES))} are read). Put one into it."
    ],
    "one_is_a_web_page": [
        "FOLDER/b.csv: it is a web page, not a table. Download the file itself; the page may ask to log in."
    ],
    "one_has_no_pressure": [
        "FOLDER/weather.csv: no column is recognised as pressure_bar (usual headings: pressure_bar, presion, "
        "swp, stem_water_potential); the file has time, temp_c, rh_pct. Add it, or name it under [columns], "
        '"your heading" = "pressure_bar".'
    ],
    "two_have_a_cell_that_is_no_number": [
        f"FOLDER/a.csv, row 2, column pressure_bar: 'much' {NUMBER}",
        f"FOLDER/c.xlsx:Visit 2, row 3, column pressure_bar: 'little' {NUMBER}",
    ],
}
NAMES = ["V03", "V04", "V07", "V10", "V11", "V48"]
ZONES = gpd.GeoDataFrame(
    {"valve": NAMES, "flow_m3_h": np.nan, "rate_mm_h": np.nan},
    geometry=[shapely.box(0, 0, 100, 100)] * len(NAMES),
    crs="EPSG:32610",
)
LOGS: dict[str, list[list[str]]] = {
    "a_month_a_file": [[], []],
    "exported_twice": [[], ["row 2, 3, 4: monday.csv has the same set already; counted once."]],
    "a_sheet_a_week": [[], []],
}


def readings_of(path: Path) -> pd.DataFrame:
    return read_readings(path, CHOSEN).value


def log_of(path: Path) -> Noted[pd.DataFrame]:
    return read_irrigation(path, zone=CHOSEN.ranch.zone, valves=ZONES)


def sets(table: pd.DataFrame) -> list[tuple[str, pd.Timestamp, pd.Timestamp]]:
    return sorted(zip(table["valve"], table["start"], table["end"], strict=True))


CLEAN = readings_of(HERE / "clean.csv")


@pytest.mark.parametrize("name", ROWS)
def test_an_awkward_folder_reads_as_its_clean_twin(name: str) -> None:
    table = readings_of(HERE / "folders" / name)
    assert table["row"].tolist() == ROWS[name]
    for column in ("lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes"):
        np.testing.assert_allclose(table[column], CLEAN[column], atol=0.001, rtol=0, err_msg=column)
    for column in ("tree_id", "time", "block"):
        assert table[column].tolist() == CLEAN[column].tolist(), column


@pytest.mark.parametrize("name", REFUSED)
def test_an_awkward_folder_is_refused_with_its_lines(name: str) -> None:
    folder = HERE / "folders" / name
    with pytest.raises(DataError) as error:
        readings_of(folder)
    assert str(error.value).replace(str(folder), "FOLDER").splitlines() == REFUSED[name]


@pytest.mark.parametrize("name", LOGS)
def test_an_awkward_folder_of_logs_reads_as_its_clean_twin(name: str) -> None:
    log = log_of(HERE / "log_folders" / name)
    assert sets(log.value) == sets(log_of(HERE / "clean_log.csv").value)
    assert all(counts.rows == counts.used + len(counts.left_out) for counts in log.counts)
    assert [list(rows_told(counts, Words("en"))[1:]) for counts in log.counts] == LOGS[name]


def test_a_folder_of_logs_without_a_row_is_one_line() -> None:
    folder = HERE / "log_folders" / "nothing_but_headings"
    with pytest.raises(DataError) as error:
        log_of(folder)
    assert str(error.value) == (
        f"{folder}: no entries of the irrigation log yet: a.csv has no row below the headings. "
        "Fill in a row per irrigation."
    )


def test_every_folder_is_told_of_here() -> None:
    assert {path.name for path in (HERE / "folders").iterdir()} == {*ROWS, *REFUSED}
    assert {path.name for path in (HERE / "log_folders").iterdir()} == {*LOGS, "nothing_but_headings"}
