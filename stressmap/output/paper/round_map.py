"""The map of a measuring crew's paper: blocks, the way in its order, stops by number."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from shapely import box

from stressmap.output.paper.round_sheet import RoundSheet
from stressmap.output.view.layout import Box, Frame, beside, centred, fit_frame, free_spot, round_length
from stressmap.output.view.quantities import quantity
from stressmap.rounds.round import Stop

LEGEND = 5.4
"""Height of the legend below the map [mm]."""
HIGH, TYPE = 3.9, 8.5
"""Height [mm] and type [points] of a stop's number."""
DOT = 0.9
"""Radius of a stop's mark [mm]."""
ROOM = 0.06
"""Room around what is shown, as a share of it."""


def draw_round_map(sheet: RoundSheet, crew: int, area: Box) -> None:
    """Draw where a crew goes.

    Parameters
    ----------
    sheet : RoundSheet
        On the page.
    crew : int
        Whose way.
    area : tuple of float
        Left, top, width, height on the page [mm], the legend included.
    """
    left, top, width, height = area
    inner = (left + 1.0, top + 1.0, width - 2.0, height - LEGEND - 2.0)
    stops = [stop for stop in sheet.content.planned.stops if stop.crew == crew]
    ways = [way for way in sheet.content.planned.ways if way.crew == crew]
    frame = fit_frame(_bounds(sheet, stops, [way.line for way in ways]), inner)
    window = (left, top, width, height - LEGEND)
    _lines(sheet, sheet.content.roads, frame, window)
    shapes = _blocks(sheet, frame, window)
    for way in ways:
        _way(sheet, way.line, frame, driven=way.how == "drive")
    taken = _stops(sheet, stops, frame, inner)
    _names(sheet, shapes, (frame, window), taken)
    sheet.set_line_width(0.3)
    sheet.rect(*window)
    _legend(sheet, top + height - LEGEND + 0.6, frame, driven=any(way.how == "drive" for way in ways))


def _bounds(sheet: RoundSheet, stops: list[Stop], lines: list[Any]) -> Box:
    """Give what is shown [m]: the blocks with a stop, and the way."""
    blocks = sheet.content.blocks
    shown = [*blocks.geometry[blocks["block"].isin({stop.block for stop in stops})]]
    shown += [shapely.LineString(line) for line in lines if len(line) > 1]
    shown += [shapely.Point(stop.x, stop.y) for stop in stops]
    west, south, east, north = shapely.total_bounds(np.array(shown))
    room = ROOM * max(east - west, north - south, 50.0) / 2
    return float(west - room), float(south - room), float(east + room), float(north + room)


def _shown(frame: Frame, window: Box) -> Any:
    """Give the window in the working CRS, so that nothing is drawn over its edge."""
    left, top, width, height = window
    west, north = (
        frame.west + (left - frame.left) / frame.scale,
        frame.north - (top - frame.top) / frame.scale,
    )
    return box(west, north - height / frame.scale, west + width / frame.scale, north)


def _blocks(sheet: RoundSheet, frame: Frame, window: Box) -> list[tuple[str, Any]]:
    seen = _shown(frame, window)
    sheet.set_draw_color(0)
    sheet.set_line_width(0.45)
    found = []
    for name, shape in zip(sheet.content.blocks["block"], sheet.content.blocks.geometry, strict=True):
        here = shape.intersection(seen)
        if here.is_empty:
            continue
        _lines(sheet, shapely.boundary(shape).intersection(seen), frame, window, grey=0, thick=0.45)
        found.append((str(name), here))
    return found


def _lines(
    sheet: RoundSheet, lines: Any, frame: Frame, window: Box, *, grey: int = 150, thick: float = 0.9
) -> None:
    """Draw lines of the working CRS, as far as they are in the window."""
    if lines is None or lines.is_empty:
        return
    sheet.set_draw_color(grey)
    sheet.set_line_width(thick)
    for part in shapely.get_parts(lines.intersection(_shown(frame, window))):
        points = _placed(shapely.get_coordinates(part), frame)
        if len(points) > 1:
            sheet.polyline(points)
    sheet.set_draw_color(0)


def _placed(xy: Any, frame: Frame) -> list[tuple[float, float]]:
    return [(round(float(x), 2), round(float(y), 2)) for x, y in frame.place(np.asarray(xy, dtype=float))]


def _way(sheet: RoundSheet, line: Any, frame: Frame, *, driven: bool) -> None:
    points = _placed(line, frame)
    sheet.set_draw_color(90 if driven else 0)
    sheet.set_line_width(0.7 if driven else 0.3)
    if driven:
        sheet.set_dash_pattern(dash=2.0, gap=1.2)
    if len(points) > 1:
        sheet.polyline(points)
    sheet.set_dash_pattern()
    sheet.set_draw_color(0)


def _stops(sheet: RoundSheet, stops: list[Stop], frame: Frame, area: Box) -> list[Box]:
    """Draw a mark and a number for each stop; return what they take on the page."""
    if not stops:
        return []
    spots = frame.place(np.array([(stop.x, stop.y) for stop in stops]))
    wide = max(sheet.least_width(stop.number, TYPE, bold=True) for stop in stops)
    labels = beside(spots, (wide + 0.3, HIGH + 0.3), area)
    taken = []
    for stop, spot, label in zip(stops, spots.tolist(), labels.tolist(), strict=True):
        x, y = label if label != spot else (spot[0], spot[1] - HIGH / 2 - DOT - 0.2)
        sheet.set_line_width(0.2)
        sheet.line(spot[0], spot[1], x, y)
        _mark(sheet, spot[0], spot[1], known=stop.known)
        corner = centred(x, y, wide, HIGH)
        sheet.set_fill_color(255)
        sheet.rect(corner[0], corner[1], wide, HIGH, style="DF")
        sheet.put(corner[0], corner[1] - 0.1, stop.number, size=TYPE, bold=True, width=wide, align="C")
        taken += [corner, centred(spot[0], spot[1], 2 * DOT, 2 * DOT)]
    return taken


def _mark(sheet: RoundSheet, x: float, y: float, *, known: bool) -> None:
    sheet.set_fill_color(0 if known else 255)
    sheet.set_line_width(0.35)
    sheet.ellipse(x - DOT, y - DOT, 2 * DOT, 2 * DOT, style="FD")


def _names(sheet: RoundSheet, shapes: list[tuple[str, Any]], on: tuple[Frame, Box], taken: list[Box]) -> None:
    frame, _ = on
    for name, shape in shapes:
        parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]
        if not parts:
            continue
        largest = max(parts, key=lambda part: part.area)
        for size in (10.0, 8.5):
            wide, high = sheet.least_width(name, size) + 0.4, size * 0.45
            spot = free_spot(largest, (wide, high), frame, taken)
            if spot is not None:
                sheet.set_fill_color(255)
                sheet.rect(spot[0], spot[1], wide, high, style="F")
                sheet.put(spot[0], spot[1], name, size=size, width=wide, align="C")
                taken.append(spot)
                break


def _legend(sheet: RoundSheet, top: float, frame: Frame, *, driven: bool) -> None:
    """Say what the marks and lines are, which way is north, and how long a piece is."""
    left = sheet.l_margin + 1.5
    for known in (True, False):
        _mark(sheet, left, top + 2.0, known=known)
        said = sheet.said("paper.known" if known else "paper.new")
        wide = min(62.0, sheet.least_width(said, TYPE) + 0.5)
        sheet.put(left + 1.6, top, said, size=TYPE, width=wide)
        left += wide + 4.0
    for drives in (False, True)[: 1 + driven]:
        points = [(left, top + 2.0), (left + 6.0, top + 2.0)]
        _way_sample(sheet, points, driven=drives)
        said = sheet.said("paper.drive" if drives else "paper.walk")
        wide = min(40.0, sheet.least_width(said, TYPE) + 0.5)
        sheet.put(left + 6.6, top, said, size=TYPE, width=wide)
        left += wide + 9.0
    _scale(sheet, top, frame)


def _way_sample(sheet: RoundSheet, points: list[tuple[float, float]], *, driven: bool) -> None:
    unmoved = Frame(0.0, 0.0, 0.0, 0.0, 1.0)
    _way(sheet, [(x, -y) for x, y in points], unmoved, driven=driven)


def _scale(sheet: RoundSheet, top: float, frame: Frame) -> None:
    words = sheet.words[0]
    _, metres = round_length(24.0 / frame.scale, feet=sheet.content.ranch.units == "us")
    end = sheet.l_margin + sheet.epw - 9.0
    start = end - metres * frame.scale
    sheet.set_line_width(0.5)
    sheet.line(start, top + 4.4, end, top + 4.4)
    sheet.put(start, top, quantity(metres, "length", words), size=TYPE, bold=True)
    sheet.set_fill_color(0)
    tip = end + 3.4
    sheet.polygon(
        [(tip, top + 0.2), (tip + 1.8, top + 4.6), (tip, top + 3.6), (tip - 1.8, top + 4.6)], style="F"
    )
    sheet.put(tip + 1.6, top + 0.4, words("map.north"), size=TYPE, bold=True, width=4.5)
