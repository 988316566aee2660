"""Awkward workbooks: each says in its name what is awkward about it.

Every file of :mod:`helpers.awkward_workbooks` gives the table of its clean twin, and the lines that ``SAID``
and ``TOLD`` have for it, or is refused with the line of ``REFUSED``.
"""

from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from helpers.awkward_workbooks import TWINS, WORKBOOKS
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.core.notes import Noted
from stressmap.core.settings import Settings
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.intake.readings import read_readings
from stressmap.intake.weather import read_weather
from stressmap.output.text.note_words import columns_told, rows_told
from stressmap.output.text.words import Words

ZONE = ZoneInfo("America/Los_Angeles")
NAMES = ["V03", "V04", "V07", "V10", "V11", "V48"]
ZONES = gpd.GeoDataFrame(
    {"valve": NAMES, "flow_m3_h": np.nan, "rate_mm_h": np.nan},
    geometry=[shapely.box(0, 0, 100, 100)] * len(NAMES),
    crs="EPSG:32610",
)
SETTINGS = Settings.model_validate(
    {
        "ranch": {"name": "Invented", "timezone": "America/Los_Angeles"},
        "files": {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")},
    }
)
READERS = {
    "stations": lambda path: read_weather(path, zone=ZONE),
    "readings": lambda path: read_readings(path, SETTINGS),
    "logs": lambda path: read_irrigation(path, zone=ZONE, valves=ZONES),
}
COLUMNS = {
    "stations": ["time", "temp_c", "rh_pct"],
    "readings": [
        "tree_id",
        "time",
        "lon",
        "lat",
        "pressure_bar",
        "recheck_bar",
        "bag_minutes",
        "block",
        "note",
    ],
    "logs": ["valve", "start", "end"],
}
CLEAN = {"stations": "clean_station.csv", "readings": "clean.csv", "logs": "clean_log.csv"}
_ONE_OF_SIX = (
    ": 1 of 6 rows of the irrigation log could not be used and was left out (row 7); check lists why."
)
SAID = {
    "hidden_sheet_of_last_year.xlsx": [": the hidden sheet Last year was not read; show it if it counts."],
    "humidity_in_per_cent.xlsx": [
        ", column rh_pct: the values (highest 0.7) are fractions; they were taken times 100."
    ],
    "notes_before_and_behind.xlsx": [": the sheet 'Data' was read, the others were not."],
    "serial_days.xlsx": [": time holds serial day numbers; they were read as such."],
    "sum_below.xlsx": [
        _ONE_OF_SIX,
        ": no valve of the ranch is called 'Total'; what ran there is not known of any valve.",
    ],
    "valves_merged.xlsx": [_ONE_OF_SIX],
}
"""File -> its notes, without the file's name before them."""
TOLD = {
    "sum_below.xlsx": ["row 7: no valve is called 'Total'."],
    "valves_merged.xlsx": ["row 7: no valve is named."],
}
_OLD = (
    ": it is a workbook of the old .xls kind, or protected by a password. Save it as .xlsx or CSV, without a "
    "password."
)
REFUSED = {
    "binary_workbook.xlsb": ": it is a binary workbook (.xlsb). Save it as .xlsx or CSV.",
    "only_the_hidden_sheet_is_filled.xlsx": ": no sheet of it that is shown holds anything; 'Last year' is "
    "hidden. Show the sheet with the table.",
    "open_document.ods": ": it is an OpenDocument spreadsheet (.ods). Save it as .xlsx or CSV.",
    "saved_as_the_old_kind.xls": _OLD,
    "two_tables_of_a_station.xlsx": ": the sheets 'July 14' and 'July 15' could each be the table. Keep one "
    "in the workbook.",
    "with_a_password.xlsx": _OLD,
}
"""File -> its line, without the file's name before it."""


def made(name: str, folder: Path) -> Path:
    path = folder / name
    WORKBOOKS[name].make(path)
    return path


def plain(table: pd.DataFrame, kind: str) -> pd.DataFrame:
    return table[COLUMNS[kind]].sort_values(COLUMNS[kind][:2]).reset_index(drop=True)


@pytest.mark.parametrize("name", [name for name in WORKBOOKS if name not in REFUSED])
def test_an_awkward_workbook_reads_as_its_clean_twin(name: str, tmp_path: Path) -> None:
    path, kind = made(name, tmp_path), WORKBOOKS[name].kind
    found: Noted = READERS[kind](path)
    twin = READERS[kind](TWINS / CLEAN[kind]).value
    pd.testing.assert_frame_equal(plain(found.value, kind), plain(twin, kind), rtol=0.0, atol=1e-6)
    (counts,) = found.counts
    assert counts.rows == counts.used + len(counts.left_out)
    assert [text.removeprefix(str(path)) for text in english(found)] == SAID.get(name, [])
    assert list(rows_told(counts, Words("en"))[1:]) == TOLD.get(name, [])


@pytest.mark.parametrize("name", sorted(REFUSED))
def test_a_workbook_that_is_none_is_refused_with_its_line(name: str, tmp_path: Path) -> None:
    path = made(name, tmp_path)
    with pytest.raises(DataError) as error:
        READERS[WORKBOOKS[name].kind](path)
    assert str(error.value) == f"{path}{REFUSED[name]}"


def test_a_note_beside_the_table_is_told_as_a_column_that_was_not_read(tmp_path: Path) -> None:
    (counts,) = READERS["readings"](made("notes_to_the_right.xlsx", tmp_path)).counts
    assert "not read: (L)." in columns_told(counts, Words("en"))


def test_the_corpus_has_its_size_and_every_exception_is_of_a_file() -> None:
    assert len(WORKBOOKS) >= 24
    assert {*SAID, *TOLD, *REFUSED} <= set(WORKBOOKS)
