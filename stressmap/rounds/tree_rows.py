"""Rows of a block: where a tree stands by row and number, and where its row ends."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from stressmap.core.arrays import Floats, Ints

USUAL_SPACING_M = 6.0
"""Between rows, where nothing is known (common practice: 5 to 7 m)."""
SPACINGS_M = np.arange(3.0, 10.01, 0.05)
"""Spacings tried when rows are looked for in the places of known trees."""
SURE = 12.0
"""Rayleigh's statistic n R² over which trees stand in rows: chance seldom reaches it (from memory)."""
LEAST_TREES = 8
"""Known trees from which rows are looked for."""


@dataclass(frozen=True)
class TreeRows:
    """Rows of one block.

    Parameters
    ----------
    bearing_deg : float
        Of the rows, from north, clockwise [degrees].
    spacing_m : float
        Between rows [m].
    tree_m : float
        Between trees of a row [m]; NaN where not known.
    left_m, start_m : float
        Where the block's left edge is across the rows, and its lowest point along them, looking along the
        bearing [m in the rows' own axes].
    told : bool
        Whether bearing and spacing were given or found, so that row numbers mean something.
    """

    bearing_deg: float
    spacing_m: float
    tree_m: float
    left_m: float
    start_m: float
    told: bool

    def own_axes(self, xy: Floats) -> Floats:
        """Turn places into distance along the rows and across them to the right, shape (n, 2) [m]."""
        turn = np.radians(self.bearing_deg)
        axes = np.array([[np.sin(turn), np.cos(turn)], [np.cos(turn), -np.sin(turn)]])
        return np.asarray(xy @ axes.T)

    def on_the_map(self, own: Floats) -> Floats:
        """Turn distances along and across back into places, shape (n, 2) [m]."""
        turn = np.radians(self.bearing_deg)
        axes = np.array([[np.sin(turn), np.cos(turn)], [np.cos(turn), -np.sin(turn)]])
        return np.asarray(own @ axes)

    def row(self, xy: Floats) -> Ints:
        """Count the rows of places, from 1 at the left edge, shape (n,)."""
        across = self.own_axes(xy)[:, 1] - self.left_m
        return np.maximum(np.floor(across / self.spacing_m), 0).astype(np.int64) + 1

    def ends(self, outline: Any, xy: Floats) -> Floats:
        """Find where the rows through some places leave the block.

        Parameters
        ----------
        outline : shapely geometry
            Of the block.
        xy : array of float, shape (n, 2)
            Places, in it or near.

        Returns
        -------
        array of float, shape (n, 2, 2)
            Lower and upper end along the bearing [m]; the place itself where its line misses the block.
        """
        own = self.own_axes(xy)
        reach = float(np.hypot(*np.subtract(outline.bounds[2:], outline.bounds[:2]))) + 1.0
        far = np.array([reach, 0.0])
        low, high = self.on_the_map(own - far), self.on_the_map(own + far)
        cut = shapely.intersection(shapely.linestrings(np.stack([low, high], axis=1)), outline)
        return np.stack([_piece(line, xy[i]) for i, line in enumerate(cut)]).reshape(-1, 2, 2)

    def numbered(self, outline: Any, xy: Floats) -> tuple[Ints, Ints]:
        """Give row and number of the trees at places; the number is 0 where trees are not counted.

        Parameters
        ----------
        outline : shapely geometry
            Of the block.
        xy : array of float, shape (n, 2)
            Places.

        Returns
        -------
        row, number : array of int, shape (n,)
        """
        if not np.isfinite(self.tree_m) or not len(xy):
            return self.row(xy), np.zeros(len(xy), dtype=np.int64)
        away = self.own_axes(xy)[:, 0] - self.own_axes(self.ends(outline, xy)[:, 0])[:, 0]
        return self.row(xy), np.maximum(np.floor(away / self.tree_m), 0).astype(np.int64) + 1

    def at_trees(self, outline: Any, xy: Floats) -> Floats:
        """Move places to the middle of their row, and to a tree where trees are counted, shape (n, 2)."""
        if not self.told or not len(xy):
            return xy
        own = self.own_axes(xy)
        own[:, 1] = self.left_m + (self.row(xy) - 0.5) * self.spacing_m
        moved = self.on_the_map(own)
        if np.isfinite(self.tree_m):
            start = self.own_axes(self.ends(outline, moved)[:, 0])[:, 0]
            number = np.maximum(np.floor((own[:, 0] - start) / self.tree_m), 0)
            moved = self.on_the_map(np.column_stack([start + (number + 0.5) * self.tree_m, own[:, 1]]))
        return np.where(shapely.contains_xy(outline, moved)[:, None], moved, xy)


def rows_of(outline: Any, trees: Floats, *, spacing_m: float, tree_m: float, bearing_deg: float) -> TreeRows:
    """Take the rows of a block as given, else as its known trees show, else along its longer side.

    Parameters
    ----------
    outline : shapely geometry
        Of the block.
    trees : array of float, shape (n, 2)
        Known trees in it [m].
    spacing_m, tree_m, bearing_deg : float
        As given; NaN where not.

    Returns
    -------
    TreeRows

    Examples
    --------
    >>> block = shapely.box(0, 0, 300, 100)
    >>> given = rows_of(block, np.empty((0, 2)), spacing_m=6, tree_m=5, bearing_deg=0)
    >>> [part.tolist() for part in given.numbered(block, np.array([[7.0, 12.0]]))]
    [[2], [3]]
    >>> unknown = rows_of(block, np.empty((0, 2)), spacing_m=np.nan, tree_m=np.nan, bearing_deg=np.nan)
    >>> unknown.bearing_deg, unknown.told
    (90.0, False)
    """
    tried = [bearing_deg] if np.isfinite(bearing_deg) else _sides(outline)
    spacings = np.array([spacing_m]) if np.isfinite(spacing_m) else SPACINGS_M
    found = [_regularity(trees, bearing, spacings) for bearing in tried]
    best = int(np.argmax([score for score, _ in found]))
    score, spacing = found[best]
    seen = len(trees) >= LEAST_TREES and score > SURE
    given = len(tried) == 1 and len(spacings) == 1
    if not seen:
        best, spacing = 0, spacings[0] if len(spacings) == 1 else USUAL_SPACING_M
    bare = TreeRows(float(tried[best]), float(spacing), float(tree_m), 0.0, 0.0, told=given or seen)
    low = bare.own_axes(shapely.get_coordinates(outline)).min(axis=0)
    return TreeRows(bare.bearing_deg, bare.spacing_m, bare.tree_m, float(low[1]), float(low[0]), bare.told)


def _piece(line: Any, xy: Floats) -> Floats:
    """Give the ends of the part of a cut line that is nearest to a place."""
    parts = [part for part in shapely.get_parts(line) if part.length > 0]
    if not parts:
        return np.stack([xy, xy])
    nearest = min(parts, key=shapely.Point(xy).distance)
    return np.asarray(shapely.get_coordinates(nearest)[[0, -1]])


def _sides(outline: Any) -> list[float]:
    """Give the bearings of the longer and the shorter side of the least rectangle around a block."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(outline))
    sides = np.diff(corners[:3], axis=0)
    longer, shorter = sides[np.argsort(-np.hypot(*sides.T), kind="stable")]
    return [float(round(np.degrees(np.arctan2(*side)) % 180, 6)) for side in (longer, shorter)]


def _regularity(trees: Floats, bearing_deg: float, spacings: Floats) -> tuple[float, float]:
    """Tell how well trees stand in rows: Rayleigh's n R² at the best spacing, and that spacing [m]."""
    if not len(trees):
        return 0.0, float(spacings[0])
    across = TreeRows(bearing_deg, 1.0, np.nan, 0.0, 0.0, told=False).own_axes(trees)[:, 1]
    phase = np.exp(2j * np.pi * np.divide.outer(across - across.mean(), spacings))
    score = len(trees) * np.abs(phase.mean(axis=0)) ** 2
    return float(score.max()), float(spacings[int(score.argmax())])
