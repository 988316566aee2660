"""Trees that a round may read: standing trees, and new ones spread over each valve zone, away from edges."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from stressmap.core.arrays import Bools, Floats, Ints
from stressmap.geostat.samples import Places
from stressmap.rounds.round import RoundTask, StandingTree
from stressmap.rounds.tree_rows import TreeRows, rows_of
from stressmap.zoning.value_of_information import EDGE_M

EDGE_ROWS = 3
"""Rows from the edge in which trees are avoided (chamber maker's picture tutorial: 3 to 4)."""
NEW_A_ZONE, STANDING_A_ZONE = 3, 6
"""New places spread over each valve zone, and standing trees in it, that are considered, at most."""
NEAR_WAY_A_ZONE = 5
"""New places of each valve zone that are soon reached from the ends of its rows, besides."""
NEAR_WAY_M = 25.0
"""They are no further from there than the nearest place allowed, by this."""
BESIDE_VALVE_M = 10.0
"""New places are no nearer than this to the next valve zone: a phone tells a place no better."""
LOOKED_AT = 80
"""Places of a valve zone that are looked at for those, at most."""


@dataclass(frozen=True)
class BlockTrees:
    """Candidates of one block.

    Parameters
    ----------
    block : int
        Its position.
    cells : Places
        Cells inside it.
    places : Places
        Candidates, k of them.
    standing : tuple of (StandingTree or None)
        The standing tree at each.
    cautions : tuple of tuple of str
        Of each: only trees that are asked for have any.
    to_end_m : array of float, shape (k,)
        How far each is from the nearer end of its row [m].
    """

    block: int
    cells: Places
    places: Places
    standing: tuple[StandingTree | None, ...]
    cautions: tuple[tuple[str, ...], ...]
    to_end_m: Floats


def rows_of_blocks(task: RoundTask, positions: list[int]) -> dict[int, tuple[Any, TreeRows]]:
    """Give outline and rows of some blocks.

    Parameters
    ----------
    task : RoundTask
        With blocks and standing trees.
    positions : list of int
        Which blocks.

    Returns
    -------
    dict of int to (shapely geometry, TreeRows)
    """
    blocks = task.ground.blocks
    found = {}
    for position in positions:
        row = blocks.iloc[position]
        trees = np.array([tree.xy for tree in task.standing if tree.block == row["block"]]).reshape(-1, 2)
        given = (float(row[name]) for name in ("row_spacing_m", "tree_spacing_m", "row_bearing"))
        spacing, along, bearing = given if "row_bearing" in blocks.columns else (np.nan,) * 3
        rows = rows_of(row.geometry, trees, spacing_m=spacing, tree_m=along, bearing_deg=bearing)
        found[position] = row.geometry, rows
    return found


def trees_of_block(task: RoundTask, position: int, rows: TreeRows) -> BlockTrees:
    """List the candidates of one block.

    Parameters
    ----------
    task : RoundTask
        What the round is planned from.
    position : int
        Of the block.
    rows : TreeRows
        Its rows.

    Returns
    -------
    BlockTrees
        Without trees read today; trees to be avoided only where they are asked for.
    """
    touched, all_places = task.ground.cells(position)
    cells = all_places.take(np.flatnonzero(touched.inside))
    outline = task.ground.blocks.geometry.iloc[position]
    running = task.ground.valves["valve"].isin(task.wants.running).to_numpy()
    inner = _interior(outline, rows)
    allowed = shapely.contains_xy(inner, cells.xy) & (cells.valve >= 0) & ~_of_valves(running, cells.valve)
    old = _standing_of(task, position, inner)
    known = np.array([tree.xy for tree, _ in old]).reshape(-1, 2)
    spread: list[int] = []
    for valve in np.unique(cells.valve[allowed]):
        zone = np.flatnonzero((cells.valve == valve) & allowed)
        own = task.ground.valves.geometry.iloc[int(valve)].buffer(-BESIDE_VALVE_M)
        inside = zone[shapely.contains_xy(own, cells.xy[zone])]
        zone = inside if len(inside) else zone
        near = _near_way(cells.xy, zone, outline, rows)
        spread += _space_filling(cells.xy, zone, known, NEW_A_ZONE)
        spread += _space_filling(cells.xy, near, known[:0], NEAR_WAY_A_ZONE)
    new = np.unique(rows.at_trees(outline, cells.xy[spread].reshape(-1, 2)), axis=0)
    xy = np.concatenate([np.array([tree.xy for tree, _ in old]).reshape(-1, 2), new])
    at = _nearest_cells(cells, xy, task.ground.valves, [tree.valve for tree, _ in old])
    places = cells.take(at)
    places = Places(xy, places.block, places.valve, places.crop, places.covariate)
    nothing: list[tuple[StandingTree | None, tuple[str, ...]]] = [(None, ())] * len(new)
    both = [*old, *nothing]
    told = tuple(tree for tree, _ in both), tuple(cautions for _, cautions in both)
    return BlockTrees(position, cells, places, *told, _to_end_m(rows, outline, xy))


def _interior(outline: Any, rows: TreeRows) -> Any:
    """Take the edge rows off a block; less of them where nothing would be left."""
    for edge in (max(EDGE_M, EDGE_ROWS * rows.spacing_m), EDGE_M, EDGE_M / 3):
        inner = outline.buffer(-edge)
        if not inner.is_empty:
            return inner
    return outline


def _standing_of(task: RoundTask, position: int, inner: Any) -> list[tuple[StandingTree, tuple[str, ...]]]:
    """Choose standing trees of a block, a few a valve: those read last and most often, and all asked for."""
    name, wants = task.ground.blocks["block"].iloc[position], task.wants
    mine = [t for t in task.standing if t.block == name and t.tree_id not in wants.read_today]
    mine.sort(key=lambda t: (t.tree_id not in wants.left_out, not t.at_last, -t.visits, t.tree_id))
    found: list[tuple[StandingTree, tuple[str, ...]]] = []
    count: dict[str, int] = {}
    for tree in mine:
        cautions = list(tree.cautions)
        if not shapely.contains_xy(inner, *tree.xy):
            cautions.insert(0, "near_edge")
        if tree.valve in wants.running:
            cautions.insert(0, "runs_that_day")
        asked = tree.tree_id in wants.asked
        if not asked and (cautions or count.get(tree.valve, 0) >= STANDING_A_ZONE):
            continue
        count[tree.valve] = count.get(tree.valve, 0) + 1
        found.append((tree, tuple(cautions)))
    return found


def _of_valves(marked: Bools, valve: Ints) -> Bools:
    return np.asarray(np.append(marked, False)[valve])


def _near_way(xy: Floats, zone: Ints, outline: Any, rows: TreeRows) -> Ints:
    """Keep the cells of a zone that are soon reached from an end of their row."""
    seen = zone[:: max(1, len(zone) // LOOKED_AT)]
    to_end = _to_end_m(rows, outline, xy[seen])
    return np.asarray(seen[to_end <= to_end.min() + NEAR_WAY_M])


def _to_end_m(rows: TreeRows, outline: Any, xy: Floats) -> Floats:
    away = rows.ends(outline, xy) - xy[:, None]
    return np.asarray(np.hypot(away[..., 0], away[..., 1]).min(axis=1, initial=np.inf))


def _space_filling(xy: Floats, inner: Ints, known: Floats, count: int) -> list[int]:
    """Pick a few cells of a zone: its centre, then those furthest from trees picked and known."""
    here = xy[inner]
    picked = [int(np.hypot(*(here - here.mean(axis=0)).T).argmin())]
    anchors = np.concatenate([known, here[picked]])
    nearest = np.hypot(*np.moveaxis(here[:, None] - anchors[None], -1, 0)).min(axis=1)
    while len(picked) < min(count, len(inner)) and nearest.max() > 0:
        picked.append(int(nearest.argmax()))
        nearest = np.minimum(nearest, np.hypot(*(here - here[picked[-1]]).T))
    return [int(one) for one in inner[picked]]


def _nearest_cells(cells: Places, xy: Floats, valves: gpd.GeoDataFrame, named: list[str]) -> Ints:
    """Find for each place the nearest cell, of its own valve where that is known by name."""
    position = {name: i for i, name in enumerate(valves["valve"])}
    found = np.zeros(len(xy), dtype=np.int64)
    for i, place in enumerate(xy):
        away = np.hypot(*(cells.xy - place).T)
        if i < len(named):
            away = away + np.where(cells.valve == position.get(named[i], -1), 0.0, 1e6)
        found[i] = int(away.argmin())
    return found
