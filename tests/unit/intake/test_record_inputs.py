"""The record's rows as files would give them: readings, a log, and the troubles that are left."""

from __future__ import annotations

import datetime as dt
from typing import Any
from zoneinfo import ZoneInfo

import pandas as pd
from helpers.told import english

from stressmap.core.schemas import READINGS, columns_of
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.intake.record_inputs import (
    RecordRows,
    record_logs,
    record_readings,
    said_of_record,
    troubles_left,
)

ZONE = ZoneInfo("America/Los_Angeles")
VALVES = pd.Series(["V1", "V2", "V3"])


def ran(
    number: int, valve: str, day: int, hours: float | None = 9.0, trouble: str | None = None
) -> dict[str, Any]:
    """A set from 20:00 of a day in July."""
    start = dt.datetime(2026, 7, day + 1, 3, 0)
    end = None if hours is None else start + dt.timedelta(hours=hours)
    return {
        "id": number,
        "valve": valve,
        "start": start,
        "end": end,
        "planned_start": None,
        "trouble": trouble,
    }


def test_sets_are_a_log_whose_rows_are_those_of_the_record() -> None:
    rows = [ran(3, "v1", 16), ran(7, "V2", 17, None), ran(8, "V9", 17), ran(9, "", 17)]
    (source,) = record_logs(RecordRows("ranch.sqlite", (), rows), ZONE)
    log = read_irrigation(source, zone=ZONE, valves=pd.DataFrame({"valve": VALVES}).pipe(with_rates))
    assert log.value[["valve", "start", "end"]].values.tolist() == [  # noqa: PD011 - rows of mixed kinds
        ["V1", pd.Timestamp("2026-07-16 20:00", tz=ZONE), pd.Timestamp("2026-07-17 05:00", tz=ZONE)]
    ]
    told = [(one.row, one.code) for one in log.counts[0].left_out]
    assert told == [(8, "log_no_end"), (9, "log_valve_unknown"), (10, "log_no_valve")]
    assert log.counts[0].file == "ranch.sqlite"


def with_rates(table: pd.DataFrame) -> Any:
    import geopandas as gpd
    import shapely

    shapes = [shapely.box(0, 0, 100, 100)] * len(table)
    return gpd.GeoDataFrame(
        table.assign(flow_m3_h=20.0, rate_mm_h=float("nan")), geometry=shapes, crs="EPSG:32610"
    )


def test_rows_are_told_by_the_file_they_came_with() -> None:
    came = [("times.xlsx", 11), ("times.xlsx", 4), ("more.csv", 2), ("times.xlsx", 4)]
    rows = [
        ran(n, valve, 16, None) | {"file": file, "source_row": at}
        for n, valve, (file, at) in zip((3, 5, 7, 9), ("V1", "V2", "V3", "V1"), came, strict=True)
    ]
    logs = record_logs(RecordRows("ranch.sqlite", (), rows), ZONE)
    found = read_irrigation(logs, zone=ZONE, valves=pd.DataFrame({"valve": VALVES}).pipe(with_rates))
    assert {counts.file: [one.row for one in counts.left_out] for counts in found.counts} == {
        "ranch.sqlite (times.xlsx)": [4, 11],
        "ranch.sqlite (more.csv)": [2],
        "ranch.sqlite": [10],
    }


def test_no_set_is_no_log() -> None:
    trouble_alone = ran(2, "V1", 16) | {"start": None, "end": None, "trouble": "leak"}
    assert record_logs(RecordRows("ranch.sqlite", (), [trouble_alone]), ZONE) == ()


def test_readings_have_the_ranchs_clock_and_their_number() -> None:
    row = dict.fromkeys([*columns_of(READINGS), "trouble"])
    row |= {"id": 4, "tree_id": "T1", "time": dt.datetime(2026, 7, 14, 20, 3), "pressure_bar": 12.5}
    row |= {"trouble": "dry_emitter", "note": "row 3"}
    found = record_readings(RecordRows("ranch.sqlite", [row]), ZONE)
    one = found.value.iloc[0]
    assert (one["row"], one["file"], one["pressure_bar"]) == (5, "ranch.sqlite", 12.5)
    assert one["time"] == pd.Timestamp("2026-07-14 13:03", tz=ZONE)
    assert one["note"] == "dry_emitter; row 3"
    assert found.counts[0].rows == 1


def test_trouble_stays_until_a_later_set_without_one() -> None:
    rows = [
        ran(1, "V1", 10, trouble="leak"), ran(2, "V1", 12),
        ran(3, "v02", 12), ran(4, "V2", 14, trouble="leak"),
        ran(5, "V3", 12, trouble="the riser wobbles"), ran(6, "V3", 11), ran(7, "V9", 12, trouble="leak"),
    ]  # fmt: skip
    found = troubles_left(RecordRows("ranch.sqlite", (), rows), VALVES)
    assert found.value == {"V2": "leak", "V3": "the riser wobbles"}
    assert english(found) == [
        "Trouble was reported and no set without it since: leak at V2. Look there before opening",
        "Trouble was reported and no set without it since: V3 (the riser wobbles). Look there before opening",
    ]


def test_several_troubles_of_one_valve_are_each_told() -> None:
    rows = [ran(1, "V1", 10, trouble="leak; clogged; it creaks")]
    told = english(troubles_left(RecordRows("ranch.sqlite", (), rows), VALVES))
    assert [line.split(": ")[1].split(".")[0] for line in told] == [
        "leak at V1", "clogged emitters at V1", "V1 (it creaks)"
    ]  # fmt: skip


def test_a_record_of_other_ranches_alone_is_a_warning() -> None:
    (note,) = said_of_record(RecordRows("ranch.sqlite", others=("Two Sheds",)))
    assert (note.code, note.severity) == ("record_of_others", "warning")
    assert said_of_record(RecordRows("ranch.sqlite")) == ()
