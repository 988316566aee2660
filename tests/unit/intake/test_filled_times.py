"""Filled sheets of valve times: clocks alone, codes, troubles in both languages, and what is doubtful."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import openpyxl
import pandas as pd
import pytest

from stressmap.core.row_counts import ToldRow
from stressmap.core.set_codes import set_codes
from stressmap.core.settings import Ranch
from stressmap.core.sources import InputSource
from stressmap.core.troubles import TROUBLES
from stressmap.intake.filled_times import FilledSheet, read_valve_times
from stressmap.output.paper.valve_times import write_valve_times
from stressmap.output.text.words import catalogue

ZONE = ZoneInfo("America/Los_Angeles")
VALVES = pd.Series(["V1", "V2", "V3"])
HEAD = "code,valve,block,planned_start,planned_end,start,end,trouble,note"
EVENING = pd.Timestamp("2026-07-16 20:00", tz=ZONE)
CODE = set_codes([("V1", EVENING)])[0]
PLAN = f"{CODE},V1,B,2026-07-16 20:00,2026-07-17 05:00"


def read(*lines: str, head: str = HEAD, valves: pd.Series | None = VALVES) -> FilledSheet:
    source = InputSource.of_bytes("\n".join([head, *lines, ""]).encode(), "times.csv")
    return read_valve_times(source, zone=ZONE, valves=valves).value[0]


def ran(sheet: FilledSheet, at: int = 0) -> tuple[str, ...]:
    says = sheet.rows[at].says
    return tuple("" if says[name] is None else f"{says[name]:%m-%d %H:%M}" for name in ("start", "end"))


def doubts(sheet: FilledSheet) -> list[tuple[int, str]]:
    return [(one.row, one.code) for one in sheet.doubts]


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        ("2026-07-16 20:05,2026-07-17 05:10", ("07-16 20:05", "07-17 05:10")),
        ("20:05,05:10", ("07-16 20:05", "07-17 05:10")),
        ("19:50,23:00", ("07-16 19:50", "07-16 23:00")),
        ("8:05 pm,5 am", ("07-16 20:05", "07-17 05:00")),
        ("01:00,05:00", ("07-17 01:00", "07-17 05:00")),  # five hours late, not nineteen early
        ("2026-07-16 20:05,", ("07-16 20:05", "")),
    ],
)
def test_a_clock_alone_is_the_one_nearest_to_the_plan(cells: str, found: tuple[str, ...]) -> None:
    assert ran(read(f"{PLAN},{cells},,")) == found


def test_rows_without_start_end_and_trouble_are_not_filled_in() -> None:
    sheet = read(f"{PLAN},,,,", f"{PLAN},,,,a note alone", f"{PLAN},,,leak,", f"{PLAN},20:00,05:00,,")
    assert sheet.empty == (2, 3)
    assert [one.row for one in sheet.rows] == [4, 5]


@pytest.mark.parametrize("language", ["en", "es"])
def test_the_sheet_that_is_written_is_read_in_either_language(language: str, tmp_path: Path) -> None:
    ends = EVENING + pd.Timedelta(hours=9)
    row = {"code": CODE, "valve": "V1", "block": "B", "start": EVENING, "end": ends}
    path = tmp_path / "valve_times.xlsx"
    write_valve_times(pd.DataFrame([row]), Ranch(name="R", timezone=ZONE.key, languages=(language,)), path)
    words = catalogue(f"record_{language}")["trouble"]
    for code in TROUBLES:
        book = openpyxl.load_workbook(path)
        cells = book.worksheets[0]
        cells["F2"], cells["G2"], cells["H2"] = (
            (EVENING + pd.Timedelta("5min")).tz_localize(None),
            "05:10",
            words[code],
        )
        book.save(tmp_path / "filled.xlsx")
        sheet = read_valve_times(tmp_path / "filled.xlsx", zone=ZONE, valves=VALVES).value[0]
        assert ran(sheet) == ("07-16 20:05", "07-17 05:10")
        assert (sheet.rows[0].says["trouble"], sheet.doubts) == (code, ())


def test_own_words_for_a_trouble_stay() -> None:
    assert read(f"{PLAN},,,the riser wobbles,").rows[0].says["trouble"] == "the riser wobbles"


def test_a_wrong_code_is_told_and_the_row_kept() -> None:
    wrong = CODE[1] + CODE[0] + CODE[2:]
    sheet = read(f"{wrong}{PLAN[5:]},20:00,05:00,,", f"{CODE.lower()}{PLAN[5:]},,,leak,")
    assert sheet.doubts[0] == ToldRow.of(2, "times_code_wrong", code=wrong)
    assert len(sheet.rows) == 2
    assert sheet.rows[1].says["code"] == CODE


def test_cells_that_were_sorted_apart_are_told() -> None:
    sheet = read(f"{CODE},V2,B,2026-07-16 20:00,2026-07-17 05:00,20:00,05:00,,")
    assert sheet.doubts == (ToldRow.of(2, "times_code_other", code=CODE, valve="V2"),)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (",V1,,,,2026-07-16 20:00,2026-07-16 19:00,,", "log_ends_before_start"),
        (",V1,,,,2026-07-16 20:00,2026-07-19 20:01,,", "times_too_long"),
        (",V1,,,,2026-07-16 20:00,,,", "log_no_end"),
        (",V1,,,,,2026-07-16 20:00,,", "log_no_start"),
        (",V1,,,,at dusk,2026-07-16 20:00,,", "log_start_unread"),
        (",V1,,,,2026-07-16 20:00,at dawn,,", "log_end_unread"),
        (",V1,,,,05/06/2026 20:00,05/06/2026 21:00,,", "log_day_or_month"),
        (",,,,,2026-07-16 20:00,2026-07-16 21:00,,", "log_no_valve"),
        (",V11,,,,2026-07-16 20:00,2026-07-16 21:00,,", "log_valve_unknown_near"),
        (",canal,,,,2026-07-16 20:00,2026-07-16 21:00,,", "log_valve_unknown"),
        (f"{PLAN},2026-07-20 20:00,2026-07-20 21:00,,", "times_far"),
    ],
)
def test_what_is_doubtful_is_told_and_kept(line: str, told: str) -> None:
    sheet = read(line)
    assert told in [code for _, code in doubts(sheet)]
    assert len(sheet.rows) == 1


@pytest.mark.parametrize(
    "line",
    [
        ",V1,,,,2026-07-16 20:00,2026-07-19 20:00,,",
        f"{PLAN},2026-07-19 19:00,2026-07-19 21:00,,",
        f"{PLAN},,,leak,",
    ],
)
def test_what_is_not_doubtful_is_not_told(line: str) -> None:
    assert read(line).doubts == ()


def test_what_cannot_be_read_stays_in_the_note() -> None:
    sheet = read(",V1,,,,at dusk,at dawn,,windy")
    assert sheet.rows[0].says["note"] == "windy; start: at dusk; end: at dawn"


def test_rows_that_overlap_on_one_valve_are_told() -> None:
    lines = (
        ",V1,,,,2026-07-16 20:00,2026-07-16 23:00,,", ",V2,,,,2026-07-16 20:00,2026-07-16 23:00,,",
        ",V1,,,,2026-07-16 22:00,2026-07-17 01:00,,", ",V1,,,,2026-07-17 01:00,2026-07-17 02:00,,",
    )  # fmt: skip
    assert read(*lines).doubts == (ToldRow.of(4, "log_overlaps", other=2, valve="V1"),)


def test_a_planned_set_in_two_rows_is_told() -> None:
    sheet = read(f"{PLAN},20:00,05:00,,", f"{PLAN},20:00,04:00,,")
    assert ToldRow.of(3, "times_set_twice", other=2) in sheet.doubts


def test_hours_stand_for_an_end() -> None:
    sheet = read("V1,2026-07-16 20:00,9.5", head="Válvula,Inicio,Horas")
    assert (ran(sheet), sheet.doubts) == (("07-16 20:00", "07-17 05:30"), ())


def test_a_phones_entries_have_id_version_and_may_be_withdrawn() -> None:
    head = f"{HEAD},entry_id,version,withdrawn"
    sheet = read(f"{PLAN},20:00,05:00,,,abc-1,1,", f"{PLAN},20:00,05:00,,,abc-1,2,true", head=head)
    told = [(one.entry_id, one.version, one.withdrawn) for one in sheet.rows]
    assert told == [("abc-1", 1, False), ("abc-1", 2, True)]
    assert sheet.doubts == ()
