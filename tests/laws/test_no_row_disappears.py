"""Laws of every input: rows in are rows used and rows told, and whoever asks for the list finds each of them.

The irrigation log has its own in ``test_log_in_any_dress.py``.
"""

import csv
from collections.abc import Iterable
from pathlib import Path
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from helpers import small_ranch
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS

from stressmap.core.row_counts import RowCounts
from stressmap.core.settings import Settings
from stressmap.intake.blocks_and_valves import read_blocks, read_valves
from stressmap.intake.readings import read_readings
from stressmap.intake.weather import read_weather
from stressmap.output.gis.mend_list import write_mend_list
from stressmap.output.text.note_words import rows_told
from stressmap.output.text.words import Words
from stressmap.quality.assessment_summary import judged, mend_table
from stressmap.quality.checks import assess
from stressmap.quality.spatial_join import join_valves, outside_rows

ZONE = ZoneInfo("America/Los_Angeles")
FEW = settings(max_examples=20, deadline=None, derandomize=True, database=None)
FIGURES_OF = ("lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes")
LISTED = ("row", "tree_id", "used", "flags", "time", *FIGURES_OF, "block", "valve", "file")
NOTHING = pd.DataFrame({name: [] for name in LISTED}).astype({"row": int, "used": bool, "flags": object})
SAID = Settings.model_validate(
    {
        "ranch": {"name": "Invented", "timezone": "America/Los_Angeles"},
        "files": {"readings": Path("readings.csv"), "blocks": Path("blocks.geojson")},
    }
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("rows")


def written(path: Path, header: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> int:
    """Write a table and count its rows that hold anything."""
    held = list(rows)
    with path.open("w", encoding="utf-8", newline="") as opened:
        csv.writer(opened).writerows([header, *held])
    return sum(any(row) for row in held)


def holds(counts: RowCounts, rows: int, used: int, table: pd.DataFrame = NOTHING, *, folder: Path) -> None:
    """Hold counts against what was written and taken, and their told rows against the list to mend."""
    assert counts.rows == rows
    assert counts.used == used
    told = {one.row for one in counts.left_out}
    assert len(told) == len(counts.left_out) == rows - used
    assert str(rows) in rows_told(counts, Words("en"))[0]
    others = [counts] if counts.kind != "readings" else []
    write_mend_list(table.assign(file=counts.file), Words("es"), folder / "mend.csv", others)
    listed = pd.read_csv(folder / "mend.csv", keep_default_na=False)
    unmended = {one.row for one in counts.left_out if one.code == "outside_visit"}
    assert told - unmended <= set(listed.loc[~listed["used"], "row"])
    assert (listed["wrong"] != "").all()


TIMES = st.sampled_from(["", "?", "noon", "2026-07-14 13:00", "2026-07-14 14:00", "2026-07-14 24:00",
                         "31/31/2026 9:00", "2026-07-15", "46217.5", "time"])  # fmt: skip
FIGURES = st.sampled_from(["", "n/a", "--", "35", "35,5", "-999", "9999", "95", "0.4"])


@FEW
@given(rows=st.lists(st.tuples(TIMES, FIGURES, FIGURES, FIGURES), max_size=9))
def test_of_the_weather(folder: Path, rows: list[tuple[str, ...]]) -> None:
    header = ("time", "temp", "rh", "wind")
    again = [tuple(name.upper() for name in header)] * (len(rows) % 2)
    path, whole = folder / "weather.csv", ("2026-07-16 12:00", "30", "40", "1")
    total = written(path, header, [*rows, *again, whole])
    found = read_weather(path, zone=ZONE)
    (counts,) = found.counts
    holds(counts, total, len(found.value), folder=folder)


BLOCKS = small_ranch.blocks()
VALVES = small_ranch.valves()
MEASURED = small_ranch.readings(6)
SPOILS: dict[str, tuple[str, ...]] = {
    "time": ("", "x", "2026-07-14 03:00", "2026-07-01 13:05"),
    "lon": ("", "0", "12.5"),
    "lat": ("", "95"),
    "pressure_bar": ("", "-13", "900", "1.3", "n/a"),
    "bag_minutes": ("", "2"),
}
SPOIL = st.sampled_from([(name, cell) for name, cells in SPOILS.items() for cell in cells])


@FEW
@given(
    spoils=st.lists(st.tuples(st.integers(0, 5), SPOIL), max_size=8),
    more=st.sampled_from([(), ("twice",), ("bare",), ("twice", "bare")]),
)
def test_of_the_readings(
    folder: Path, spoils: list[tuple[int, tuple[str, str]]], more: tuple[str, ...]
) -> None:
    table = MEASURED.astype(str)
    for at, (name, cell) in spoils:
        table.loc[at, name] = cell
    header, rows = tuple(table.columns), list(table.itertuples(index=False, name=None))
    extra = {"twice": tuple(MEASURED.astype(str).iloc[0]), "bare": ("",) * len(header)}
    rows += [extra[one] for one in more]
    whole = ("T99", *MEASURED.astype(str).iloc[5, 1:])
    path = folder / "readings.csv"
    total = written(path, header, [*rows, whole])
    found = read_readings(path, SAID)
    day = pd.Timestamp("2026-07-14").date()
    assessed = assess(found.value, BLOCKS, VALVES, SAID, (day, day), CRS(BLOCKS.crs)).value
    (counts,) = judged(found.counts, assessed, SAID.reading)
    holds(counts, total, int(assessed["used"].sum()), mend_table(assessed), folder=folder)


def placemark(number: int, kind: str) -> str:
    """Draw a square of its own place, a sliver beside the first, or what is no outline."""
    side, lon, lat = (0.0001 if kind == "sliver" else 0.002), -121.0 + 0.004 * number, 37.0
    if kind == "sliver":
        lon -= 0.004 * number - 0.002
    name = "Block 0" if kind == "sliver" else f"Block {number}"
    corners = [(0, 0), (side, 0), (side, side), (0, side), (0, 0)]
    places = " ".join(f"{lon + x:.6f},{lat + y:.6f}" for x, y in corners)
    shapes = {
        "point": f"<Point><coordinates>{lon},{lat}</coordinates></Point>",
        "line": f"<LineString><coordinates>{places}</coordinates></LineString>",
        "nothing": "",
    }
    ring = f"<LinearRing><coordinates>{places}</coordinates></LinearRing>"
    outline = f"<Polygon><outerBoundaryIs>{ring}</outerBoundaryIs></Polygon>"
    said = "<description>crop=prune</description>"
    return f"<Placemark><name>{name}</name>{said}{shapes.get(kind, outline)}</Placemark>"


@FEW
@given(kinds=st.lists(st.sampled_from(["polygon", "point", "line", "nothing", "sliver"]), max_size=8))
@pytest.mark.parametrize("kind", ["blocks", "valves"])
def test_of_the_outlines(folder: Path, kind: str, kinds: list[str]) -> None:
    path = folder / f"{kind}.kml"
    marks = "".join(placemark(number, one) for number, one in enumerate(["polygon", *kinds]))
    path.write_text(f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{marks}</Document></kml>')
    found = read_blocks(path, "EPSG:32610") if kind == "blocks" else read_valves(path, CRS("EPSG:32610"))
    (counts,) = found.counts
    holds(counts, 1 + len(kinds), len(found.value), folder=folder)
    drawn = [row for row, one in enumerate(["polygon", *kinds], 2) if one == "polygon"]
    assert sorted({*range(2, len(kinds) + 3)} - {one.row for one in counts.left_out}) == drawn


@FEW
@given(away=st.lists(st.booleans(), min_size=4, max_size=4).filter(lambda flags: not all(flags)))
def test_of_valves_that_lie_in_no_block(folder: Path, away: list[bool]) -> None:
    moved = VALVES.drop(columns="block")
    moved.loc[away, "geometry"] = moved.loc[away].translate(0, 9_000)
    moved.to_file(folder / "valves.gpkg")
    read = read_valves(folder / "valves.gpkg", CRS(VALVES.crs))
    joined = join_valves(read.value, BLOCKS, folder / "valves.gpkg")
    counts = read.counts[0].leaving(outside_rows(read.value, joined))
    holds(counts, 4, 4 - sum(away), folder=folder)
    assert set(joined.value["valve"]) & set(moved["valve"][away]) == set()


NAMES = st.lists(
    st.sampled_from(["north shed", "South-Shed", "East Shed", "Barn", "?"]), max_size=5, unique=True
)


@FEW
@given(names=NAMES, again=st.booleans(), crop=st.sampled_from(["prune", ""]))
def test_of_attributes_by_block(folder: Path, names: list[str], again: bool, crop: str) -> None:  # noqa: FBT001
    if not (folder / "blocks.geojson").exists():
        BLOCKS.to_crs("EPSG:4326").to_file(folder / "blocks.geojson")
    rows = [(name, crop, "drip") for name in names] + [("BLOCK", "crop", "Irrigation")] * again
    total = written(
        folder / "attributes.csv", ("block", "crop", "irrigation"), [*rows, ("", "", ""), ("Hill", "", "")]
    )
    found = read_blocks(folder / "blocks.geojson", None, attributes=folder / "attributes.csv")
    counts = next(one for one in found.counts if one.kind == "attributes")
    known = {"north shed", "South-Shed"} & set(names)
    holds(counts, total, len(known), folder=folder)
