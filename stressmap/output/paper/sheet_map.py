"""The small map on a page of the crew sheet: its valve zones in grey and numbered, the rest in outline."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from shapely import MultiLineString, MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, priority_words
from stressmap.output.view.layout import Box, Frame, beside, fit_frame, middle, rings, round_length
from stressmap.output.view.quantities import quantity
from stressmap.output.view.selections import measured_blocks

SHADE: dict[int | None, tuple[int, int]] = {
    1: (45, 255),
    2: (110, 255),
    3: (205, 0),
    4: (255, 0),
    None: (255, 0),
}
"""Grey of the fill and of the writing on it; the number is printed too, so a bad copier loses nothing.
What was not measured is white with stripes."""

STRIPE_MM = 1.3
"""From one stripe to the next."""

KEY = 56.0
CAPTION, CAPTION_TYPE = 2.4, 6.4
"""Height of a line below the map [mm], and its type [points]."""
NORTH = 18.4
"""Height of what stands under the key: the arrow and the scale [mm]."""
OUTLINED = 150
"""With more valve zones than this, only those of the page are drawn."""
LABEL = (8.0, 4.6)


Points = list[tuple[float, float]]


@dataclass(frozen=True)
class SheetMap:
    """The map as it is on every page; only the zones filled and numbered differ.

    Parameters
    ----------
    area : tuple of float
        Left, top, width, height on the page [mm], less what is written below.
    frame : Frame
        How the ranch is laid into it.
    zones, blocks : list of list of tuple
        Outlines on the page [mm].
    priorities : tuple of int or None
        What the legend names.
    """

    area: Box
    frame: Frame
    zones: list[Points]
    blocks: list[Points]
    priorities: tuple[int | None, ...]

    def draw(self, sheet: Any, opened: list[Turn], closed: list[Turn]) -> None:
        """Draw map, legend, north and scale, and say below what they show, for who cannot see it.

        The picture is not tagged: a tag on it alone would hide the rest of the page from who reads by tags.

        Parameters
        ----------
        sheet : Sheet
            The page being written.
        opened, closed : list of Turn
            The valve zones of this page: to open, shaded and numbered; without water, shaded only.
        """
        left, top, width, height = self.area
        sheet.set_line_width(0.3)
        sheet.rect(left, top, width, height)
        _outlines(sheet, "zones", self.zones, 0.1, 150)
        for turn in (*opened, *closed):
            _filled(sheet, turn, self.frame)
        _outlines(sheet, "blocks", self.blocks, 0.4 if len(self.blocks) < 80 else 0.15, 0)
        _numbers(sheet, opened, self.frame, (left + 0.5, top + 0.5, width - KEY, height - 1))
        _key(sheet, left + width - KEY + 2, (top, height - NORTH), self.priorities)
        _north_and_scale(sheet, left + width - KEY + 2, top + height, self.frame)
        _caption(sheet, (left, top + height, width), len(opened), len(closed))


def plan_map(content: Content, area: Box) -> SheetMap:
    """Lay the ranch into a rectangle of the page.

    Parameters
    ----------
    content : Content
        The finished run.
    area : tuple of float
        Left, top, width, height [mm], with what is written below the map.

    Returns
    -------
    SheetMap
    """
    left, top, width, height = area
    height -= CAPTION * len(content.ranch.languages)
    frame = fit_frame(tuple(content.blocks.total_bounds), (left + 1, top + 1, width - KEY - 2, height - 2))
    few = content.valves.geometry if len(content.valves) <= OUTLINED else ()
    bare = len(measured_blocks(content)) < len(content.blocks)
    legend = (1, 2, 3, 4, None) if bare else (1, 2, 3, 4)
    outlines = _placed(few, frame), _placed(content.blocks.geometry, frame)
    return SheetMap((left, top, width, height), frame, *outlines, legend)


def _placed(shapes: Any, frame: Frame) -> list[Points]:
    return [_points(ring, frame) for shape in shapes for part in rings(shape) for ring in part]


def _points(ring: Any, frame: Frame) -> Points:
    return [(round(float(x), 2), round(float(y), 2)) for x, y in frame.place(ring)]


def _outlines(sheet: Any, name: str, outlines: list[Points], width: float, grey: int) -> None:
    def draw() -> None:
        for points in outlines:
            sheet.polygon(points, style="D")

    sheet.set_line_width(width)
    sheet.set_draw_color(grey)
    sheet.alike(name, draw)
    sheet.set_draw_color(0)


def _filled(sheet: Any, turn: Turn, frame: Frame) -> None:
    sheet.set_line_width(0.1)
    for outer, *holes in rings(turn.row["geometry"]):
        for ring, shade in [(outer, SHADE[turn.priority][0]), *((hole, 255) for hole in holes)]:
            sheet.set_fill_color(shade)
            sheet.polygon(_points(ring, frame), style="DF")
    if turn.priority is None:
        on_page = [[frame.place(ring) for ring in part] for part in rings(turn.row["geometry"])]
        draw_stripes(sheet, MultiPolygon([Polygon(outer, holes) for outer, *holes in on_page]))


def draw_stripes(sheet: Any, shape: BaseGeometry) -> None:
    """Draw upright stripes inside a shape.

    Parameters
    ----------
    sheet : Sheet
        The page being written.
    shape : Polygon or MultiPolygon
        On the page [mm].
    """
    left, top, right, bottom = shape.bounds
    across = np.arange(left + STRIPE_MM / 2, right, STRIPE_MM)
    stripes = MultiLineString([[(x, top - 1), (x, bottom + 1)] for x in across]).intersection(shape)
    sheet.set_line_width(0.2)
    sheet.set_draw_color(90)
    for part in getattr(stripes, "geoms", [stripes]):
        if part.geom_type == "LineString" and not part.is_empty:
            (x1, y1), (x2, y2) = part.coords
            sheet.line(x1, y1, x2, y2)
    sheet.set_draw_color(0)


def double_frame(sheet: Any, inner: Box) -> None:
    """Draw our mark of a zone past what its crop bears: a thick frame around a thin one.

    Parameters
    ----------
    sheet : Sheet
        The page being written.
    inner : tuple of float
        Left, top, width, height of the thin frame [mm].
    """
    left, top, width, height = inner
    sheet.set_line_width(0.3)
    sheet.rect(left, top, width, height)
    sheet.set_line_width(0.8)
    sheet.rect(left - 1.0, top - 1.0, width + 2.0, height + 2.0)


def _numbers(sheet: Any, part: list[Turn], frame: Frame, area: Box) -> None:
    """Write the numbers of zones; one without room beside its neighbours stands apart, on a line."""
    if not part:
        return
    points = [middle(turn.row["geometry"]) for turn in part]
    spots = frame.place(np.array([(p.x, p.y) for p in points]))
    middles = beside(spots, LABEL, area)
    sheet.set_line_width(0.25)
    sheet.set_fill_color(0)
    for spot, place in zip(spots.tolist(), middles.tolist(), strict=True):
        if spot != place:
            sheet.line(*spot, *place)
            sheet.circle(*spot, 0.6, style="F")
    sheet.set_fill_color(255)
    width, height = LABEL
    for turn, (x, y) in zip(part, middles - np.array(LABEL) / 2, strict=True):
        if turn.past_limit:
            sheet.rect(x - 1.3, y - 1.3, width + 2.6, height + 2.6, style="F")
            double_frame(sheet, (x, y, width, height))
            sheet.set_line_width(0.25)
        sheet.rect(x, y, width, height, style="DF")
        sheet.put(x, y + 0.3, turn.rank, size=9, bold=True, width=width, align="C")


def _caption(sheet: Any, below: tuple[float, float, float], opened: int, closed: int) -> None:
    """Say what the map shows, a line in each language."""
    left, top, width = below
    for line, words in enumerate(sheet.words):
        said = words("sheet.map_shows", count=opened)
        if closed:
            said += " " + words("sheet.map_closed", count=closed)
        sheet.put(left, top + 0.3 + CAPTION * line, said, size=CAPTION_TYPE, width=width)


def _key(sheet: Any, left: float, place: tuple[float, float], priorities: tuple[int | None, ...]) -> None:
    top, height = place
    step = height / len(priorities)
    for line, priority in enumerate(priorities):
        y = top + 2 + line * step
        sheet.set_line_width(0.3)
        sheet.set_fill_color(SHADE[priority][0])
        sheet.rect(left, y, 8, step - 1, style="DF")
        if priority is None:
            draw_stripes(sheet, box(left, y, left + 8, y + step - 1))
        for row, words in enumerate(sheet.words):
            text = priority_words(priority, words)
            sheet.put(
                left + 9, y + 3.3 * row, text, size=8.6 if row == 0 else 7.4, bold=row == 0, width=KEY - 12
            )


def _north_and_scale(sheet: Any, left: float, bottom: float, frame: Frame) -> None:
    sheet.set_fill_color(0)
    tip = bottom - 16
    sheet.polygon([(left + 3, tip), (left + 6, tip + 8), (left + 3, tip + 6), (left, tip + 8)], style="F")
    sheet.put(left, tip + 9, sheet.words[0]("map.north"), size=9, bold=True, width=6, align="C")
    feet = sheet.content.ranch.units == "us"
    _, metres = round_length(36 / frame.scale, feet=feet)
    start, end, y = left + 12, left + 12 + metres * frame.scale, bottom - 4
    sheet.set_line_width(0.5)
    sheet.line(start, y, end, y)
    for x in (start, end):
        sheet.line(x, y - 1.6, x, y)
    words = sheet.words[0]
    unit = quantity(metres, "length", words)
    sheet.put(start, y - 5.6, unit, size=8.6, bold=True)
