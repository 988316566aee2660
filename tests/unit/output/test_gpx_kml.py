"""Waypoints and picture, read back by libraries that had no part in writing them."""

import dataclasses
import hashlib
from pathlib import Path
from typing import Any

import defusedxml.ElementTree
import gpxpy
import numpy as np
import pyogrio
import pytest
from helpers.drawn_content import NASTY, full, large, ranch, small, write_picture
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from PIL import Image
from shapely import box

from stressmap.core.text import one_line
from stressmap.output.gis.gpx_kml import write_gpx, write_kml
from stressmap.output.paper.rank_labels import NAME, rank_label
from stressmap.output.view.crew_words import turns
from stressmap.output.view.layout import fit_frame

GPX_ORDER = ("name", "desc", "type")
"""Elements of a waypoint in the order that the GPX 1.1 schema (wptType) wants them; from memory only."""


def test_gpx_holds_every_valve_and_the_trees_to_read_again(tmp_path: Path) -> None:
    path, content = tmp_path / "w.gpx", full()
    write_gpx(content, path)
    read = gpxpy.parse(path.read_text(encoding="utf-8"))
    assert read.version == "1.1"
    valves = [w for w in read.waypoints if w.type == "valve"]
    assert [w.name for w in valves] == [
        f"{rank} {one_line(valve)}"
        for rank, valve in zip(content.valves["rank"], content.valves["valve"], strict=True)
    ]
    expected = content.valves.to_crs("EPSG:4326").geometry
    for waypoint, shape in zip(valves, expected, strict=True):
        assert shape.covers(shape.representative_point().__class__(waypoint.longitude, waypoint.latitude))
    trees = [w for w in read.waypoints if w.type == "tree"]
    assert [w.description.split(" / ")[0] for w in trees[:3]] == [
        "One more reading here could change the order"
    ] * 3
    assert "bag on too short a time" in trees[3].description
    assert "bolsa puesta muy poco tiempo" in trees[3].description


def test_gpx_keeps_the_order_of_its_schema(tmp_path: Path) -> None:
    path = tmp_path / "w.gpx"
    write_gpx(small(), path)
    root = defusedxml.ElementTree.parse(path).getroot()
    space = "{http://www.topografix.com/GPX/1/1}"
    assert root.tag == f"{space}gpx"
    assert {"version", "creator"} <= set(root.attrib)
    for waypoint in root.iter(f"{space}wpt"):
        assert tuple(child.tag.removeprefix(space) for child in waypoint) == GPX_ORDER


def test_gdal_reads_the_same_points_from_gpx_and_kml(tmp_path: Path) -> None:
    content = full()
    write_gpx(content, tmp_path / "w.gpx")
    write_kml(content, tmp_path / "m.kml")
    points = pyogrio.read_dataframe(tmp_path / "w.gpx", layer="waypoints")
    layers = [name for name, _ in pyogrio.list_layers(tmp_path / "m.kml")]
    assert layers == ["Valves", "Read again"]
    trees = pyogrio.read_dataframe(tmp_path / "m.kml", layer="Read again")
    assert trees["Name"].tolist() == points["name"].tolist()[len(content.valves) :]
    valves = pyogrio.read_dataframe(tmp_path / "m.kml", layer="Valves")
    assert len(valves) == len(content.valves)


def test_kml_zones_are_the_valve_zones(tmp_path: Path) -> None:
    content = small()
    write_kml(content, tmp_path / "m.kml")
    read = pyogrio.read_dataframe(tmp_path / "m.kml", layer="Valves")
    areas = read.geometry.map(lambda g: next(part for part in g.geoms if part.geom_type == "Polygon"))
    back = areas.set_crs("EPSG:4326").to_crs(content.valves.crs).area
    np.testing.assert_allclose(back, content.valves.area, rtol=1e-3)


def test_a_name_with_a_script_is_harmless_in_a_map_program(tmp_path: Path) -> None:
    """KML descriptions are shown as HTML: after XML is undone, markup must still be escaped."""
    write_kml(small(), tmp_path / "m.kml")
    root = defusedxml.ElementTree.parse(tmp_path / "m.kml").getroot()
    texts = [e.text for e in root.iter("{http://www.opengis.net/kml/2.2}description")]
    assert any("&lt;script&gt;" in text for text in texts)
    assert not any("<" in text for text in texts)
    assert "<script>" in NASTY


@pytest.mark.parametrize("writer", [write_gpx, write_kml, write_picture])
def test_the_same_run_gives_the_same_bytes(writer, tmp_path: Path) -> None:
    for name in ("a", "b"):
        writer(full(), tmp_path / f"{name}.png")
    one, other = (hashlib.sha256((tmp_path / f"{n}.png").read_bytes()).hexdigest() for n in "ab")
    assert one == other


def test_control_characters_do_not_break_the_files(tmp_path: Path) -> None:
    content = small()
    valves = content.valves.copy()
    valves["valve"] = ["a\x00b\x0b\n", *valves["valve"][1:]]
    content = dataclasses.replace(content, valves=valves)
    write_gpx(content, tmp_path / "w.gpx")
    assert gpxpy.parse((tmp_path / "w.gpx").read_text(encoding="utf-8")).waypoints[0].name == "1 a b"
    write_picture(content, tmp_path / "p.png")


def test_the_picture_is_1600_wide_and_shows_each_priority(tmp_path: Path) -> None:
    path = tmp_path / "map.png"
    write_picture(full(), path)
    image = Image.open(path)
    assert image.width == 1600
    assert path.stat().st_size < 1_000_000
    colours = {tuple(c) for c in np.asarray(image.convert("RGB")).reshape(-1, 3)[::7]}
    assert {(74, 23, 71), (181, 83, 28), (232, 189, 85)} <= colours


def test_a_large_ranch_still_makes_a_small_picture(tmp_path: Path) -> None:
    write_picture(large(), tmp_path / "map.png")
    assert (tmp_path / "map.png").stat().st_size < 1_500_000


def test_names_with_formula_signs_are_drawn_as_they_are(tmp_path: Path) -> None:
    """Taken as a formula, the name would lose its signs or stop the drawing."""
    drawn: list[Text] = []

    def put(axes: Axes, *at: Any, **look: Any) -> Text:
        drawn.append(text_of(axes, *at, **look))
        return drawn[-1]

    text_of = Axes.text
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Axes, "text", put)
        write_picture(ranch([("$x^2$ \\frac{", "prune", 2)], across=1), tmp_path / "map.png")
    named = [text for text in drawn if "$x^2$ \\frac{" in text.get_text()]
    assert named
    assert not any(text.get_parse_math() for text in named)


def test_a_name_that_the_typeface_lacks_is_drawn_without_a_warning(tmp_path: Path) -> None:
    """A tree sign is drawn as the square that stands in for it: the two pictures are the same."""
    for name, file in (("\U0001f333", "tree.png"), ("\u25a1", "square.png")):
        write_picture(ranch([(name, "prune", 2)], across=1), tmp_path / file)
    tree, square = (np.asarray(Image.open(tmp_path / f"{name}.png")) for name in ("tree", "square"))
    assert np.array_equal(tree, square)


@pytest.mark.parametrize(
    ("name", "named"), [("Q1", {True}), ("Mill", {True}), ("The long row by the mill", {False})]
)
def test_a_valves_name_stands_under_its_number_where_both_fit(name: str, named: set[bool]) -> None:
    content = ranch([(name, "prune", 4)], across=1)
    frame = fit_frame(tuple(content.blocks.total_bounds), (0, 0, 600, 400))
    labels = [rank_label(turn, frame, always=False) for turn in turns(content)]
    assert {label is not None and label.named for label in labels} == named
    for label in filter(None, labels):
        half = label.width / frame.scale / 2, label.height / frame.scale / 2
        taken = box(label.x - half[0], label.y - half[1], label.x + half[0], label.y + half[1])
        assert label.turn.row["geometry"].covers(taken)
        figure = FigureCanvasAgg(Figure(dpi=100)).figure
        written = figure.text(0, 0, label.turn.row["valve"], size=NAME, weight="bold")
        assert not label.named or written.get_window_extent().width <= label.width
