"""Which block and which valve zone a reading, a valve or a cell belongs to."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import ToldRow
from stressmap.intake.crossing_edges import crowded
from stressmap.intake.polygon_repair import SAID_M2, close_gaps, in_few_lines

LEAST_SHARE = 0.5
"""Share of a valve's area that must lie in the block it is said to be in, before it is remarked upon."""
ACROSS_SHARE = 0.05
"""Share of a valve's area in a second block from which it lies across both."""
SLIVER_M = 2.0
"""Gaps between valve zones narrower than this are drawing slips: no orchard row is that narrow."""
BARE_SHARE = 0.05
"""Share of a block's area without a valve from which it is said."""


def site(points: Any, blocks: gpd.GeoDataFrame, valves: gpd.GeoDataFrame, gps_m: float) -> pd.DataFrame:
    """Join points to blocks and valve zones; the nearest within the GPS tolerance where none holds them.

    Parameters
    ----------
    points : GeoSeries
        Points in the working CRS, n of them; None or empty where a reading has no place.
    blocks, valves : GeoDataFrame
        As ``core.schemas`` states, valves with their block resolved by :func:`join_valves`.
    gps_m : float
        Tolerance [m].

    Returns
    -------
    DataFrame
        Indexed like ``points``: ``block`` and ``valve`` (names or None), ``distance_m`` to the block (0
        inside), ``near_boundary`` (placed by the tolerance), ``outside`` (has a place, but no block within
        the tolerance).
    """
    shapes = np.asarray(points.array, dtype=object)
    placed = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
    block, distance = _nearest(shapes, placed, blocks.geometry.to_numpy(), gps_m)
    valve = np.full(len(shapes), -1)
    owner = valves["block"].to_numpy()
    for index in np.unique(block[block >= 0]):
        mine = np.flatnonzero(owner == blocks["block"].iloc[index])
        here = block == index
        found, _ = _nearest(shapes, here, valves.geometry.to_numpy()[mine], gps_m)
        valve[here] = np.where(found[here] >= 0, mine[found[here]] if len(mine) else -1, -1)
    return pd.DataFrame(
        {
            "block": pd.Series(_named(block, blocks["block"]), index=points.index, dtype=object),
            "valve": pd.Series(_named(valve, valves["valve"]), index=points.index, dtype=object),
            "distance_m": distance,
            "near_boundary": (block >= 0) & (distance > 0),
            "outside": placed & (block < 0),
        },
        index=points.index,
    )


def _named(codes: NDArray[np.int64], names: pd.Series[str]) -> list[str | None]:
    known = names.tolist()
    return [known[c] if c >= 0 else None for c in codes]


def _nearest(
    points: Any, which: NDArray[np.bool_], polygons: Any, tolerance_m: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Find for each point the nearest polygon within the tolerance, the first of the file when equal."""
    code = np.full(len(points), -1)
    distance = np.full(len(points), np.nan)
    if not which.any() or len(polygons) == 0:
        return code, distance
    tree = shapely.STRtree(polygons)
    asked = np.flatnonzero(which)
    (pair, found), gaps = tree.query_nearest(
        points[asked], max_distance=max(tolerance_m, 1e-9), return_distance=True, all_matches=True
    )
    order = np.lexsort((found, gaps, pair))
    first = order[np.unique(pair[order], return_index=True)[1]]
    code[asked[pair[first]]] = found[first]
    distance[asked[pair[first]]] = gaps[first]
    return code, distance


def join_valves(valves: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, where: Path) -> Noted[gpd.GeoDataFrame]:
    """Find each valve's block, clip its zone to it, close slivers, and give every block a zone.

    A valve across two blocks counts where the file says, else where most of it lies. A block without any
    valve is one valve zone of its own, as it would be without a valves file.

    Parameters
    ----------
    valves, blocks : GeoDataFrame
        As ``core.schemas`` states, in one CRS.
    where : Path
        The valves' file, for messages.

    Returns
    -------
    Noted of GeoDataFrame
        The valves that lie in a block, ``block`` filled in, geometry clipped to that block. Says what
        was cut off, closed or added.

    Raises
    ------
    DataError
        If a valve names a block that does not exist, or none lies in any block.
    """
    names = blocks["block"].tolist()
    written = [None if pd.isna(b) else b for b in valves["block"]]
    _refuse_unknown(written, names, where, _rows(valves))
    if crowded(np.concatenate([valves.geometry.to_numpy(), blocks.geometry.to_numpy()])):
        what = "more edges of its zones lie across those of the blocks than can be worked with"
        raise DataError(Problem(str(where), what, "Redraw or simplify them"))
    overlap = _overlap_m2(valves, blocks)
    chosen = np.array(
        [names.index(b) if b is not None else int(overlap[i].argmax()) for i, b in enumerate(written)],
        dtype=int,
    )
    shared = overlap[np.arange(len(valves)), chosen]
    notes = NoteList(_cuts(valves, blocks, chosen, overlap))
    inside = shared > 0
    if not inside.any():
        what = "none of its valve zones lies in a block"
        raise DataError(Problem(str(where), what, "Check the CRS of both files"))
    kept = valves[inside].copy()
    kept["block"] = [names[c] for c in chosen[inside]]
    clipped = shapely.intersection(kept.geometry.to_numpy(), blocks.geometry.to_numpy()[chosen[inside]])
    kept.geometry = [_polygons_only(shape) for shape in clipped]
    closed = notes.keep(_closed(kept.reset_index(drop=True), blocks))
    joined = notes.keep(_every_block(closed, blocks))
    return Noted(joined, in_few_lines(notes))


def _rows(valves: gpd.GeoDataFrame) -> list[int]:
    """Give the rows of the file, which a table that was read bears as its index."""
    return list(valves.index) if valves.index.name == "row" else list(range(2, len(valves) + 2))


def outside_rows(valves: gpd.GeoDataFrame, joined: Noted[gpd.GeoDataFrame]) -> list[ToldRow]:
    """Tell the rows of the valves that lie in no block.

    Parameters
    ----------
    valves : GeoDataFrame
        As read, with the row of the file as index.
    joined : Noted of GeoDataFrame
        What :func:`join_valves` made of them.

    Returns
    -------
    list of ToldRow
    """
    outside = {dict(note.values)["valve"] for note in joined.notes if note.code == "valve_outside_blocks"}
    pairs = zip(_rows(valves), valves["valve"], strict=True)
    return [ToldRow.of(row, "valve_outside", valve=name) for row, name in pairs if name in outside]


def _refuse_unknown(written: list[str | None], names: list[str], where: Path, rows: list[int]) -> None:
    remedy = "Correct the name or leave it empty"
    problems = [
        Problem(str(where), f"there is no block {b!r}", remedy, row, "block")
        for row, b in zip(rows, written, strict=True)
        if b is not None and b not in names
    ]
    if problems:
        raise DataError(problems)


def _closed(valves: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> Noted[gpd.GeoDataFrame]:
    """Close slivers between the zones of each block; say what larger part of a block has no valve."""
    outlines = dict(zip(blocks["block"], blocks.geometry, strict=True))
    shapes, notes = valves.geometry.to_numpy().copy(), NoteList()
    for block, rows in valves.groupby("block").indices.items():
        outline = outlines[block]
        grown, closed_m2 = close_gaps(outline, list(shapes[rows]), SLIVER_M)
        shapes[rows] = grown
        if closed_m2 >= SAID_M2:
            notes.say("slivers_closed", block=block, area_m2=closed_m2)
        bare = outline.area - float(shapely.area(shapes[rows]).sum())
        if bare > BARE_SHARE * outline.area:
            notes.say("part_without_valve", "caution", block=block, area_m2=bare)
    return notes.beside(valves.set_geometry(gpd.GeoSeries(shapes, index=valves.index, crs=valves.crs)))


def _every_block(valves: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> Noted[gpd.GeoDataFrame]:
    """Give blocks without a valve one valve zone each."""
    bare = blocks[~blocks["block"].isin(set(valves["block"]))]
    if bare.empty:
        return Noted(gpd.GeoDataFrame(valves, crs=blocks.crs))
    taken = set(valves["valve"])
    labels = [name if name not in taken else f"{name} (block)" for name in bare["block"]]
    note = Note.of("blocks_without_valve", blocks=bare["block"].tolist())
    added = bare[["block", "geometry"]].assign(valve=labels)
    for column in valves.columns.difference(added.columns):
        added[column] = None if valves[column].dtype == object else np.nan
    joined = pd.concat([valves, added[valves.columns].astype(valves.dtypes.to_dict())], ignore_index=True)
    return Noted(gpd.GeoDataFrame(joined, geometry="geometry", crs=blocks.crs), (note,))


def _overlap_m2(valves: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> NDArray[np.float64]:
    shared = np.zeros((len(valves), len(blocks)))
    tree = shapely.STRtree(blocks.geometry.to_numpy())
    i, j = tree.query(valves.geometry.to_numpy(), predicate="intersects")
    shared[i, j] = shapely.area(
        shapely.intersection(valves.geometry.to_numpy()[i], blocks.geometry.to_numpy()[j])
    )
    return shared


def _cuts(
    valves: gpd.GeoDataFrame,
    blocks: gpd.GeoDataFrame,
    chosen: NDArray[np.int64],
    overlap: NDArray[np.float64],
) -> NoteList:
    notes = NoteList()
    area = valves.geometry.area.to_numpy()
    names = blocks["block"].tolist()
    for i, (name, code, whole) in enumerate(zip(valves["valve"], chosen, area, strict=True)):
        block, part = names[code], overlap[i, code]
        other = int(np.where(np.arange(len(names)) == code, -1.0, overlap[i]).argmax())
        if part == 0:
            notes.say("valve_outside_blocks", "warning", valve=name)
        elif other != code and overlap[i, other] > ACROSS_SHARE * whole:
            shares = {"percent": 100 * part / whole, "other_percent": 100 * overlap[i, other] / whole}
            notes.say("valve_across_blocks", "warning", valve=name, block=block, other=names[other], **shares)
        elif part < LEAST_SHARE * whole:
            notes.say("valve_cut", "caution", valve=name, block=block, percent=100 * part / whole)
    return notes


def _polygons_only(shape: Any) -> Any:
    if shape.geom_type in {"Polygon", "MultiPolygon"}:
        return shape
    parts = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]
    return shapely.union_all(parts)
