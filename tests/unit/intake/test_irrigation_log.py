"""Irrigation logs: starts, ends or hours, nights, depths, and rows that cannot be."""

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from helpers.told import english

from stressmap.core.errors import DataError
from stressmap.core.unsure_sets import unsure_of
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.intake.known_names import KnownNames
from stressmap.intake.run_hours import read_hours
from stressmap.output.text.note_words import rows_told
from stressmap.output.text.words import Words

ZONE = ZoneInfo("America/Los_Angeles")
FILE = "irrigation.csv"


def zones(names: list[str] | None) -> gpd.GeoDataFrame | None:
    """Valve zones of a hectare each that get 2 mm an hour."""
    if names is None:
        return None
    table = {"valve": names, "flow_m3_h": 20.0, "rate_mm_h": np.nan}
    return gpd.GeoDataFrame(table, geometry=[shapely.box(0, 0, 100, 100)] * len(names), crs="EPSG:32610")


def told(folder: Path, names: list[str] | None = None) -> list[str]:
    log = read_irrigation(folder / FILE, zone=ZONE, valves=zones(names))
    return [line.replace(str(folder / FILE), FILE) for line in rows_told(log.counts[0], Words("en"))]


def read(folder: Path, text: str, names: list[str] | None = None) -> tuple[pd.DataFrame, list[str]]:
    path = folder / FILE
    path.write_text(text, encoding="utf-8")
    log = read_irrigation(path, zone=ZONE, valves=zones(names))
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


def test_midnight_is_not_spoken_of_where_the_row_was_left_out(tmp_path: Path) -> None:
    _, said = read(tmp_path, "valve,start,hours\nV1,2026-07-10 06:00,8\nV1,2026-07-11,all night\n")
    assert not [line for line in said if "midnight" in line]


def test_rows_that_cannot_be_are_left_out_and_each_told(tmp_path: Path) -> None:
    text = (
        "valve,start,end,hours\n,2026-07-10 06:00,,8\nV2,2026-07-10 06:00,,\n"
        "V3,2026-07-10 06:00,2026-07-10 05:00,\nV4,,2026-07-10 05:00,\nV1,2026-07-10 06:00,,8\n"
    )
    table, said = read(tmp_path, text)
    assert table["valve"].tolist() == ["V1"]
    assert told(tmp_path) == [
        "irrigation.csv: 5 rows, 1 used, 4 left out.",
        "row 2: no valve is named.",
        "row 3: neither an end nor hours are given.",
        "row 4: it ends (2026-07-10 05:00) before it starts, or when it starts.",
        "row 5: no start is given.",
    ]
    assert said == [
        "irrigation.csv: 4 of 5 rows of the irrigation log could not be used and were left out (row "
        "2, 3, 4, 5); "
        "check lists why."
    ]


@pytest.mark.parametrize("hours", ["0", "-2", "9000", "all night", "toda la noche", "?"])
def test_hours_that_cannot_be_stop_nothing(tmp_path: Path, hours: str) -> None:
    table, said = read(tmp_path, f"valve,start,hours\nV1,2026-07-10 06:00,{hours}\nV2,2026-07-10 06:00,8\n")
    assert table["valve"].tolist() == ["V2"]
    assert "1 of 2 rows" in said[0]


def test_a_log_of_which_no_row_can_be_used_is_an_empty_one_and_said(tmp_path: Path) -> None:
    table, said = read(tmp_path, "valve,start,hours\nV1,someday,8\n")
    assert table.empty
    assert said == [
        "irrigation.csv: the only row of the irrigation log cannot be used; it counts as no log. "
        "check lists why."
    ]


VALVES = ["V03", "V04", "V07", "V10", "V11", "V12", "V48"]


@pytest.mark.parametrize(
    ("cell", "meant"),
    [
        ("v48", ["V48"]), ("V7", ["V07"]), (" v 07 ", ["V07"]), ("V-007", ["V07"]), ("7", ["V07"]),
        ("Válvula 7", ["V07"]), ("V03, V04", ["V03", "V04"]), ("V3 y V4", ["V03", "V04"]),
        ("V3 & V4", ["V03", "V04"]), ("V3/4", ["V03", "V04"]), ("V10-V12", ["V10", "V11", "V12"]),
        ("V10 a V12", ["V10", "V11", "V12"]), ("10-12", ["V10", "V11", "V12"]), ("V99", []), ("V03-V07", []),
        ("V12-V10", []),
    ],
)  # fmt: skip
def test_valves_as_people_name_them(cell: str, meant: list[str]) -> None:
    assert list(KnownNames(VALVES).several(cell).names) == meant


def test_a_name_that_could_be_two_valves_is_neither() -> None:
    known = KnownNames(["V1", "V01", "A-1", "A1B"])
    assert [known.one(text) for text in ("V1", "V01", "v1", "a1")] == ["V1", "V01", None, "A-1"]


@pytest.mark.parametrize(
    ("cell", "hours"),
    [
        ("15 hrs", 15), ("12h", 12), ("1:30", 1.5), ("2 1/2", 2.5), ("2½", 2.5), ("1,5", 1.5),
        ("90 min", 1.5), ("1 h 30 min", 1.5), ("1h30", 1.5), ("2 y media", 2.5), ("8 horas", 8), ("~10", 10),
        ("01:30:00", 1.5), ("1 day, 6:00:00", 30),
    ],
)  # fmt: skip
def test_hours_as_people_write_them(cell: str, hours: float) -> None:
    found, bad = read_hours(pd.Series([cell]), unit=None)
    assert found.tolist() == [pytest.approx(hours)]
    assert not bad.any()


def test_a_row_of_several_valves_repeats_and_overlaps_are_counted_once_and_told(tmp_path: Path) -> None:
    table, _ = read(
        tmp_path,
        "valve,start,end\nV03 y V4,2026-07-10 18:00,2026-07-11 06:00\nv3,2026-07-10 18:00,2026-07-11 06:00\n"
        'V4,2026-07-11 04:00,2026-07-11 08:00\n"V07, V99",2026-07-12,6:00\n',
        VALVES,
    )
    assert table["valve"].tolist() == ["V03", "V04", "V07"]
    assert table["end"].tolist() == [at("2026-07-11 06:00"), at("2026-07-11 08:00"), at("2026-07-12 06:00")]
    assert told(tmp_path, VALVES) == [
        "irrigation.csv: 4 rows, 3 used, 1 left out.",
        "row 3: row 2 has the same set of valve 'V03' already; counted once.",
        "row 4: it overlaps row 2 of valve 'V04'; the hours of both were counted once.",
        "row 5: of its valves 'V99' is not known; the others were taken.",
    ]


def test_hours_end_and_depth_that_disagree_are_said_with_the_row(tmp_path: Path) -> None:
    text = (
        "valve,start,end,hours,mm\nV03,2026-07-10 18:00,2026-07-11 06:00,8,24\n"
        "V04,2026-07-10 18:00,2026-07-11 06:00,12 hrs,120\n"
    )
    read(tmp_path, text, VALVES)
    assert told(tmp_path, VALVES)[1:] == [
        "row 2: hours (8) and end (12 h after the start) do not agree; the end was taken.",
        "row 3: the depth '120' does not agree with hours and rate of valve 'V04' (24 mm); the "
        "depth was taken.",
    ]


def test_a_date_that_can_be_two_leaves_its_row_out_and_is_told(tmp_path: Path) -> None:
    table, _ = read(tmp_path, "valve,start,hours\nV03,07/03/2026 06:00,8\nV04,2026-07-11 06:00,8\n", VALVES)
    assert table["valve"].tolist() == ["V04"]
    assert told(tmp_path, VALVES)[1:] == [
        "row 2: '07/03/2026 06:00' can be day first or month first; say [reading] date_order."
    ]


def test_a_log_without_valves_is_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, "start,hours\n2026-07-10 06:00,8\n") == (
        "irrigation.csv: no column is recognised as valve (usual headings: valve, valve_id, valve_name, "
        "zone); the "
        'file has start, hours. Add it, or name it under [columns], "your heading" = "valve".'
    )


JULY_10 = dt.date(2026, 7, 10)


@pytest.mark.parametrize(
    ("row", "meant"),
    [
        ("V7,2026-07-10,toda la noche", {"V07": JULY_10}),
        ("V7,,", {"V07": None}),
        ("V7,someday,8", {"V07": None}),
        ("V47,2026-07-10 06:00,8", {"V04": JULY_10, "V07": JULY_10, "V48": JULY_10}),
        ("todas,2026-07-10 06:00,2", dict.fromkeys(VALVES, JULY_10)),
        (",2026-07-10 06:00,2", dict.fromkeys(VALVES, JULY_10)),
        ("las de arriba,2026-07-10 06:00,2", dict.fromkeys(VALVES, JULY_10)),
        ("todas las de Norte 1,2026-07-10 06:00,2", {"V03": JULY_10, "V04": JULY_10}),
        ('"V10, V47",2026-07-10 06:00,8', {"V04": JULY_10, "V07": JULY_10, "V48": JULY_10}),
        ("V10,2026-07-10 06:00,8", {}),
        ("Total,,134", {}),
        (",,134", {}),
        ("Q9000,2026-07-10 06:00,8", {}),
    ],
)
def test_valves_that_a_row_left_out_may_mean_go_with_the_log(
    tmp_path: Path, row: str, meant: dict[str, dt.date | None]
) -> None:
    path = tmp_path / FILE
    path.write_text(f"valve,start,hours\nV11,2026-07-13 06:00,8\n{row}\n", encoding="utf-8")
    valves = zones(VALVES)
    assert valves is not None
    valves["block"] = ["Norte 1"] * 2 + ["Sur"] * 5
    unsure = unsure_of(read_irrigation(path, zone=ZONE, valves=valves).value)
    assert dict(unsure.days) == {valve: frozenset({day}) for valve, day in meant.items()}


def test_names_as_spreadsheets_and_people_write_them_and_names_that_stay_open() -> None:
    assert KnownNames(["9", "10"]).one("9.0") == "9"
    assert KnownNames(["1", "2"]).one("V2") == "2"
    assert KnownNames(["1", "2"]).one("Q2") is None
    assert KnownNames(VALVES).several("V03 V04").names == ("V03", "V04")
    assert KnownNames(VALVES).several("V03 pump").names == ()
    assert KnownNames(["v8", "V08"]).ambiguous("V8") == ("v8", "V08")
    assert KnownNames(["V01", "V02", "V03"]).reversed_range("V3-V1") == ("V01", "V02", "V03")


@pytest.mark.parametrize(
    ("row", "line"),
    [
        ("V8,2026-07-10,8", "row 2: 'V8' can be v8, V08; write which one ran."),
        ("V3-V1,2026-07-10 06:00,8", "row 2: 'V3-V1' runs backwards; write it from 'V01' to 'V03'."),
        ("V31,2026-07-10 06:00,8", "row 2: no valve is called 'V31'; did you mean 'V03'?"),
        ("V01,2026-07-10 06:00,200", "row 2: '200' is no length of a set; write the hours it ran."),
        ("V01,2026-07-10 06:00,168", None),
        ("V01,2026-07-10 06:00,~8", "row 2: '~8' was taken as 8 h."),
        ("V01,2026-07-10 06:00,about 10", "row 2: 'about 10' was taken as 10 h."),
    ],
)
def test_what_is_open_or_rough_is_told_as_such(tmp_path: Path, row: str, line: str | None) -> None:
    names = ["V01", "V02", "V03", "v8", "V08"]
    read(tmp_path, f"valve,start,hours\n{row}\n", names)
    assert told(tmp_path, names)[1:] == ([] if line is None else [line])


def test_a_slip_of_the_year_is_left_out_counted_and_listed(tmp_path: Path) -> None:
    """2027 for 2026 must not become the log's last day, nor 2016 its first; both valves may have run then."""
    (tmp_path / FILE).write_text(
        "valve,start,hours\nV1,2026-07-02 06:00,8\nV2,2027-07-10 06:00,8\nV3,2016-07-11 06:00,8\n"
        "V1,2026-09-13 06:00,8\nV1,2026-09-14 06:00,8\n",
        encoding="utf-8",
    )
    days = dt.date(2026, 6, 25), dt.date(2026, 7, 15)
    log = read_irrigation(tmp_path / FILE, zone=ZONE, valves=zones(["V1", "V2", "V3"]), read_on=days)
    assert [f"{start:%m-%d}" for start in log.value["start"]] == ["07-02", "09-13"]
    assert (log.counts[0].rows, log.counts[0].used) == (5, 2)
    lines = [line.replace(str(tmp_path / FILE), FILE) for line in rows_told(log.counts[0], Words("en"))]
    late = "over 60 days after the last reading (2026-07-15), as a slip of the year would have it."
    assert lines[1:] == [
        f"row 3: it starts (2027-07-10) {late}",
        "row 4: it starts (2016-07-11) over two years before every other set (from 2026-07-02 on), as a slip "
        "of the year would have it.",
        f"row 6: it starts (2026-09-14) {late}",
    ]
    unsure = unsure_of(log.value)
    assert unsure.may_have_run("V2", dt.date(2026, 7, 10), dt.date(2026, 7, 10))
    assert unsure.may_have_run("V3", dt.date(2026, 7, 11), dt.date(2026, 7, 11))
    assert not unsure.may_have_run("V1", dt.date(2026, 7, 1), dt.date(2026, 7, 15))


def test_without_readings_and_where_all_of_a_log_is_old_no_year_is_doubted(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text("valve,start,hours\nV1,2016-07-02 06:00,8\nV1,2016-07-09 06:00,8\n")
    for days in (None, (dt.date(2026, 7, 14), dt.date(2026, 7, 15))):
        log = read_irrigation(tmp_path / FILE, zone=ZONE, valves=zones(["V1"]), read_on=days)
        assert len(log.value) == 2
