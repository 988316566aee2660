"""Maps of parts of a large ranch, at the end of the crew sheet, on which its valves can be named."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np

from stressmap.output.paper.sheet_map import plan_map
from stressmap.output.paper.sheet_names import NAMED
from stressmap.output.paper.sheet_type import MARGIN, CrewSheet
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn

MOST = 96
"""Valves on the map of a part."""
SHAPE = (0.5, 1.0)
"""A map is about twice as wide as high, and so are parts."""
A_PAGE, GAP = 2, 3.0
"""Maps on a page, and the room between them [mm]."""


def parts_of(content: Content) -> list[list[str]]:
    """Part a ranch into pieces of neighbouring blocks whose valves can be named on a map.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    list of list of str
        Names of blocks; none where all valves are named on the map of the whole, or nothing is planned.
    """
    planned = content.timetable is not None and not content.timetable.empty
    if not planned or len(content.valves) <= NAMED:
        return []
    middles = content.blocks.geometry.centroid
    places = np.column_stack([middles.x, -middles.y])
    count = content.valves.groupby("block").size()
    valves = content.blocks["block"].map(count).fillna(0).to_numpy(np.int64)
    names = content.blocks["block"].to_numpy()
    return [names[part].tolist() for part in _halved(np.arange(len(names)), places, valves)]


def map_pages(parts: list[list[str]]) -> int:
    """Count the pages that maps of parts take."""
    return -(-len(parts) // A_PAGE)


def draw_parts(
    sheet: CrewSheet, parts: list[list[str]], order: list[Turn], room: tuple[float, float]
) -> None:
    """Draw the maps of a page.

    Parameters
    ----------
    sheet : CrewSheet
        On the page.
    parts : list of list of str
        Blocks of each map.
    order : list of Turn
        All valve zones.
    room : tuple of float
        Top and bottom of what may be drawn on [mm].
    """
    top, bottom = room
    high = (bottom - top - GAP * (A_PAGE - 1)) / A_PAGE
    content = sheet.content
    for place, names in enumerate(parts):
        here = dataclasses.replace(content, blocks=content.blocks[content.blocks["block"].isin(names)])
        area = (MARGIN, top + place * (high + GAP), sheet.epw, high)
        plan_map(here, area).draw(sheet, [turn for turn in order if turn.row["block"] in set(names)])


def _halved(which: Any, places: Any, valves: Any) -> list[Any]:
    """Cut blocks in two across their longer way until each part has few enough valves."""
    if len(which) <= 1 or valves[which].sum() <= MOST:
        return [which]
    own = places[which]
    along = int(np.argmax(np.ptp(own, axis=0) * SHAPE))
    ranked = which[np.argsort(own[:, along], kind="stable")]
    middle = len(ranked) // 2
    return [*_halved(ranked[:middle], places, valves), *_halved(ranked[middle:], places, valves)]
