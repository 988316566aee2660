"""Where a valve is opened, on drawn ground: riser, corner at a road, corner at the edge; and as waypoints."""

import dataclasses
from pathlib import Path

import gpxpy
import pytest
from helpers.drawn_content import ranch
from shapely import LineString, Point, Polygon, box

from stressmap.output.gis.gpx_kml import write_gpx, write_kml
from stressmap.output.text.words import Words
from stressmap.output.view.where_to_open import INWARDS_M, ROAD_M, opening_places, where_to_open

BLOCK = box(0, 0, 300, 200)
ZONE = box(100, 0, 200, 200)
EDGE = box(0, 0, 1000, 200).exterior
"""Of a ranch that goes on to the east of the block."""


def test_a_riser_goes_before_all_else() -> None:
    found = where_to_open(ZONE, BLOCK, EDGE, riser=Point(150, 200), roads=LineString([(0, -5), (300, -5)]))
    assert (found.kind, found.side, found.point) == ("riser", "n", Point(150, 200))


@pytest.mark.parametrize(
    ("road", "side"),
    [
        ([(203, 180), (203, 300)], "ne"),
        ([(0, -5), (101, -5)], "sw"),
        ([(150, 230), (99, 210)], "nw"),
        ([(260, -2), (201, -2)], "se"),
    ],
)
def test_the_corner_nearest_to_a_road(road: list[tuple[float, float]], side: str) -> None:
    found = where_to_open(ZONE, BLOCK, EDGE, roads=LineString(road))
    assert (found.kind, found.side) == ("road", side)
    corners = {"ne": (200, 200), "sw": (100, 0), "nw": (100, 200), "se": (200, 0)}
    assert found.point.distance(Point(corners[side])) == pytest.approx(INWARDS_M)
    assert ZONE.contains(found.point)


def test_a_road_far_away_says_nothing() -> None:
    for away, kind in ((ROAD_M - 1, "road"), (ROAD_M + 1, "edge")):
        road = LineString([(0, -away), (300, -away)])
        assert where_to_open(ZONE, BLOCK, EDGE, roads=road).kind == kind


def test_without_a_road_the_corner_on_the_edge_of_the_block_nearest_to_that_of_the_ranch() -> None:
    south = LineString([(-500, -20), (900, -20)])
    found = where_to_open(box(100, 0, 200, 100), BLOCK, south)
    assert (found.kind, found.side[0]) == ("edge", "s")
    inner = where_to_open(box(100, 50, 200, 150), BLOCK, south)
    assert (inner.kind, inner.side[0]) == ("edge", "s")


def test_a_bend_that_is_hardly_one_is_no_corner() -> None:
    zone = Polygon([(100, 0), (150, -0.5), (200, 0), (200, 200), (100, 200)])
    found = where_to_open(zone, BLOCK, EDGE, roads=LineString([(150, -3), (150, -60)]))
    assert found.side in {"sw", "se"}


def test_a_point_in_a_hook_stays_on_its_zone() -> None:
    hook = Polygon([(0, 0), (100, 0), (100, 10), (10, 10), (10, 100), (0, 100)])
    found = where_to_open(hook, hook, hook.exterior, roads=LineString([(105, -5), (105, 15)]))
    assert hook.covers(found.point)


def test_it_says_which_of_these_it_is_in_both_languages() -> None:
    riser = where_to_open(ZONE, BLOCK, EDGE, riser=Point(150, 200))
    corner = where_to_open(ZONE, BLOCK, EDGE)
    assert riser.said(Words("en")) == "At the riser, north side of the zone"
    assert riser.said(Words("es")) == "En el hidrante, lado norte de la zona"
    assert "the riser is not known" in corner.said(Words("en"))
    assert "no se conoce el hidrante" in corner.said(Words("es"))


def test_waypoints_stand_there_and_say_so(tmp_path: Path) -> None:
    content = ranch([("Q1", "prune", 3)], across=1)
    first, *others = content.valves["valve"]
    zone = dict(zip(content.valves["valve"], content.valves.geometry, strict=True))[first]
    riser = Point(zone.bounds[0] + 1, zone.bounds[1] - 2)
    content = dataclasses.replace(content, risers={first: riser})
    write_gpx(content, tmp_path / "w.gpx")
    write_kml(content, tmp_path / "m.kml")
    marks = gpxpy.parse((tmp_path / "w.gpx").read_text(encoding="utf-8")).waypoints
    told = {mark.name.split()[1]: mark.description for mark in marks if mark.type == "valve"}
    assert "At the riser, south-west corner of the zone" in told[first]
    assert "En el hidrante" in told[first]
    assert all("Point: corner of the zone at the block's edge (" in told[name] for name in others)
    assert f"{marks[0].longitude:.6f},{marks[0].latitude:.6f}" in (tmp_path / "m.kml").read_text(
        encoding="utf-8"
    )
    places = opening_places(content)
    assert [places[name].kind for name in (first, *others)] == ["riser", "edge", "edge"]
