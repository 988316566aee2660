"""Laws of the irrigation log: the same sets in any dress are one table, and no row goes uncounted."""

import csv
import datetime as dt
import io
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import openpyxl
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from stressmap.intake.irrigation_log import read_irrigation

ZONE = ZoneInfo("America/Los_Angeles")
VALVES = [f"V{number:02d}" for number in range(1, 13)]
ZONES = gpd.GeoDataFrame(
    {"valve": VALVES, "flow_m3_h": np.nan, "rate_mm_h": np.nan},
    geometry=[shapely.box(0, 0, 100, 100)] * len(VALVES),
    crs="EPSG:32610",
)
NAMES = {
    "as they are": lambda n: f"V{n:02d}",
    "no zeros": lambda n: f"v{n}",
    "gaps": lambda n: f" V - {n:03d} ",
    "numbers": lambda n: f"{n}",
    "words": lambda n: f"Válvula {n}",
}
HOURS = {
    "figure": lambda m: f"{m / 60:.2f}",
    "comma": lambda m: f"{m / 60:.2f}".replace(".", ","),
    "clock": lambda m: f"{m // 60}:{m % 60:02d}",
    "hrs": lambda m: f"{m / 60:.2f} hrs",
    "spoken": lambda m: f"{m // 60} h {m % 60} min",
    "minutes": lambda m: f"{m} min",
}
STAMPS = {
    "iso": "%Y-%m-%d %H:%M",
    "day_first": "%d/%m/%Y %H:%M",
    "month_first": "%m/%d/%Y %I:%M %p",
    "dotted": "%d.%m.%Y %H:%M",
    "words": "%d %b %Y %H:%M",
}


@dataclass(frozen=True)
class Dress:
    names: str
    hours: str | None
    stamp: str
    separator: str
    spanish: bool
    backwards: bool
    workbook: bool


DRESSES = st.builds(
    Dress,
    names=st.sampled_from(sorted(NAMES)),
    hours=st.sampled_from([None, *sorted(HOURS)]),
    stamp=st.sampled_from(sorted(STAMPS)),
    separator=st.sampled_from([",", ";", "\t"]),
    spanish=st.booleans(),
    backwards=st.booleans(),
    workbook=st.booleans(),
)
# a set a day at most, so that none overlaps another; days past the 12th tell day from month
SETS = st.lists(
    st.tuples(
        st.integers(1, 12), st.integers(13, 28), st.integers(0, 23), st.integers(1, 52).map(lambda n: n * 15)
    ),
    min_size=1,
    max_size=8,
    unique_by=lambda one: one[:2],
)


def written(sets: list, dress: Dress, path: Path) -> None:
    ours = ("valvula", "inicio", "fin", "horas") if dress.spanish else ("valve", "start", "end", "hours")
    rows = [[*ours[:2], ours[2] if dress.hours is None else ours[3]]]
    for number, day, hour, minutes in reversed(sets) if dress.backwards else sets:
        start = dt.datetime(2026, 7, day, hour)
        end = (start + dt.timedelta(minutes=minutes)).strftime(STAMPS[dress.stamp])
        length = end if dress.hours is None else HOURS[dress.hours](minutes)
        rows.append([NAMES[dress.names](number), start.strftime(STAMPS[dress.stamp]), length])
    if dress.workbook:
        book = openpyxl.Workbook()
        for row in rows:
            book.active.append(row)
        book.save(path)
        return
    sheet = io.StringIO()
    csv.writer(sheet, delimiter=dress.separator).writerows(rows)
    path.write_text(sheet.getvalue(), encoding="utf-8")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("dress")


@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(sets=SETS, dress=DRESSES)
def test_a_log_in_any_dress_gives_the_same_table(folder: Path, sets: list, dress: Dress) -> None:
    path = folder / "log"
    written(sets, dress, path)
    log = read_irrigation(path, zone=ZONE, valves=ZONES)
    expected = []
    for number, day, hour, minutes in sets:
        start = pd.Timestamp(dt.datetime(2026, 7, day, hour), tz=ZONE)
        expected.append((f"V{number:02d}", start, start + pd.Timedelta(minutes=minutes)))
    table = sorted(zip(log.value["valve"], log.value["start"], log.value["end"], strict=True))
    assert table == sorted(expected)
    assert log.counts[0].used == len(sets)


CELLS = st.sampled_from(
    ["", "V01", "v2", "V03, V99", "V1-V3", "?", "2026-07-13", "2026-07-13 06:00", "13/07/2026", "07/08/2026",
     "6:00", "18:00", "25:99", "-3", "8", "1,5", "1e9", "all night", "nan", "=1+1", "12 mm", "\u00bd"]
)  # fmt: skip
ROWS = st.lists(st.tuples(CELLS, CELLS, CELLS, CELLS, CELLS), min_size=1, max_size=10)


@settings(max_examples=40, deadline=None, derandomize=True, database=None)
@given(rows=ROWS)
def test_rows_in_are_rows_used_and_rows_told_and_no_row_stops_the_log(folder: Path, rows: list) -> None:
    path = folder / "any.csv"
    with path.open("w", encoding="utf-8", newline="") as opened:
        csv.writer(opened).writerows(
            [("valve", "start", "end", "hours", "mm"), *rows, ("V01", "x", "", "", "")]
        )
    log = read_irrigation(path, zone=ZONE, valves=ZONES)
    (counts,) = log.counts
    assert counts.rows == 1 + sum(any(row) for row in rows)
    assert counts.rows == counts.used + len({one.row for one in counts.left_out})
    assert set(log.value["valve"]) <= set(VALVES)
    assert (log.value["end"] > log.value["start"]).all()
    for _, mine in log.value.groupby("valve"):
        assert (mine["start"].iloc[1:].to_numpy() >= mine["end"].iloc[:-1].to_numpy()).all()
