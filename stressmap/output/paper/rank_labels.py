"""Where the ranks of a picture stand, and how large: what is urgent is never smaller than what can wait."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import shapely

from stressmap.core.arrays import Floats
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.layout import Box, Frame, centred, inside, middle, room_for

LABEL_HEIGHT, GAP = 58, 6
SHARES = (1.0, 0.78, 0.6, 0.48)
"""Sizes of a number, as shares of the largest."""
LARGEST = {1: 0, 2: 0, 3: 1, 4: 2, None: 2}
"""The largest of them for each priority: what is urgent is read from farther away."""
NAME, NAME_HEIGHT, NAME_LETTER = 14, 20, 15.0
"""Type of a valve's name [points]; the height it takes, and the width of a wide letter [pixels]."""
URGENT = (1, 2)
"""Priorities whose number is never smaller than the largest of what can wait."""
NUMBERED = 20
"""So many ranks are always numbered; the others where a number fits inside their zone."""
AT_ONCE = 256
"""Places beside a zone that are looked at together."""
STEP, RIM, INSIDE = 8.0, 8.0, 12.0
"""Between the places tried beside a zone, the room kept for a double frame about a box, and how
far inside its zone a line ends [pixels]."""


class Label(NamedTuple):
    """A rank to be written, and the valve's name under it where the zone has room for both.

    Parameters
    ----------
    turn : Turn
        Whose.
    x, y : float
        Middle of all of it [m].
    width, height : float
        Of all of it [pixels].
    share : float
        Size of the number, one of :data:`SHARES`.
    named : bool
        Whether the name is written.
    wide : float
        Of the number's box [pixels].
    outside : bool
        Whether its zone has no room for it, so that it stands beside with a line that leads there.
    """

    turn: Turn
    x: float
    y: float
    width: float
    height: float
    share: float
    named: bool
    wide: float
    outside: bool = False


Placed = tuple[Label, tuple[float, float], tuple[float, float] | None]


def place_labels(order: list[Turn], frame: Frame, area: Box) -> list[Placed]:
    """Choose where ranks stand, the first ones first.

    Parameters
    ----------
    order : list of Turn
        The valve zones, in rank order.
    frame : Frame
        How the working CRS lies in the picture.
    area : tuple of float
        Left, top, right and bottom within which labels stay [pixels].

    Returns
    -------
    list of tuple
        Of each label its middle, and where its line ends if it stands beside its zone [pixels].
    """
    found = [rank_label(turn, frame, always=place < NUMBERED) for place, turn in enumerate(order)]
    labels = [label for label in found if label is not None]
    within = [label for label in labels if not label.outside]
    placed: list[Placed] = []
    if within:
        spots = frame.place(np.array([(label.x, label.y) for label in within]))
        shown = room_for(spots, np.array([(label.width, label.height) for label in within]) + GAP)
        placed = [(within[i], (float(spots[i][0]), float(spots[i][1])), None) for i in shown]
    others = [label for label in labels if label.outside]
    if others:
        ground = shapely.union_all([turn.row["geometry"] for turn in order])
        shapely.prepare(ground)
        for label in others:
            placed.append(_beside(label, frame, area, ground, placed))
    return placed


def box_of(label: Label, spot: tuple[float, float]) -> Box:
    """Give the corners of all that a label covers, its double frame included [pixels]."""
    rim = RIM if label.turn.past_limit else 0.0
    return centred(spot[0], spot[1], label.width + 2 * rim, label.height + 2 * rim)


def _beside(label: Label, frame: Frame, area: Box, ground: Any, placed: list[Placed]) -> Placed:
    """Find the nearest free place beside a zone: off all zones if there is any, else off other labels."""
    width, height = label.width + GAP, label.height + GAP
    left, top, right, bottom = area
    across = np.arange(left + width / 2, right - width / 2, STEP)
    down = np.arange(top + height / 2, bottom - height / 2, STEP)
    x, y = (one.ravel() for one in np.meshgrid(across, down))
    x0, y0, x1, y1 = centred(x, y, width, height)
    free = np.ones(len(x), dtype=bool)
    for one, spot, _ in placed:
        other = box_of(one, spot)
        free &= (x1 <= other[0]) | (x0 >= other[2]) | (y1 <= other[1]) | (y0 >= other[3])
    east, west = (frame.west + (side - frame.left) / frame.scale for side in (x1, x0))
    north, south = (frame.north - (side - frame.top) / frame.scale for side in (y0, y1))
    end = frame.place(np.array([(label.x, label.y)]))[0]
    if not free.any():
        return label, (float(end[0]), float(end[1])), None
    centre_x, centre_y = (west + east) / 2, (south + north) / 2
    away = shapely.distance(label.turn.row["geometry"], shapely.points(centre_x, centre_y))
    best = _nearest_off(ground, shapely.box(west, south, east, north), np.where(free, away, np.inf))
    nearest = shapely.shortest_line(
        label.turn.row["geometry"].buffer(-INSIDE / frame.scale).union(shapely.Point(label.x, label.y)),
        shapely.Point(centre_x[best], centre_y[best]),
    )
    leads_to = frame.place(shapely.get_coordinates(nearest)[:1])[0]
    return label, (float(x[best]), float(y[best])), (float(leads_to[0]), float(leads_to[1]))


def _nearest_off(ground: Any, boxes: Any, away: Floats) -> int:
    """Find the box least far away that is off the ground, or the least far away of all where none is."""
    order = np.argsort(away, kind="stable")[: np.isfinite(away).sum()]
    for start in range(0, len(order), AT_ONCE):
        few = order[start : start + AT_ONCE]
        off = few[~shapely.intersects(ground, boxes[few])]
        if len(off):
            return int(off[0])
    return int(order[0])


def rank_label(turn: Turn, frame: Frame, *, always: bool) -> Label | None:
    """Find the largest number that fits into a zone, with the valve's name under it if that fits too.

    Parameters
    ----------
    turn : Turn
        The valve zone.
    frame : Frame
        How the working CRS lies in the picture.
    always : bool
        Whether it is numbered even where nothing fits.

    Returns
    -------
    Label or None
    """
    geometry, urgent = turn.row["geometry"], turn.priority in URGENT
    shares = SHARES[LARGEST[turn.priority] :]
    if urgent:
        shares = tuple(share for share in shares if share >= SHARES[LARGEST[4]])
    alone = [(label_width(turn.rank, fewest), share) for share in shares for fewest in (2, 1)[: 1 + urgent]]
    sizes = [(wide * share, LABEL_HEIGHT * share, share) for wide, share in alone]
    letters = len(turn.row["valve"])
    both = [
        (max(wide, NAME_LETTER * name_share(share) * letters), height + NAME_HEIGHT)
        for wide, height, share in sizes
    ]
    only = [(wide, height) for wide, height, _ in sizes]
    for tried in (both, only):
        spot = inside(geometry, [((w + 2) / frame.scale, (h + 2) / frame.scale) for w, h in tried])
        if spot is not None:
            point, size = spot
            wide, _, share = sizes[size]
            return Label(turn, point.x, point.y, *tried[size], share, tried is both, wide)
    if not always:
        return None
    point = middle(geometry)
    if urgent:
        return Label(
            turn, point.x, point.y, *both[-2], shares[-1], named=True, wide=only[-2][0], outside=True
        )
    return Label(turn, point.x, point.y, *only[-1], shares[-1], named=False, wide=only[-1][0])


def name_share(share: float) -> float:
    """Say how large a valve's name is under a number of this size, as a share of its largest."""
    return min(1.0, share + 0.25)


def label_width(rank: str, fewest: int = 2) -> float:
    """Say how wide the box of a rank is at its largest, with room for so many figures at least [pixels]."""
    return 30 + 21 * max(fewest, len(rank))
