"""Law: whatever bytes a file holds, the answer is a table or one clear refusal, never a crash."""

import contextlib
from collections.abc import Callable
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers.invented_ranch import settings as ranch_settings
from hypothesis import given, settings
from hypothesis import strategies as st

from stressmap.core.errors import DataError, SettingsError
from stressmap.core.notes import Noted
from stressmap.core.settings import load
from stressmap.intake.blocks_and_valves import read_blocks
from stressmap.intake.irrigation_log import read_irrigation
from stressmap.intake.readings import read_readings
from stressmap.intake.weather import read_weather

FILES = Path(__file__).parents[1] / "awkward" / "readings"
SETTINGS = (Path(__file__).parents[2] / "config" / "demo_ranch.toml").read_bytes()
SEEDS = [
    (FILES / name).read_bytes()
    for name in (
        "decimal_comma_semicolon.csv", "title_and_date_rows_above.csv", "degrees_minutes_seconds.csv",
        "spanish_month_names.csv", "unit_in_each_cell.csv", "bagged_at_clock.csv", "points.geojson",
        "waypoints_pairs_in_the_comment.gpx", "waypoints_extensions.gpx", "workbook.xlsx",
        "points_in_feet.gpkg",
    )
]  # fmt: skip
KML = (
    b'<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>B1</name>'
    b"<description>crop: prune</description><Polygon><outerBoundaryIs><LinearRing>"
    b"<coordinates>-121,38 -120.99,38 -120.99,38.01 -121,38</coordinates></LinearRing></outerBoundaryIs>"
    b"</Polygon></Placemark></kml>"
)
PIECES = st.sampled_from(
    [b"", b",", b";", b"\t", b"\n", b"\r\n", b'"', b"\x00", b"\xff", b"NaN", b"1e999", b"9" * 30, b"-", b"<",
     b">", b"{", b"]", b"=", b":", b"12/13/2026", b"32/01/2026 13:00", b"\xc3\xb1", b"null", b"\xef\xbb\xbf",
     b"PK\x03\x04"]
)  # fmt: skip
EDITS = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 12), st.one_of(PIECES, st.binary(max_size=4))), max_size=5
)


def damaged(data: bytes, edits: list) -> bytes:
    for share, length, piece in edits:
        at = int(share * len(data))
        data = data[:at] + piece + data[at + length :]
    return data


def table_or_refusal(read: Callable[[], Noted], path: Path) -> pd.DataFrame | None:
    try:
        return read().value
    except DataError as refusal:
        said = refusal
    assert all(str(problem).startswith(str(path)) for problem in said.problems)
    return None


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("bytes")


@settings(max_examples=250, deadline=None, derandomize=True, database=None)
@given(seed=st.sampled_from(SEEDS), edits=EDITS)
def test_damaged_readings(folder: Path, seed: bytes, edits: list) -> None:
    path = folder / "readings"
    path.write_bytes(damaged(seed, edits))
    table = table_or_refusal(partial(read_readings, path, ranch_settings()), path)
    assert table is None or table["row"].is_unique


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(edits=EDITS)
def test_damaged_polygons(folder: Path, edits: list) -> None:
    path = folder / "blocks.kml"
    path.write_bytes(damaged(KML, edits))
    table = table_or_refusal(partial(read_blocks, path, None), path)
    assert table is None or len(table) == 1


WEATHER = b"time,temp_c,rh_pct\n2026-07-14 12:00,31.5,28\n2026-07-14 13:00,33,25\n2026-07-14 14:00,34,22\n"
RAN = (
    b"valve,start,end,mm\nA1,2026-07-10 20:00,2026-07-11 06:00,12\nA2,2026-07-09 18:30,2026-07-10 04:30,12\n"
)
ZONE = ZoneInfo("America/Los_Angeles")


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(edits=EDITS)
@pytest.mark.parametrize(("seed", "reader"), [(WEATHER, read_weather), (RAN, read_irrigation)])
def test_damaged_weather_and_irrigation(folder: Path, seed: bytes, reader: Callable, edits: list) -> None:
    path = folder / "log.csv"
    path.write_bytes(damaged(seed, edits))
    table_or_refusal(lambda: reader(path, zone=ZONE), path)


@settings(max_examples=120, deadline=None, derandomize=True, database=None)
@given(edits=EDITS)
def test_damaged_settings(folder: Path, edits: list) -> None:
    path = folder / "ranch.toml"
    path.write_bytes(damaged(SETTINGS, edits))
    with contextlib.suppress(SettingsError):
        load(path)


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(data=st.binary(max_size=400))
def test_any_bytes_at_all(folder: Path, data: bytes) -> None:
    path = folder / "noise.csv"
    path.write_bytes(data)
    with pytest.raises(DataError):
        read_readings(path, ranch_settings())
