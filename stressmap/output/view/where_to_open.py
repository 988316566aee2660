"""Where to open a valve: at its riser where that is known, else at a corner of its zone; and which it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import wind_of
from stressmap.output.view.layout import middle
from stressmap.output.view.rows import rows

Kind = Literal["riser", "road", "edge"]

ROAD_M = 200.0
"""A road further than this from a zone says nothing of where its valve is: a judgement [m]."""
TOUCH_M = 3.0
"""Corners this close to the edge of their block lie on it [m]."""
STRAIGHT_M = 2.0
"""A bend of an outline flatter than this is no corner [m]."""
INWARDS_M = 4.0
"""A corner is marked so far inside its own zone, since neighbours share it [m]."""

ARROWS = {
    "n": "\N{UPWARDS ARROW}", "ne": "\N{NORTH EAST ARROW}", "e": "\N{RIGHTWARDS ARROW}",
    "se": "\N{SOUTH EAST ARROW}", "s": "\N{DOWNWARDS ARROW}", "sw": "\N{SOUTH WEST ARROW}",
    "w": "\N{LEFTWARDS ARROW}", "nw": "\N{NORTH WEST ARROW}", "c": "\N{BULLET}",
}  # fmt: skip
"""Side of a zone as a sign that reads alike in every language, north up."""


@dataclass(frozen=True)
class OpeningPlace:
    """Where a valve is looked for.

    Parameters
    ----------
    kind : {"riser", "road", "edge"}
        At its riser, as the valve file has it; at the corner of its zone nearest to a road; at the corner on
        the block's edge nearest to the edge of the ranch.
    side : str
        On which side of its zone: a wind such as ``"ne"``, ``"c"`` for its middle.
    point : Point
        In the working CRS; of a corner, a few metres inside the zone.
    """

    kind: Kind
    side: str
    point: Any

    @property
    def arrow(self) -> str:
        """The side as an arrow, north up."""
        return ARROWS[self.side]

    def said(self, words: Words) -> str:
        """Say in a sentence where this is, and that a corner is not the riser."""
        return words(f"place.{self.kind}_text", side=words(f"place.{self.side}"))


def where_to_open(
    zone: BaseGeometry,
    block: BaseGeometry,
    ranch_edge: BaseGeometry,
    *,
    riser: Any = None,
    roads: BaseGeometry | None = None,
) -> OpeningPlace:
    """Find where a valve is opened.

    Parameters
    ----------
    zone, block : Polygon or MultiPolygon
        The valve's zone and its block, in the working CRS [m].
    ranch_edge : LineString or MultiLineString
        Outer edge of the ranch.
    riser : Point, optional
        Where the valve file has the riser.
    roads : LineString or MultiLineString, optional
        Lines that one drives or walks.

    Returns
    -------
    OpeningPlace

    Examples
    --------
    >>> from shapely import box, LineString
    >>> block, road = box(0, 0, 200, 100), LineString([(-5, 90), (-5, 300)])
    >>> found = where_to_open(box(0, 0, 50, 100), block, block.exterior, roads=road)
    >>> found.kind, found.side
    ('road', 'nw')
    """
    if riser is not None:
        return OpeningPlace("riser", _side(riser, zone), riser)
    corners = shapely.points(_corners(zone))
    if roads is not None and not roads.is_empty and zone.distance(roads) <= ROAD_M:
        return _at_corner("road", corners[np.argmin(shapely.distance(corners, roads))], zone)
    to_block = shapely.distance(corners, block.boundary)
    near = corners[to_block <= max(TOUCH_M, float(to_block.min()))]
    return _at_corner("edge", near[np.argmin(shapely.distance(near, ranch_edge))], zone)


def opening_places(content: Content) -> dict[str, OpeningPlace]:
    """Find where every valve of a ranch is opened.

    Parameters
    ----------
    content : Content
        The finished run; ``risers`` and ``roads`` where there are any.

    Returns
    -------
    dict of str to OpeningPlace
        By valve.
    """
    blocks = dict(zip(content.blocks["block"], content.blocks.geometry, strict=True))
    ranch_edge = shapely.convex_hull(shapely.union_all(content.blocks.geometry.to_numpy())).boundary
    if content.roads is not None:
        shapely.prepare(content.roads)
    return {
        row["valve"]: where_to_open(
            row["geometry"],
            blocks.get(row["block"], row["geometry"]),
            ranch_edge,
            riser=content.risers.get(row["valve"]),
            roads=content.roads,
        )
        for row in rows(content.valves)
    }


def _corners(zone: BaseGeometry) -> Any:
    """Give the corners of the outer edge of a zone's largest part, an array of x and y [m]."""
    parts = shapely.get_parts(zone)
    outer = parts[np.argmax(shapely.area(parts))].exterior
    plain = shapely.simplify(outer, STRAIGHT_M)
    ring = shapely.get_coordinates(plain if len(shapely.get_coordinates(plain)) > 3 else outer)
    return ring[:-1]


def _at_corner(kind: Kind, corner: Any, zone: BaseGeometry) -> OpeningPlace:
    centre = middle(zone)
    away = corner.distance(centre)
    share = min(INWARDS_M / away, 0.5) if away > 0 else 0.0
    inside = shapely.Point(corner.x + share * (centre.x - corner.x), corner.y + share * (centre.y - corner.y))
    return OpeningPlace(kind, _side(corner, zone), inside if zone.covers(inside) else corner)


def _side(point: Any, zone: BaseGeometry) -> str:
    """Tell on which side of its zone a point lies."""
    return wind_of(point, zone)
