"""``round.gpx``: the stops of a round and the way between them, for a phone's own map program."""

from __future__ import annotations

import math
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from stressmap.core.text import one_line
from stressmap.output.gis.gpx_kml import GPX
from stressmap.output.text.round_words import RoundWords
from stressmap.output.text.words import Words
from stressmap.output.view.quantities import reading
from stressmap.output.view.round_content import Action, RoundContent
from stressmap.rounds.round import Stop


def write_round_gpx(content: RoundContent, path: Path) -> None:
    """Write the round as GPX 1.1: a waypoint a stop, a route a crew by the clock, a track a crew of its way.

    Parameters
    ----------
    content : RoundContent
        The round.
    path : Path
        File to write; the same content gives the same bytes.
    """
    root = Element("gpx", {"version": "1.1", "creator": "stressmap", "xmlns": GPX})
    first = RoundWords(content.ranch.languages[0])
    dates = Words(content.ranch.languages[0], content.ranch.units)
    about = SubElement(root, "metadata")
    SubElement(about, "name").text = one_line(content.ranch.name)
    SubElement(about, "desc").text = f"{first('paper.title')}, {dates.date(content.on)}"
    for stop in content.planned.stops:
        mark = _point(root, "wpt", content.degrees[stop.number])
        SubElement(mark, "name").text = one_line(first("points.stop", number=stop.number, tree=stop.tree_id))
        SubElement(mark, "desc").text = one_line(_about(content, stop))
        SubElement(mark, "type").text = "tree"
    for crew in content.crews:
        _route(root, content, crew, first)
    for crew in content.crews:
        _track(root, content, crew, first)
    indent(root)
    path.write_bytes(tostring(root, encoding="utf-8", xml_declaration=True))


def _point(parent: Element, tag: str, place: tuple[float, float]) -> Element:
    return SubElement(parent, tag, {"lat": f"{place[1]:.6f}", "lon": f"{place[0]:.6f}"})


def _about(content: RoundContent, stop: Stop) -> str:
    """Say of a stop when, why and what to expect, in every language."""
    said = []
    for language in content.ranch.languages:
        words, units = RoundWords(language), Words(language, content.ranch.units)
        times = {"bag": f"{stop.bag_at:%H:%M}", "read": f"{stop.read_at:%H:%M}"}
        parts = [words("points.about", block=stop.block, **times), words.why(stop.why)]
        if math.isfinite(stop.expected_low_bar) and math.isfinite(stop.expected_high_bar):
            gauge = content.reading.unit
            ends = {"low": stop.expected_low_bar, "high": stop.expected_high_bar}
            shown = {name: reading(bar, gauge, units) for name, bar in ends.items()}
            parts.append(words("points.expected", **shown))
        said.append("; ".join(part for part in parts if part))
    return " / ".join(said)


def _route(root: Element, content: RoundContent, crew: int, words: RoundWords) -> None:
    route = SubElement(root, "rte")
    SubElement(route, "name").text = words("points.route", crew=crew)
    for action in content.actions(crew):
        mark = _point(route, "rtept", content.degrees[action.stop.number])
        SubElement(mark, "name").text = _action(action, words)


def _action(action: Action, words: RoundWords) -> str:
    return words(f"points.{action.kind}", clock=action.clock, number=action.stop.number)


def _track(root: Element, content: RoundContent, crew: int, words: RoundWords) -> None:
    lines = [way.line for way in content.planned.ways if way.crew == crew]
    if not lines:
        return
    track = SubElement(root, "trk")
    SubElement(track, "name").text = words("points.way", crew=crew)
    segment = SubElement(track, "trkseg")
    spots = [spot for line in lines for spot in line]
    kept = [spot for at, spot in enumerate(spots) if at == 0 or spot != spots[at - 1]]
    for place in content.in_degrees(kept):
        _point(segment, "trkpt", place)
