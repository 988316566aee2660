"""``waypoints.gpx`` and ``map.kml``: valve zones and trees to read again, for a phone's own map program."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, SubElement, indent, tostring

import geopandas as gpd
from shapely.geometry.base import BaseGeometry

from stressmap.core.antimeridian import cut
from stressmap.core.text import one_line
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import (
    NO_RANK,
    Revisit,
    Turn,
    revisits,
    standing_words,
    trees_words,
    turn_words,
    turns,
)
from stressmap.output.view.palette import NOT_MEASURED, PRIORITY
from stressmap.output.view.where_to_open import OpeningPlace, opening_places

WGS84 = "EPSG:4326"
GPX = "http://www.topografix.com/GPX/1/1"
KML = "http://www.opengis.net/kml/2.2"
FILL = "cc"
"""Opacity of a zone in KML."""


def write_gpx(content: Content, path: Path) -> None:
    """Write the waypoints as GPX 1.1.

    Parameters
    ----------
    content : Content
        The finished run.
    path : Path
        File to write; the same content gives the same bytes.
    """
    root = Element("gpx", {"version": "1.1", "creator": "stressmap", "xmlns": GPX})
    about = SubElement(root, "metadata")
    words = _first_words(content)
    SubElement(about, "name").text = one_line(content.ranch.name)
    SubElement(about, "desc").text = words.days(*content.visit)
    for turn, place, point in _valve_points(content):
        _waypoint(root, point, _valve_name(turn, words), _valve_about(turn, place, content), "valve")
    for spot, point in _tree_points(content):
        _waypoint(root, point, _tree_name(spot, words), _tree_about(spot, content), "tree")
    _save(root, path)


def write_kml(content: Content, path: Path) -> None:
    """Write zones and waypoints as KML 2.2.

    Parameters
    ----------
    content : Content
        The finished run.
    path : Path
        File to write; the same content gives the same bytes.
    """
    root = Element("kml", {"xmlns": KML})
    words = _first_words(content)
    page = SubElement(root, "Document")
    SubElement(page, "name").text = f"{one_line(content.ranch.name)}, {words.days(*content.visit)}"
    for name, colour in [*((f"p{n}", c) for n, c in PRIORITY.items()), ("none", NOT_MEASURED)]:
        _style(page, name, colour)
    shapes = cut(content.valves.geometry.to_crs(WGS84).to_numpy())
    folder = _folder(page, words("points.valves"))
    for (turn, place, point), shape in zip(_valve_points(content), shapes, strict=True):
        style = "none" if turn.priority is None else f"p{turn.priority}"
        mark = _placemark(folder, _valve_name(turn, words), _valve_about(turn, place, content), style)
        both = SubElement(mark, "MultiGeometry")
        _point(both, point)
        for part in getattr(shape, "geoms", [shape]):
            _polygon(both, part)
    folder = _folder(page, words("points.again"))
    for spot, point in _tree_points(content):
        _point(_placemark(folder, _tree_name(spot, words), _tree_about(spot, content), None), point)
    _save(root, path)


def _first_words(content: Content) -> Words:
    return Words(content.ranch.languages[0], content.ranch.units)


def _all_words(content: Content) -> list[Words]:
    return [Words(language, content.ranch.units) for language in content.ranch.languages]


def _valve_points(content: Content) -> list[tuple[Turn, OpeningPlace, Any]]:
    """Give each valve with where it is opened, and that in degrees."""
    order, places = turns(content), opening_places(content)
    found = [places[turn.row["valve"]] for turn in order]
    spots = gpd.GeoSeries([place.point for place in found], crs=content.valves.crs).to_crs(WGS84)
    return list(zip(order, found, spots, strict=True))


def _tree_points(content: Content) -> list[tuple[Revisit, Any]]:
    spots = revisits(content)
    places = gpd.GeoSeries([spot.point for spot in spots], crs=content.readings.crs)
    return list(zip(spots, places.to_crs(WGS84) if spots else places, strict=True))


def _valve_name(turn: Turn, words: Words) -> str:
    if turn.rank == NO_RANK:
        return str(turn.row["valve"])
    return words("points.valve", rank=turn.rank, valve=turn.row["valve"])


def _valve_about(turn: Turn, place: OpeningPlace, content: Content) -> str:
    return " / ".join(
        words(
            "points.valve_about",
            block=turn.row["block"],
            rank=_rank_words(turn, words),
            priority=standing_words(turn, words),
            figure=turn_words(turn, content.rank_by, words),
            trees=words("trees.behind", trees=trees_words(turn, words)),
            place=place.said(words),
        )
        for words in _all_words(content)
    )


def _rank_words(turn: Turn, words: Words) -> str:
    unranked = turn.rank == NO_RANK
    return words("points.no_rank") if unranked else words("points.rank", rank=turn.rank)


def _tree_name(spot: Revisit, words: Words) -> str:
    if spot.tree:
        return words("points.tree", tree=spot.tree)
    return words("points.again_at", valve=spot.valve or "")


def _tree_about(spot: Revisit, content: Content) -> str:
    said = []
    for words in _all_words(content):
        why = "; ".join(words.known("flag", code) for code in spot.flags)
        said.append(words("points.tree_left_out", why=why) if why else words("points.tree_again"))
    return " / ".join(said)


def _waypoint(root: Element, point: Any, name: str, about: str, kind: str) -> None:
    mark = SubElement(root, "wpt", {"lat": f"{point.y:.6f}", "lon": f"{point.x:.6f}"})
    for tag, text in (("name", name), ("desc", about), ("type", kind)):
        SubElement(mark, tag).text = one_line(text)


def _style(page: Element, name: str, colour: str) -> None:
    style = SubElement(page, "Style", {"id": name})
    blue_green_red = colour[5:7] + colour[3:5] + colour[1:3]
    line = SubElement(style, "LineStyle")
    SubElement(line, "color").text = "ff1c1814"
    SubElement(line, "width").text = "2"
    inside = SubElement(style, "PolyStyle")
    SubElement(inside, "color").text = FILL + blue_green_red
    if colour == NOT_MEASURED:
        SubElement(inside, "fill").text = "0"


def _folder(page: Element, name: str) -> Element:
    folder = SubElement(page, "Folder")
    SubElement(folder, "name").text = name
    return folder


def _placemark(folder: Element, name: str, about: str, style: str | None) -> Element:
    mark = SubElement(folder, "Placemark")
    SubElement(mark, "name").text = one_line(name)
    # map programs read this field as HTML, so a name must survive being unescaped twice
    SubElement(mark, "description").text = escape(one_line(about))
    if style is not None:
        SubElement(mark, "styleUrl").text = f"#{style}"
    return mark


def _point(parent: Element, point: Any) -> None:
    SubElement(SubElement(parent, "Point"), "coordinates").text = f"{point.x:.6f},{point.y:.6f}"


def _polygon(parent: Element, part: BaseGeometry) -> None:
    polygon: Any = part
    shape = SubElement(parent, "Polygon")
    for tag, rings in (("outerBoundaryIs", [polygon.exterior]), ("innerBoundaryIs", polygon.interiors)):
        for ring in rings:
            line = SubElement(SubElement(shape, tag), "LinearRing")
            SubElement(line, "coordinates").text = " ".join(f"{x:.6f},{y:.6f}" for x, y, *_ in ring.coords)


def _save(root: Element, path: Path) -> None:
    indent(root)
    path.write_bytes(tostring(root, encoding="utf-8", xml_declaration=True))
