"""The map of the crew sheet: the whole ranch, every valve zone in its priority's pattern, with names."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import shapely
from shapely import MultiLineString, MultiPolygon, Polygon, box
from shapely.geometry.base import BaseGeometry

from stressmap.output.paper.sheet_names import draw_names
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, priority_words
from stressmap.output.view.layout import Box, Frame, fit_frame, rings, round_length
from stressmap.output.view.quantities import quantity
from stressmap.output.view.selections import measured_blocks


class Look(NamedTuple):
    """How a priority is drawn on any printer.

    Parameters
    ----------
    grey : int
        Of the ground, 0 black to 255 white.
    step : float
        Between the lines of the pattern, from left to right [mm]; 0 for none.
    slope : float
        How far a line goes to the right for each mm down.
    thick : float
        Of the lines [mm].
    ink : int
        Their grey.
    """

    grey: int
    step: float = 0.0
    slope: float = 0.0
    thick: float = 0.0
    ink: int = 0


LOOK_OF: dict[int | None, Look] = {
    1: Look(60),
    2: Look(165, 1.7, 1.0, 0.45, 40),
    3: Look(235, 2.4, -1.0, 0.2, 90),
    4: Look(255),
    None: Look(255, 1.3, 0.0, 0.2, 90),
}
"""Every priority has a pattern of its own beside its grey, so that a bad copier loses nothing: full, slanting
down to the right, slanting up, white; what was not measured has upright stripes."""

LEGEND = 10.6
"""Height of the legend below the map [mm]."""
SCALE, SWATCH = 44.0, 8.0
"""Widths of north and scale, and of a priority's pattern in the legend [mm]."""

Points = list[tuple[float, float]]


@dataclass(frozen=True)
class SheetMap:
    """The ranch laid into a rectangle of the page.

    Parameters
    ----------
    area : tuple of float
        Left, top, width, height on the page [mm], the legend included.
    frame : Frame
        How the ranch is laid into it.
    priorities : tuple of int or None
        What the legend names.
    blocks : GeoDataFrame
        Those that are drawn.
    """

    area: Box
    frame: Frame
    priorities: tuple[int | None, ...]
    blocks: Any

    def draw(self, sheet: Any, order: list[Turn]) -> None:
        """Draw every valve zone in its priority's pattern, names, legend, north and scale.

        What a block leaves open stays white in a thin outline, so that it is no box to tick.
        The picture is not tagged: a tag on it alone would hide the rest of the page from who reads by tags.

        Parameters
        ----------
        sheet : CrewSheet
            The page being written.
        order : list of Turn
            The valve zones.
        """
        left, top, width, height = self.area
        sheet.set_line_width(0.1)
        for turn in order:
            _filled(sheet, turn, self.frame)
        _outlines(sheet, _placed([turn.row["geometry"] for turn in order], self.frame), 0.15, 60)
        blocks = self.blocks
        around = [_points(ring, self.frame) for shape in blocks.geometry for ring, *_ in rings(shape)]
        _outlines(sheet, around, 0.5 if len(blocks) < 80 else 0.25, 0)
        draw_names(
            sheet, (order, blocks), self.frame, (left + 0.5, top + 0.5, width - 1, height - LEGEND - 1)
        )
        sheet.set_line_width(0.3)
        sheet.rect(left, top, width, height - LEGEND)
        _key(sheet, top + height - LEGEND + 0.8, self.priorities)
        _north_and_scale(sheet, top + height - LEGEND + 0.8, self.frame)


def plan_map(content: Content, area: Box) -> SheetMap:
    """Lay the ranch into a rectangle of the page.

    Parameters
    ----------
    content : Content
        The finished run.
    area : tuple of float
        Left, top, width, height [mm], the legend below the map included.

    Returns
    -------
    SheetMap
    """
    left, top, width, height = area
    inner = (left + 1.5, top + 1.5, width - 3, height - LEGEND - 3)
    frame = fit_frame(tuple(content.blocks.total_bounds), inner)
    bare = len(measured_blocks(content)) < len(content.blocks)
    return SheetMap(area, frame, (1, 2, 3, 4, None) if bare else (1, 2, 3, 4), content.blocks)


def _placed(shapes: Any, frame: Frame) -> list[Points]:
    return [_points(ring, frame) for shape in shapes for part in rings(shape) for ring in part]


def _points(ring: Any, frame: Frame) -> Points:
    return [(round(float(x), 2), round(float(y), 2)) for x, y in frame.place(ring)]


def _outlines(sheet: Any, outlines: list[Points], width: float, grey: int) -> None:
    sheet.set_line_width(width)
    sheet.set_draw_color(grey)
    for points in outlines:
        sheet.polygon(points, style="D")
    sheet.set_draw_color(0)


def _filled(sheet: Any, turn: Turn, frame: Frame) -> None:
    on_page = [[frame.place(ring) for ring in part] for part in rings(turn.row["geometry"])]
    fill(sheet, MultiPolygon([Polygon(outer, holes) for outer, *holes in on_page]), turn.priority)


def fill(sheet: Any, shape: BaseGeometry, priority: int | None) -> None:
    """Fill a shape with a priority's grey and pattern; the patterns lie on one grid over the whole page.

    Parameters
    ----------
    sheet : CrewSheet
        The page being written.
    shape : Polygon or MultiPolygon
        On the page [mm].
    priority : int or None
        1 to 4; None for not measured.
    """
    look = LOOK_OF[priority]
    sheet.set_line_width(0.1)
    sheet.set_draw_color(look.grey)
    for outer, *holes in rings(shape):
        for ring, grey in [(outer, look.grey), *((hole, 255) for hole in holes)]:
            sheet.set_fill_color(grey)
            sheet.polygon([(round(float(x), 2), round(float(y), 2)) for x, y in ring], style="DF")
    if look.step:
        sheet.set_line_width(look.thick)
        sheet.set_draw_color(look.ink)
        for part in shapely.get_parts(shapely.intersection(_hatch(shape.bounds, look), shape)):
            if part.geom_type == "LineString" and not part.is_empty:
                (x1, y1), *_, (x2, y2) = part.coords
                sheet.line(x1, y1, x2, y2)
    sheet.set_draw_color(0)


def _hatch(bounds: Box, look: Look) -> MultiLineString:
    """Give the lines of a pattern over a rectangle: those of a grid that is the same for all shapes."""
    left, top, right, bottom = bounds
    shifts = (look.slope * top, look.slope * bottom)
    first, last = left - max(shifts), right - min(shifts)
    across = np.arange(np.floor(first / look.step), np.ceil(last / look.step) + 1) * look.step
    return MultiLineString(
        [[(x + look.slope * (top - 1), top - 1), (x + look.slope * (bottom + 1), bottom + 1)] for x in across]
    )


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


def _key(sheet: Any, top: float, priorities: tuple[int | None, ...]) -> None:
    wide = (sheet.epw - SCALE) / len(priorities)
    for place, priority in enumerate(priorities):
        left = sheet.l_margin + wide * place
        fill(sheet, box(left, top, left + SWATCH, top + LEGEND - 2.0), priority)
        sheet.set_line_width(0.3)
        sheet.rect(left, top, SWATCH, LEGEND - 2.0)
        for row, words in enumerate(sheet.words):
            text = priority_words(priority, words)
            sheet.put(left + SWATCH, top - 0.1 + 4.0 * row, text, size=9, bold=row == 0, width=wide - SWATCH)


def _north_and_scale(sheet: Any, top: float, frame: Frame) -> None:
    left = sheet.l_margin + sheet.epw - SCALE + 2
    sheet.set_fill_color(0)
    tip = top + 0.2
    sheet.polygon([(left + 3, tip), (left + 6, tip + 8), (left + 3, tip + 6), (left, tip + 8)], style="F")
    sheet.put(left + 5.2, top + 2.0, sheet.words[0]("map.north"), size=9, bold=True, width=6, align="C")
    feet = sheet.content.ranch.units == "us"
    _, metres = round_length((SCALE - 15) / frame.scale, feet=feet)
    start, end, y = left + 12, left + 12 + metres * frame.scale, top + 7
    sheet.set_line_width(0.5)
    sheet.line(start, y, end, y)
    for x in (start, end):
        sheet.line(x, y - 1.6, x, y)
    sheet.put(start, y - 5.6, quantity(metres, "length", sheet.words[0]), size=9, bold=True)
