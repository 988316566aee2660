"""Ways from tree to tree that one can walk: along rows, round their ends, by vehicle from block to block.

Inside a block one walks along alleys; from a tree one reaches the alleys on its two sides, and others only
round the ends of rows, along the headland. Crews with a vehicle leave it at a few places of each block, where
rows end, and come back to it before they go to trees of another place; crews on foot go on along headlands
and roads.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import shapely
import shapely.ops

from stressmap.core.arrays import Floats, Ints
from stressmap.rounds.headlands import Headlands
from stressmap.rounds.round import CrewRules, Spot
from stressmap.rounds.tree_rows import TreeRows

NEAR_GATE_M = 50.0
"""A gate no further than this from a block leads into it."""
NEAR_ROAD_M = 80.0
"""A road no further than this from a block may be parked on."""
PARKING_STEP_M = 25.0
"""Between places of the headland where a vehicle may wait."""
SPARE_WALK_M = 20.0
"""A tree shares the place of a vehicle with others that is so much further from it than its own, at most."""


@dataclass(frozen=True)
class WalkedBlock:
    """Trees of one block with the ends of their rows.

    Parameters
    ----------
    tree : array of int, shape (k,)
        Which of all trees.
    xy, ends : array of float, shape (k, 2) and (k, 2, 2)
        Where they stand, and where their rows end [m].
    row : array of int, shape (k,)
        Number of the row.
    around_m : array of float, shape (k, 2)
        Where the ends are along the outline [m].
    ring : shapely geometry
        The outline.
    parked_m : array of float, shape (k,)
        Where along the outline one enters it, or leaves the vehicle, for each tree [m].
    """

    tree: Ints
    xy: Floats
    ends: Floats
    row: Ints
    around_m: Floats
    ring: Any
    parked_m: Floats

    def to_end_m(self) -> Floats:
        """Distance of each tree from both ends of its row, shape (k, 2) [m]."""
        return np.asarray(np.hypot(*np.moveaxis(self.ends - self.xy[:, None], -1, 0)))

    def around(self, a: Floats, b: Floats) -> Floats:
        """Distance along the outline between positions of it, the shorter way round [m]."""
        apart = np.abs(a - b)
        return np.asarray(np.minimum(apart, self.ring.length - apart))

    def inside_m(self) -> Floats:
        """Walk between each two trees, shape (k, k) [m]."""
        own, at = self.to_end_m(), self.around_m
        round_ends = np.min(
            [
                own[:, None, i] + self.around(at[:, None, i], at[None, :, j]) + own[None, :, j]
                for i in (0, 1)
                for j in (0, 1)
            ],
            axis=0,
        )
        same_alley = np.abs(np.subtract.outer(self.row, self.row)) <= 1
        straight = np.hypot(*np.moveaxis(self.xy[:, None] - self.xy[None], -1, 0))
        return np.asarray(np.where(same_alley, np.minimum(straight, round_ends), round_ends))

    def to_vehicle_m(self) -> Floats:
        """Walk from each tree to the vehicle, shape (k,) [m]."""
        return np.asarray((self.to_end_m() + self.around(self.around_m, self.parked_m[:, None])).min(axis=1))


@dataclass(frozen=True)
class Lanes:
    """What is known of the ground between blocks.

    Parameters
    ----------
    roads : shapely geometry or None
        Lines.
    gates : tuple of (float, float)
        Where blocks are entered [m].
    start : tuple of float, optional
        Where crews start [m].
    """

    roads: Any = None
    gates: tuple[Spot, ...] = ()
    start: Spot | None = None


NOTHING_KNOWN = Lanes()
"""Neither roads nor gates, and no place to start from."""


class RanchWays:
    """Ways between the trees of a round.

    Parameters
    ----------
    blocks : dict of int to (shapely geometry, TreeRows)
        Outline and rows of each block with a tree, by position.
    outlines : list of shapely geometry
        Of all blocks.
    xy, block : array, shape (n, 2) and (n,)
        Trees [m] and the block of each.
    rules : CrewRules
        Speeds.
    lanes : Lanes
        What is known of the ground between blocks.
    """

    def __init__(
        self,
        blocks: dict[int, tuple[Any, TreeRows]],
        outlines: list[Any],
        trees: tuple[Floats, Ints],
        rules: CrewRules,
        lanes: Lanes = NOTHING_KNOWN,
    ) -> None:
        self.xy, self.block = trees
        self.rules = rules
        self._codes = sorted({int(code) for code in self.block})
        self._walked = {
            code: _walked(np.flatnonzero(self.block == code), self.xy, *blocks[code], lanes)
            for code in self._codes
        }
        spots = np.zeros_like(self.xy)
        for walked in self._walked.values():
            spots[walked.tree] = shapely.get_coordinates(
                shapely.line_interpolate_point(walked.ring, walked.parked_m)
            )
        places, self._place = np.unique(spots, axis=0, return_inverse=True)
        start = lanes.start
        self._starts = start is not None
        places = np.concatenate([places, np.array([start] if start else []).reshape(-1, 2)])
        self._headlands = Headlands(outlines, places, lanes.roads)
        self._between_m, self._before = self._headlands.ways()

    @property
    def how(self) -> Literal["walk", "drive"]:
        """How one goes between places of a vehicle, or between blocks."""
        return "drive" if self.rules.drive_m_s > 0 else "walk"

    def seconds(self) -> Ints:
        """Give the time from each tree to each other, shape (n, n) [s], rounded up."""
        n = len(self.xy)
        found = np.zeros((n, n))
        to_vehicle = np.zeros(n)
        for walked in self._walked.values():
            to_vehicle[walked.tree] = walked.to_vehicle_m()
        at = self._place
        on_wheels = self.rules.drive_m_s > 0
        speed = self.rules.drive_m_s if on_wheels else self.rules.walk_m_s
        between = self._between_m[np.ix_(at, at)] / speed + (self.rules.start_seconds if on_wheels else 0.0)
        found = np.add.outer(to_vehicle, to_vehicle) / self.rules.walk_m_s + between
        for walked in self._walked.values():
            own = np.ix_(walked.tree, walked.tree)
            on_foot = np.equal.outer(at[walked.tree], at[walked.tree]) | (not on_wheels)
            found[own] = np.where(on_foot, walked.inside_m() / self.rules.walk_m_s, found[own])
        np.fill_diagonal(found, 0.0)
        return np.asarray(np.ceil(found - 0.001), dtype=np.int64)

    def start_seconds(self) -> Ints | None:
        """Give the time from where crews start to each tree, shape (n,) [s]; None where that is not known."""
        if not self._starts:
            return None
        walk = np.zeros(len(self.xy))
        for walked in self._walked.values():
            walk[walked.tree] = walked.to_vehicle_m()
        driven = self.rules.drive_m_s > 0
        way = self._between_m[-1, self._place] / (self.rules.drive_m_s if driven else self.rules.walk_m_s)
        found = walk / self.rules.walk_m_s + way + (self.rules.start_seconds if driven else 0.0)
        return np.asarray(np.ceil(found - 0.001), dtype=np.int64)

    def start_line(self, tree: int) -> tuple[Spot, ...]:
        """Draw the way from where crews start to a tree, its corners [m]."""
        nodes = self._headlands.spot[[-1, int(self._place[tree])]]
        out = self._headlands.line(self._before[-1], int(nodes[0]), int(nodes[1]))
        back = _to_vehicle(self._walked[int(self.block[tree])], tree)[::-1]
        return _spots(np.concatenate([out, back]))

    def line(self, one: int, other: int) -> tuple[Literal["walk", "drive"], tuple[Spot, ...]]:
        """Draw the way from one tree to another.

        Returns
        -------
        how : str
            ``"drive"`` where a part of it is driven.
        line : tuple of (float, float)
            Its corners [m].
        """
        first, second = self._walked[int(self.block[one])], self._walked[int(self.block[other])]
        start, end = (int(self._place[tree]) for tree in (one, other))
        if first is second and (start == end or self.rules.drive_m_s <= 0):
            return "walk", _spots(_inside(first, one, other))
        nodes = self._headlands.spot[[start, end]]
        middle = self._headlands.line(self._before[start], int(nodes[0]), int(nodes[1]))
        out, back = _to_vehicle(first, one), _to_vehicle(second, other)[::-1]
        return self.how, _spots(np.concatenate([out, middle, back]))


def _walked(tree: Ints, xy: Floats, outline: Any, rows: TreeRows, lanes: Lanes) -> WalkedBlock:
    ring = max((part.exterior for part in shapely.get_parts(outline)), key=lambda ring: float(ring.length))
    mine = xy[tree]
    ends = rows.ends(outline, mine)
    around = shapely.line_locate_point(ring, shapely.points(ends))
    made = WalkedBlock(tree, mine, ends, rows.row(mine), around, ring, np.zeros(len(mine)))
    tried = _entries(ring, lanes)
    walk = [(made.to_end_m() + made.around(around, np.array(at))).min(axis=1) for at in tried]
    return replace(made, parked_m=tried[_shared_places(np.stack(walk, axis=1))])


def _shared_places(walk_m: Floats) -> Ints:
    """Choose few places for the vehicle, none much further from its trees than the best; shape (k,)."""
    close = walk_m <= walk_m.min(axis=1, keepdims=True) + SPARE_WALK_M
    left = np.ones(len(walk_m), dtype=bool)
    chosen: list[int] = []
    while left.any():
        served = close & left[:, None]
        walked = np.where(served, walk_m, 0.0).sum(axis=0) / np.maximum(served.sum(axis=0), 1)
        chosen.append(int(np.lexsort((walked, -served.sum(axis=0)))[0]))
        left &= ~close[:, chosen[-1]]
    return np.asarray(np.array(chosen)[walk_m[:, chosen].argmin(axis=1)])


def _entries(ring: Any, lanes: Lanes) -> Floats:
    """Give the positions on a ring where one may enter: gates, else near a road, else anywhere [m]."""
    near = [gate for gate in lanes.gates if ring.distance(shapely.Point(gate)) <= NEAR_GATE_M]
    if near:
        return np.asarray(shapely.line_locate_point(ring, shapely.points(near)))
    tried = np.arange(0.0, ring.length, PARKING_STEP_M)
    if lanes.roads is None:
        return tried
    away = shapely.distance(shapely.line_interpolate_point(ring, tried), lanes.roads)
    close = away <= min(away.min() + PARKING_STEP_M, NEAR_ROAD_M)
    return tried[close] if close.any() else tried


def _along(walked: WalkedBlock, start: float, end: float) -> Floats:
    """Give the corners of the outline from one position to another, the shorter way round."""
    length = walked.ring.length
    low, high = min(start, end), max(start, end)
    if high - low <= length / 2:
        line = shapely.get_coordinates(shapely.ops.substring(walked.ring, low, high))
    else:
        parts = [
            shapely.ops.substring(walked.ring, high, length),
            shapely.ops.substring(walked.ring, 0.0, low),
        ]
        line = np.concatenate([shapely.get_coordinates(part) for part in parts])
        low, high = high, low
    return np.asarray(line if low == start else line[::-1])


def _inside(walked: WalkedBlock, one: int, other: int) -> Floats:
    i, j = (int(np.flatnonzero(walked.tree == tree)[0]) for tree in (one, other))
    own = walked.to_end_m()
    tried = [(a, b) for a in (0, 1) for b in (0, 1)]
    length = [
        own[i, a] + float(walked.around(walked.around_m[i, a], walked.around_m[j, b])) + own[j, b]
        for a, b in tried
    ]
    straight = float(np.hypot(*(walked.xy[i] - walked.xy[j])))
    if abs(int(walked.row[i] - walked.row[j])) <= 1 and straight <= min(length):
        return np.stack([walked.xy[i], walked.xy[j]])
    a, b = tried[int(np.argmin(length))]
    middle = _along(walked, float(walked.around_m[i, a]), float(walked.around_m[j, b]))
    return np.concatenate([walked.xy[[i]], middle, walked.xy[[j]]])


def _to_vehicle(walked: WalkedBlock, tree: int) -> Floats:
    i = int(np.flatnonzero(walked.tree == tree)[0])
    parked = float(walked.parked_m[i])
    walk = walked.to_end_m()[i] + walked.around(walked.around_m[i], np.array(parked))
    end = int(np.argmin(walk))
    return np.concatenate([walked.xy[[i]], _along(walked, float(walked.around_m[i, end]), parked)])


def _spots(line: Floats) -> tuple[Spot, ...]:
    moved = np.append(True, np.hypot(*np.diff(line, axis=0).T) > 0.01)
    kept = line[moved] if moved.sum() > 1 else line[[0, -1]]
    return tuple((float(x), float(y)) for x, y in kept)
