"""The sheet of valve times: a row a planned set, in the ranch's first language, the same bytes each time."""

from __future__ import annotations

import datetime as dt
import zipfile
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from stressmap.core.settings import Ranch
from stressmap.core.troubles import TROUBLES
from stressmap.output.paper.valve_times import COLUMNS, write_valve_times
from stressmap.output.text.words import catalogue

ZONE = "America/Los_Angeles"


def timetable(**more: object) -> pd.DataFrame:
    start = pd.Timestamp("2026-07-16 20:00", tz=ZONE)
    row = {"code": "3333K", "valve": "V1", "block": "B", "start": start, "end": start + pd.Timedelta(hours=9)}
    return pd.DataFrame([row | more, row | {"code": "3334H", "valve": "V2"}])


def written(path: Path, *languages: str, **more: object) -> openpyxl.Workbook:
    ranch = Ranch(name="Two Sheds", timezone=ZONE, languages=languages or ("en", "es"))
    write_valve_times(timetable(**more), ranch, path)
    return openpyxl.load_workbook(path)


def test_a_row_is_a_planned_set_by_the_ranchs_own_clock(tmp_path: Path) -> None:
    sheet = written(tmp_path / "a.xlsx").worksheets[0]
    rows = list(sheet.iter_rows(values_only=True))
    assert rows[0] == (
        "Code", "Valve", "Block", "Planned start", "Planned end", "Start", "End", "Trouble", "Note",
    )  # fmt: skip
    opens, closes = dt.datetime(2026, 7, 16, 20), dt.datetime(2026, 7, 17, 5)
    assert rows[1] == ("3333K", "V1", "B", opens, closes, None, None, None, None)
    assert [row[0] for row in rows[1:]] == ["3333K", "3334H"]
    assert {cell.number_format for cell in sheet[2][3:7]} == {"yyyy-mm-dd hh:mm"}


def test_headings_are_in_the_first_language_and_instructions_in_all(tmp_path: Path) -> None:
    book = written(tmp_path / "a.xlsx", "es", "en")
    assert [cell.value for cell in book.worksheets[0][1]][:2] == ["Código", "Válvula"]
    page = [row[0] for row in book.worksheets[1].iter_rows(values_only=True) if row[0]]
    assert page[0] == catalogue("record_es")["times"]["title"]
    assert catalogue("record_en")["times"]["title"] in page
    assert len(page) == 14
    assert max(map(len, page)) < 190


def test_troubles_are_chosen_from_a_list_that_takes_other_words_too(tmp_path: Path) -> None:
    found = written(tmp_path / "a.xlsx").worksheets[0].data_validations.dataValidation
    one = next(v for v in found if v.type == "list")
    assert str(one.sqref) == "H2:H3"
    assert len(one.formula1.strip('"').split(",")) == len(TROUBLES)
    assert not one.showErrorMessage
    assert len(one.formula1) <= 255  # what spreadsheets take


def test_the_same_timetable_gives_the_same_bytes(tmp_path: Path) -> None:
    written(tmp_path / "a.xlsx")
    written(tmp_path / "b.xlsx")
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    assert b"2000-01-01T00:00:00Z" in _core(tmp_path / "a.xlsx")
    assert str(dt.datetime.now(dt.UTC).year).encode() not in _core(tmp_path / "a.xlsx")


def _core(path: Path) -> bytes:
    with zipfile.ZipFile(path) as archive:
        return archive.read("docProps/core.xml")


@pytest.mark.parametrize("name", ["=1+1", "+V1", "V\x01\n1", "@V"])
def test_a_name_is_text_whatever_it_begins_with(tmp_path: Path, name: str) -> None:
    cell = written(tmp_path / "a.xlsx", valve=name).worksheets[0]["B2"]
    assert cell.data_type == "s"
    assert cell.value == name.replace("\x01\n", " ")


def test_both_languages_have_the_same_words() -> None:
    english, spanish = catalogue("record_en"), catalogue("record_es")
    assert {k: set(v) for k, v in english.items()} == {k: set(v) for k, v in spanish.items()}
    assert set(english["trouble"]) == set(TROUBLES)
    assert set(COLUMNS) <= set(english["times"])
    assert [
        key for part in english for key, text in english[part].items() if text == spanish[part][key]
    ] == []
