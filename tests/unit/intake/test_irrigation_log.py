"""Irrigation logs: starts, ends or hours, nights, depths, and rows that cannot be."""

from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.intake.irrigation_log import read_irrigation

ZONE = ZoneInfo("America/Los_Angeles")
FILE = "irrigation.csv"


def read(folder: Path, text: str) -> tuple[pd.DataFrame, list[str]]:
    path = folder / FILE
    path.write_text(text, encoding="utf-8")
    log = read_irrigation(path, zone=ZONE)
    return log.value, [said.replace(str(path), FILE) for said in english(log)]


def refused(folder: Path, text: str) -> str:
    with pytest.raises(DataError) as caught:
        read(folder, text)
    return str(caught.value).replace(str(folder / FILE), FILE)


def at(text: str) -> pd.Timestamp:
    return pd.Timestamp(text, tz=ZONE)


def test_end_or_hours(tmp_path: Path) -> None:
    table, said = read(
        tmp_path,
        "valve,start,end,hours,mm\nV2,2026-07-11 06:00,,8.5,\nV1,2026-07-10 18:00,2026-07-11 06:00,,32\n",
    )
    assert table["valve"].tolist() == ["V1", "V2"]
    assert table["end"].tolist() == [at("2026-07-11 06:00"), at("2026-07-11 14:30")]
    assert table["mm"].iloc[0] == 32.0
    assert said == []


def test_a_day_with_clocks_runs_over_midnight(tmp_path: Path) -> None:
    table, _ = read(
        tmp_path, "Válvula;Fecha;Inicio;Fin\nV1;2026-07-10;18:00;06:00\nV2;2026-07-10;06:00;18:00\n"
    )
    assert table["start"].tolist() == [at("2026-07-10 06:00"), at("2026-07-10 18:00")]
    assert table["end"].tolist() == [at("2026-07-10 18:00"), at("2026-07-11 06:00")]


def test_minutes_and_inches(tmp_path: Path) -> None:
    table, _ = read(tmp_path, "valve,start,duration (min),applied (in)\nV1,2026-07-10 06:00,90,0.5\n")
    assert table.loc[0, "end"] == at("2026-07-10 07:30")
    assert table.loc[0, "mm"] == pytest.approx(12.7)  # an inch is 25.4 mm, exact


def test_a_day_without_a_clock_begins_at_midnight_and_is_said(tmp_path: Path) -> None:
    table, said = read(tmp_path, "valve,start,hours\nV1,2026-07-10,24\n")
    assert table.loc[0, ["start", "end"]].tolist() == [at("2026-07-10"), at("2026-07-11")]
    assert said == ["irrigation.csv: 1 day in start has no clock; midnight was taken."]


def test_rows_that_cannot_be_are_each_said(tmp_path: Path) -> None:
    text = (
        "valve,start,end,hours\n,2026-07-10 06:00,,8\nV2,2026-07-10 06:00,,\n"
        "V3,2026-07-10 06:00,2026-07-10 05:00,\nV4,,2026-07-10 05:00,\n"
    )
    assert refused(tmp_path, text).splitlines() == [
        "irrigation.csv, row 2, column valve: the name of the valve is empty. Name the valve.",
        "irrigation.csv, row 5, column start: there is no start that can be read. Write it as 2026-07-10 "
        "06:00.",
        "irrigation.csv, row 3, column end: there is neither an end nor hours. Give one of them.",
        "irrigation.csv, row 4, column end: it ends before it starts. Correct start or end.",
    ]


@pytest.mark.parametrize("hours", ["0", "-2", "9000"])
def test_hours_that_cannot_be(tmp_path: Path, hours: str) -> None:
    assert refused(tmp_path, f"valve,start,hours\nV1,2026-07-10 06:00,{hours}\n") == (
        f"irrigation.csv, row 2, column hours: '{hours}' is no length of a set. Write the hours it ran."
    )


def test_a_log_without_valves_is_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, "start,hours\n2026-07-10 06:00,8\n") == (
        "irrigation.csv: no column is recognised as valve (usual headings: valve, valve_id, valve_name, "
        "zone); the "
        'file has start, hours. Add it, or name it under [columns], "your heading" = "valve".'
    )
