"""All that a record holds comes out again: counted, and as tables that another record takes back."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
from helpers import small_ranch

from stressmap.core import settings
from stressmap.core.errors import OutputError
from stressmap.core.record_place import RecordPlace
from stressmap.jobs.add import add
from stressmap.jobs.record import give_out
from stressmap.jobs.record_of_ranch import record_of
from stressmap.output.terminal.record_summary import record_lines

PHONE = """tree_id,time,lon,lat,pressure_bar,unit,reading_id,version,withdrawn,note
T1,2026-07-14 13:03:20,-121.6366,37.0379,160,psi,r-1,1,,'-2 risers
T1,2026-07-14 13:03:20,-121.6366,37.0379,12.5,bar,r-1,2,false,
T2,2026-07-14 13:05,,,13,bar,r-2,1,,
T3,2026-07-14 13:07,-121.6366,37.0380,14,bar,r-3,1,,
T3,2026-07-14 13:07,-121.6366,37.0380,14,bar,r-3,2,yes,
"""
BAR = pytest.approx(160 * 0.068947573, abs=1e-6)
"""160 psi (Guide for the Use of the International System of Units, NIST Special Publication 811, B.8)."""
TIMES = """valve,start,end,trouble,note
N1,2026-07-15 20:00,2026-07-16 06:00,fuga,
N1,2026-07-15 20:00,2026-07-16 07:30,,longer
S1,2026-07-15 20:00,2026-07-16 06:00,,
"""


@pytest.fixture
def ranch(record_place: RecordPlace, tmp_path: Path) -> Path:
    more = f'[store]\nurl = "{record_place.url}"\n' if record_place.url else ""
    source = small_ranch.write(tmp_path / "ranch", small_ranch.SETTINGS + more)
    (tmp_path / "phone.csv").write_text(PHONE)
    (tmp_path / "times.csv").write_text(TIMES)
    add(source, [tmp_path / "phone.csv", tmp_path / "times.csv"])
    return source


def test_every_version_is_written_with_where_it_came_from(ranch: Path, tmp_path: Path) -> None:
    made = give_out(ranch, tmp_path / "out")
    readings = pd.read_csv(tmp_path / "out" / "record_readings.csv")
    shown = readings[["reading_id", "version", "in_use", "withdrawn", "file", "file_row", "pressure_bar"]]
    assert shown.to_numpy().tolist() == [
        ["r-1", 1, False, False, "phone.csv", 2, BAR],
        ["r-1", 2, True, False, "phone.csv", 3, 12.5],
        ["r-2", 1, True, False, "phone.csv", 4, 13.0],
        ["r-3", 1, False, False, "phone.csv", 5, 14.0],
        ["r-3", 2, False, True, "phone.csv", 6, 14.0],
    ]
    assert readings["time"][0] == "2026-07-14T13:03:20-07:00"
    assert readings["note"][0] == "'-2 risers"
    times = pd.read_csv(tmp_path / "out" / "record_valve_times.csv")
    assert times[["valve", "version", "in_use", "end"]].to_numpy().tolist() == [
        ["N1", 1, False, "2026-07-16T06:00:00-07:00"],
        ["N1", 2, True, "2026-07-16T07:30:00-07:00"],
        ["S1", 1, True, "2026-07-16T06:00:00-07:00"],
    ]
    files = pd.read_csv(tmp_path / "out" / "record_files.csv")
    assert files[["file_id", "file", "kind"]].to_numpy().tolist() == [
        [1, "phone.csv", "readings"],
        [2, "times.csv", "valve_times"],
    ]
    assert made.names == ("record_files.csv", "record_readings.csv", "record_valve_times.csv", "record.gpkg")


def test_the_geopackage_holds_the_same(ranch: Path, tmp_path: Path) -> None:
    give_out(ranch, tmp_path / "out")
    file = tmp_path / "out" / "record.gpkg"
    assert {name for name, _ in pyogrio.list_layers(file)} == {"files", "readings", "valve_times"}
    readings = gpd.read_file(file, layer="readings")
    assert readings.crs.to_epsg() == 4326
    assert readings["geometry"].isna().tolist() == [False, False, True, False, False]
    assert (readings.geometry[0].x, readings.geometry[0].y) == (-121.6366, 37.0379)
    assert readings["pressure_bar"].tolist() == [BAR, 12.5, 13.0, 14.0, 14.0]
    assert readings["in_use"].tolist() == [False, True, True, False, False]
    times = pyogrio.read_dataframe(file, layer="valve_times")
    assert times["trouble"].tolist()[0] == "leak"
    assert len(pyogrio.read_dataframe(file, layer="files")) == 2


def test_another_record_takes_it_back(ranch: Path, tmp_path: Path) -> None:
    """What is in use afterwards is the same: so a record moves from a file to a server and back."""
    give_out(ranch, tmp_path / "out")
    other = small_ranch.write(tmp_path / "other")
    given = [tmp_path / "out" / name for name in ("record_readings.csv", "record_valve_times.csv")]
    add(other, given)
    for kind in ("readings", "valve_times"):
        rows = [
            [
                {
                    key: row[key]
                    for key in row
                    if key not in {"id", "import_id", "source_row", "file", "digest"}
                }
                for row in record_of(settings.load(source)).rows(kind)  # type: ignore[arg-type]
            ]
            for source in (ranch, other)
        ]
        assert rows[0] == rows[1]


def test_what_it_holds_is_said(ranch: Path) -> None:
    made = give_out(ranch)
    place, *lines = record_lines(made.held, made.settings)
    assert place == f"Record: {made.settings.record}"
    assert lines[:2] == [
        "Readings: 2 in use, 2 earlier versions, 1 taken back.",
        "Valve times: 2 in use, 1 earlier version, 0 taken back.",
    ]
    assert [line.split("  ")[-1] for line in lines[2:]] == ["phone.csv: 5 rows", "times.csv: 3 rows"]


def test_a_copy_takes_the_place_of_an_earlier_copy_only(ranch: Path, tmp_path: Path) -> None:
    give_out(ranch, tmp_path / "out")
    first = (tmp_path / "out" / "record.gpkg").read_bytes()
    give_out(ranch, tmp_path / "out")
    assert (tmp_path / "out" / "record.gpkg").read_bytes() == first
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "run.json").write_text(
        '{"job": "run", "files": ["run.json"], "versions": {"stressmap": "0"}}'
    )
    with pytest.raises(OutputError, match="it holds the result of a run"):
        give_out(ranch, tmp_path / "other")


def test_a_record_that_is_not_there_is_empty(tmp_path: Path) -> None:
    source = small_ranch.write(tmp_path / "ranch")
    made = give_out(source, tmp_path / "out")
    spanish = made.settings.model_copy(
        update={"ranch": made.settings.ranch.model_copy(update={"languages": ("es",)})}
    )
    place = dataclasses.replace(made).settings.record
    assert list(record_lines(made.held, spanish))[1:] == ["Todavía no se agregó nada de este rancho."]
    assert not place.may_exist()
    assert pd.read_csv(tmp_path / "out" / "record_readings.csv").empty
