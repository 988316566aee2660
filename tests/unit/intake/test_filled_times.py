"""Filled sheets of valve times: clocks alone, codes, troubles in both languages, and what is doubtful."""

from __future__ import annotations

from collections.abc import Mapping
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
from stressmap.intake.planned_sets import NO_SETS, PlannedSet, planned_sets
from stressmap.output.paper.valve_times import write_valve_times
from stressmap.output.text.words import catalogue

ZONE = ZoneInfo("America/Los_Angeles")
VALVES = pd.Series(["V1", "V2", "V3"])
HEAD = "code,valve,block,planned_start,planned_end,start,end,trouble,note"
EVENING = pd.Timestamp("2026-07-16 20:00", tz=ZONE)
CODE = set_codes([("V1", EVENING)])[0]
PLAN = f"{CODE},V1,B,2026-07-16 20:00,2026-07-17 05:00"


SETS = {CODE: PlannedSet("V1", "B", EVENING, EVENING + pd.Timedelta(hours=9))}


def read(
    *lines: str,
    head: str = HEAD,
    valves: pd.Series | None = VALVES,
    sets: Mapping[str, PlannedSet] = NO_SETS,
) -> FilledSheet:
    source = InputSource.of_bytes("\n".join([head, *lines, ""]).encode(), "times.csv")
    return read_valve_times(source, zone=ZONE, valves=valves, sets=sets).value[0]


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
    assert sheet.doubts[0] == ToldRow.of(2, "times_code_wrong_valve", code=wrong, valve="V1")
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


def test_the_code_alone_brings_a_set_back(tmp_path: Path) -> None:
    timetable = tmp_path / "timetable.csv"
    timetable.write_text(
        f"code,valve,block,pump,start,end\n{CODE},V1,B,P,2026-07-16T20:00:00-07:00,2026-07-17T05:00:00-07:00\n"
    )
    broken = tmp_path / "broken.csv"
    broken.write_text("no,timetable\n1,2\n")
    sets = planned_sets([broken, timetable], ZONE)
    assert sets == SETS
    sheet = read(f"{CODE.lower()},20:10,5:20,fuga", head="code,start,end,trouble", sets=sets)
    says = sheet.rows[0].says
    assert (says["valve"], says["block"], says["planned_start"]) == ("V1", "B", EVENING)
    assert (ran(sheet), says["trouble"], sheet.doubts) == (("07-16 20:10", "07-17 05:20"), "leak", ())
    assert sheet.rows[0].usable


def test_a_code_that_no_timetable_knows_asks_for_the_valve() -> None:
    sheet = read(f"{CODE},20:10,5:20,", head="code,start,end,trouble")
    assert sheet.doubts == (ToldRow.of(2, "times_code_unknown", code=CODE),)
    assert not sheet.rows[0].usable


def test_a_mistyped_valve_beside_a_known_code_is_the_codes_and_told() -> None:
    sheet = read(f"{CODE},W1x,B,,,20:10,5:20,,", sets=SETS)
    assert (sheet.rows[0].says["valve"], ran(sheet)) == ("V1", ("07-16 20:10", "07-17 05:20"))
    assert sheet.doubts == (ToldRow.of(2, "times_valve_of_code", code=CODE, wrote="W1x", valve="V1"),)


def test_another_valve_beside_a_known_code_stays_and_is_told() -> None:
    sheet = read(f"{CODE},V2,,,,20:10,5:20,,", sets=SETS)
    assert sheet.rows[0].says["valve"] == "V2"
    assert doubts(sheet) == [(2, "times_code_other")]


@pytest.mark.parametrize(
    ("planned", "cells", "understood", "told"),
    [
        ("05:00 15:00", "15:20,5:05", ("07-16 15:20", "07-17 05:05"), "times_hours_swapped"),
        ("05:00 14:00", "21:15,6:10", ("07-15 21:15", "07-16 06:10"), "times_hours_odd"),
        ("05:00 15:00", "05:10,09:30", ("07-16 05:10", "07-16 09:30"), "times_hours_odd"),
        ("05:00 15:00", "05:10,19:00", ("07-16 05:10", "07-16 19:00"), "times_hours_odd"),
        ("05:00 15:00", "05:10,15:30", ("07-16 05:10", "07-16 15:30"), None),
        ("05:00 15:00", "08:55,17:00", ("07-16 08:55", "07-16 17:00"), None),
        ("05:00 15:00", "2026-07-16 05:10,2026-07-16 09:30", ("07-16 05:10", "07-16 09:30"), None),
    ],
)
def test_hours_without_a_date_far_from_the_plan_are_told(
    planned: str, cells: str, understood: tuple[str, str], told: str | None
) -> None:
    start, end = planned.split()
    sheet = read(f",V1,B,2026-07-16 {start},2026-07-16 {end},{cells},,")
    assert ran(sheet) == understood
    assert [code for _, code in doubts(sheet)] == ([told] if told else [])


def test_the_other_way_round_is_suggested_with_its_days() -> None:
    sheet = read(",V1,B,2026-07-16 05:00,2026-07-16 15:00,15:20,5:05,,")
    said = dict(sheet.doubts[0].values)
    assert (said["first"], said["last"], said["hours"]) == ("2026-07-16 05:05", "2026-07-16 15:20", 13.8)


@pytest.mark.parametrize(
    ("written", "codes"),
    [
        ("1", "low_pressure"), ("2", "clogged"), ("3", "leak"), ("4", "other"), ("3.0", "leak"),
        ("blocked", "clogged"), ("Tapada", "clogged"), ("tapado", "clogged"),
        ("1;3", "low_pressure; leak"), ("fuga; poca presión", "leak; low_pressure"),
    ],
)  # fmt: skip
def test_the_numbers_of_the_crew_sheet_and_several_troubles(written: str, codes: str) -> None:
    assert read(f"{PLAN},20:00,05:00,{written},").rows[0].says["trouble"] == codes


def test_troubles_with_commas_between_them() -> None:
    assert read(f'{PLAN},20:00,05:00,"2, fuga",').rows[0].says["trouble"] == "clogged; leak"


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        ("jue 16 9:30 pm,vie 17 4 am", ("07-16 21:30", "07-17 04:00")),
        ("Thu 9 pm,Fri 04:00", ("07-16 21:00", "07-17 04:00")),
        ("at dusk,4:50", ("", "07-17 04:50")),
        ("vie 16 9:30 pm,4:50", ("", "07-17 04:50")),  # the 16th was a Thursday
    ],
)
def test_days_without_a_month_are_those_of_the_plan(cells: str, found: tuple[str, str]) -> None:
    assert ran(read(f"{PLAN},{cells},,")) == found


def test_the_example_is_the_rows_own_day_as_the_file_writes_it() -> None:
    told = read(f"{CODE},V1,B,16/07/2026 20:00,17/07/2026 05:00,at dusk,at dawn,,").doubts
    assert told == (
        ToldRow.of(2, "times_start_unread", cell="at dusk", like="16/07/2026 20:00"),
        ToldRow.of(2, "times_end_unread", cell="at dawn", like="16/07/2026 20:00"),
    )
