"""Names on the map of the crew sheet: of valves where they can be read, of blocks beside them."""

from __future__ import annotations

from typing import Any

import numpy as np

from stressmap.output.paper.sheet_type import CrewSheet
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.layout import Box, Frame, beside, centred, free_spot, middle

NAMED = 150
"""Of more valves than this only those are named whose name fits into their zone."""
TYPE, HIGH = 9.0, 4.2
"""Type of a name [points], and its height [mm]."""
LONGEST = 22.0
"""Widest that a name is drawn [mm]."""


def draw_names(sheet: CrewSheet, order: list[Turn], frame: Frame, area: Box) -> None:
    """Write the names of valves and blocks on the map.

    Parameters
    ----------
    sheet : CrewSheet
        The page being written.
    order : list of Turn
        All valve zones.
    frame : Frame
        How the ranch lies on the page.
    area : tuple of float
        Left, top, width, height within which names stay [mm].
    """
    taken = _valves(sheet, order, frame, area)
    for name, shape in zip(sheet.content.blocks["block"], sheet.content.blocks.geometry, strict=True):
        _block(sheet, str(name), shape, (frame, taken))


def _valves(sheet: CrewSheet, order: list[Turn], frame: Frame, area: Box) -> list[Box]:
    names = {str(turn.row["valve"]): turn for turn in order if turn.row["valve"] != turn.row["block"]}
    wide = {name: min(LONGEST, sheet.least_width(name, TYPE, bold=True) - 1.1) for name in names}
    if len(names) > NAMED:
        names = {name: turn for name, turn in names.items() if _fits(turn, frame, wide[name])}
    if not names:
        return []
    points = [middle(turn.row["geometry"]) for turn in names.values()]
    spots = frame.place(np.array([(p.x, p.y) for p in points]))
    size = (max(wide[name] for name in names) + 0.4, HIGH + 0.3)
    places = beside(spots, size, area) if len(names) <= NAMED else spots
    taken = []
    for (name, turn), spot, (x, y) in zip(names.items(), spots.tolist(), places.tolist(), strict=True):
        if spot != [x, y]:
            sheet.set_line_width(0.25)
            sheet.line(spot[0], spot[1], x, y)
        taken.append(centred(x, y, wide[name], HIGH))
        _valve(sheet, turn, name, taken[-1])
    return taken


def _fits(turn: Turn, frame: Frame, wide: float) -> bool:
    west, south, east, north = turn.row["geometry"].bounds
    return bool((east - west) * frame.scale > wide and (north - south) * frame.scale > HIGH)


def _valve(sheet: CrewSheet, turn: Turn, name: str, place: Box) -> None:
    left, top, right, bottom = place
    sheet.set_fill_color(255)
    sheet.set_line_width(0.5 if turn.past_limit else 0.15)
    sheet.rect(left, top, right - left, bottom - top, style="DF")
    if turn.past_limit:
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
