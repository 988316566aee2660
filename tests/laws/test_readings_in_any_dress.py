"""Law: the same readings in any dress (unit, separator, decimal mark, order, clock) are the same table."""

import csv
import datetime as dt
import io
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stressmap.core.settings import Settings
from stressmap.intake.readings import read_readings

# bars in one of each: NIST Special Publication 811, appendix B (from memory, formula cross-checked)
PER = {"bar": 1.0, "MPa": 10.0, "kPa": 0.01, "psi": 0.0689475729}
HEADINGS = {
    "tree": ("tree_id", "Tree #", "ÁRBOL", "planta"),
    "lon": ("lon", "Longitude", "longitud", "LNG"),
    "lat": ("lat", "Latitude", "latitud", "LAT"),
    "pressure": ("pressure", "SWP", "Presión", "Potencial hídrico"),
    "note": ("note", "Comments", "Observaciones", "nota"),
}
STAMPS = {
    "iso": "%Y-%m-%d %H:%M:%S",
    "iso_t": "%Y-%m-%dT%H:%M:%S",
    "day_first": "%d/%m/%Y %H:%M:%S",
    "month_first": "%m/%d/%Y %I:%M:%S %p",
    "dotted": "%d.%m.%y %H:%M:%S",
    "words": "%d %b %Y %H:%M:%S",
}
TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=8)


@dataclass(frozen=True)
class Dress:
    unit: str
    in_heading: bool
    separator: str
    comma: bool
    order: tuple[str, ...]
    language: int
    stamp: str
    zone: str
    written_in: str | None
    encoding: str
    title: bool
    line_end: str


DRESSES = st.builds(
    Dress,
    unit=st.sampled_from(sorted(PER)),
    in_heading=st.booleans(),
    separator=st.sampled_from([",", ";", "\t", "|"]),
    comma=st.booleans(),
    order=st.permutations(["tree", "time", "lon", "lat", "pressure", "note"]).map(tuple),
    language=st.integers(0, 3),
    stamp=st.sampled_from(sorted(STAMPS)),
    zone=st.sampled_from(["America/Los_Angeles", "America/Santiago", "Australia/Adelaide", "UTC"]),
    written_in=st.sampled_from([None, "UTC", "Asia/Kathmandu", "America/St_Johns"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    title=st.booleans(),
    line_end=st.sampled_from(["\n", "\r\n"]),
)
READINGS = st.lists(
    st.tuples(
        TEXT,
        st.datetimes(dt.datetime(2026, 4, 13), dt.datetime(2026, 8, 28)).map(
            lambda t: t.replace(day=max(t.day, 13), microsecond=0)
        ),
        st.integers(-1_799_999, 1_799_999).map(lambda n: n / 1e4),
        st.integers(-899_999, 899_999).map(lambda n: n / 1e4),
        st.integers(20, 600).map(lambda n: n / 10),
        st.one_of(st.just(""), TEXT),
    ),
    min_size=1,
    max_size=6,
)


def moment(wall: dt.datetime, dress: Dress) -> dt.datetime:
    """The reading's time: noon is far enough from every clock change."""
    return wall.replace(hour=12 + wall.hour % 6, tzinfo=ZoneInfo(dress.zone))


def written(time: dt.datetime, dress: Dress) -> str:
    if dress.written_in and dress.stamp.startswith("iso"):
        return time.astimezone(ZoneInfo(dress.written_in)).isoformat()
    return time.strftime(STAMPS[dress.stamp])


def dressed(readings: list, dress: Dress) -> bytes:
    heading = {name: spelled[dress.language] for name, spelled in HEADINGS.items()} | {"time": "time"}
    if dress.in_heading:
        heading["pressure"] += f" ({dress.unit})"
    rows = []
    for tree, wall, lon, lat, bar, note in readings:
        numbers = {"lon": f"{lon:.4f}", "lat": f"{lat:.4f}", "pressure": f"{bar / PER[dress.unit]:.6f}"}
        if dress.comma:
            numbers = {name: text.replace(".", ",") for name, text in numbers.items()}
        cells = {**numbers, "tree": tree, "time": written(moment(wall, dress), dress), "note": note}
        rows.append([cells[name] for name in dress.order])
    sheet = io.StringIO()
    writer = csv.writer(sheet, delimiter=dress.separator, lineterminator=dress.line_end)
    if dress.title:
        sheet.write(f"Visit of two crews{dress.line_end}{dress.line_end}")
    writer.writerow([heading[name] for name in dress.order])
    writer.writerows(rows)
    return sheet.getvalue().encode(dress.encoding)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("dress")


@settings(max_examples=80, deadline=None, derandomize=True, database=None)
@given(readings=READINGS, dress=DRESSES)
def test_the_same_readings_in_any_dress_are_the_same_table(
    folder: Path, readings: list, dress: Dress
) -> None:
    path = folder / "readings.csv"
    path.write_bytes(dressed(readings, dress))
    chosen = Settings.model_validate(
        {
            "ranch": {"name": "Invented", "timezone": dress.zone},
            "files": {"readings": path, "blocks": path},
            "reading": {} if dress.in_heading else {"unit": dress.unit},
        }
    )
    table = read_readings(path, chosen).value
    trees, walls, lon, lat, bar, notes = zip(*readings, strict=True)
    first = 4 if dress.title else 2
    assert table["row"].tolist() == list(range(first, first + len(readings)))
    assert table["tree_id"].tolist() == list(trees)
    assert table["note"].tolist() == [note or None for note in notes]
    assert table["time"].tolist() == [pd.Timestamp(moment(wall, dress)) for wall in walls]
    nowhere = [x == 0 and y == 0 for x, y in zip(lon, lat, strict=True)]
    np.testing.assert_allclose(table["lon"], np.where(nowhere, np.nan, lon), atol=1e-9)
    np.testing.assert_allclose(table["lat"], np.where(nowhere, np.nan, lat), atol=1e-9)
    np.testing.assert_allclose(table["pressure_bar"], bar, atol=2e-5)
