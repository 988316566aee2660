"""Names on the map of the crew sheet: of valves where they can be read, of blocks beside them."""

from __future__ import annotations

from typing import Any

import numpy as np
from shapely import box
from shapely.geometry.base import BaseGeometry

from stressmap.output.paper.sheet_type import CrewSheet
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.layout import Box, Frame, beside, centred, free_spot, middle

NAMED = 150
"""Of more valves than this only those are named whose name fits into their zone."""
TYPE, HIGH = 9.0, 4.2
"""Type of a name [points], and its height [mm]."""
SLACK = 0.7
"""Share of a label that must lie inside its zone, in either direction."""
LONGEST = 22.0
"""Widest that a name is drawn [mm]."""


def draw_names(sheet: CrewSheet, shown: tuple[list[Turn], Any], frame: Frame, area: Box) -> None:
    """Write the names of valves and blocks on the map.

    Parameters
    ----------
    sheet : CrewSheet
        The page being written.
    shown : tuple of (list of Turn, GeoDataFrame)
        The valve zones and the blocks.
    frame : Frame
        How the ranch lies on the page.
    area : tuple of float
        Left, top, width, height within which names stay [mm].
    """
    order, blocks = shown
    taken = _valves(sheet, order, frame, area)
    for name, shape in zip(blocks["block"], blocks.geometry, strict=True):
        _block(sheet, str(name), shape, (frame, taken))


def _valves(sheet: CrewSheet, order: list[Turn], frame: Frame, area: Box) -> list[Box]:
    names = {str(turn.row["valve"]): turn for turn in order if turn.row["valve"] != turn.row["block"]}
    if not names:
        return []
    wide = {name: min(LONGEST, sheet.least_width(name, TYPE, bold=True) - 1.1) for name in names}
    points = [middle(turn.row["geometry"]) for turn in names.values()]
    spots = frame.place(np.array([(p.x, p.y) for p in points]))
    if len(sheet.content.valves) > NAMED:
        return _inside(sheet, names, spots.tolist(), (frame, wide))
    places = beside(spots, (max(wide.values()) + 0.4, HIGH + 0.3), area)
    taken = []
    for (name, turn), spot, (x, y) in zip(names.items(), spots.tolist(), places.tolist(), strict=True):
        if spot != [x, y]:
            sheet.set_line_width(0.25)
            sheet.line(spot[0], spot[1], x, y)
        taken.append(centred(x, y, wide[name], HIGH))
        _valve(sheet, turn, name, taken[-1])
    return taken


def _inside(
    sheet: CrewSheet,
    names: dict[str, Turn],
    spots: list[list[float]],
    scaled: tuple[Frame, dict[str, float]],
) -> list[Box]:
    """Name the zones into which the name fits, lying or upright."""
    frame, wide = scaled
    taken = []
    for (name, turn), (x, y) in zip(names.items(), spots, strict=True):
        zone, lying, upright = turn.row["geometry"], (wide[name], HIGH), (HIGH, wide[name])
        size = next((one for one in (lying, upright) if _fits(zone, frame, one)), None)
        if size is None:
            continue
        taken.append(centred(x, y, *size))
        if size == lying:
            _valve(sheet, turn, name, taken[-1])
            continue
        with sheet.rotation(90, x, y):
            _valve(sheet, turn, name, centred(x, y, *lying))
    return taken


def _fits(zone: BaseGeometry, frame: Frame, size: tuple[float, float]) -> bool:
    """Tell whether a label lies inside a zone, but for its corners."""
    spot, half = middle(zone), [SLACK * side / frame.scale / 2 for side in size]
    return bool(zone.covers(box(spot.x - half[0], spot.y - half[1], spot.x + half[0], spot.y + half[1])))


def _valve(sheet: CrewSheet, turn: Turn, name: str, place: Box) -> None:
    left, top, right, bottom = place
    sheet.set_fill_color(255)
    sheet.set_line_width(0.5 if turn.past_limit else 0.15)
    sheet.rect(left, top, right - left, bottom - top, style="DF")
    if turn.past_limit and len(sheet.content.valves) <= NAMED:
        sheet.set_line_width(0.2)
        sheet.rect(left - 0.8, top - 0.8, right - left + 1.6, bottom - top + 1.6)
    sheet.put(left - 0.55, top + 0.1, name, size=TYPE, bold=True, width=right - left + 1.1, align="C")


def _block(sheet: CrewSheet, name: str, shape: Any, on: tuple[Frame, list[Box]]) -> None:
    frame, taken = on
    for size in (10.0, TYPE, 7.5):
        wide, high = sheet.least_width(name, size) + 0.4, size * 0.45
        spot = free_spot(shape, (wide, high), frame, taken)
        if spot is not None:
            left, top, right, _ = spot
            sheet.set_fill_color(255)
            sheet.rect(left, top, right - left, high, style="F")
            sheet.put(left, top, name, size=size, width=right - left, align="C")
            taken.append(spot)
            return
