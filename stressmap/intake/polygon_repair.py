"""Outlines that cross themselves, overlap their neighbours or leave slivers: mended, and said."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
import shapely

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.intake.crossing_edges import crowded

CRUMB_M2 = 10.0
"""A part of an outline smaller than this, and than a hundredth of the whole, is a slip of the mouse."""
SAID_M2 = 1.0
"""Overlaps and gaps smaller than this are rounding, mended without a word."""
MOST_NEIGHBOURS = 50
"""Outlines whose surrounding boxes meet that of one; a ranch has about ten."""
SAME_GROUND = 0.5
"""Two outlines that share more than this part of the smaller one are the same ground drawn twice."""
OF_THE_DRAWING = frozenset(
    {
        "outline_mended",
        "outline_mended_many",
        "outline_of_parts",
        "outline_of_parts_many",
        "outlines_overlap",
        "outlines_overlap_many",
        "crumbs_dropped",
        "crumbs_dropped_many",
        "pieces_joined",
        "outlines_named",
        "slivers_closed",
        "slivers_closed_many",
        "part_without_valve",
        "part_without_valve_many",
    }
)
"""Notes on slips of the drawing, and on ground without a valve: ``check`` tells them, once."""


def polygonal(shape: Any, **named: Any) -> Noted[Any]:
    """Make one outline a valid polygon or multipolygon.

    Parameters
    ----------
    shape : Geometry
        Polygon, MultiPolygon or a collection of such.
    **named : str or int
        ``file``, ``row``, ``kind`` and ``name``, for the notes.

    Returns
    -------
    Noted of Polygon or MultiPolygon
        Empty if nothing of it has an area.
    """
    flat = shapely.force_2d(shape)
    if flat.is_valid and flat.geom_type != "GeometryCollection":
        return Noted(flat)
    mended = shapely.make_valid(flat, method="structure", keep_collapsed=False)
    parts = [p for p in shapely.get_parts(mended) if p.geom_type in {"Polygon", "MultiPolygon"}]
    reason = shapely.is_valid_reason(flat).split("[")[0].strip().lower()
    if flat.is_valid:
        note = Note.of("outline_of_parts", **named)
    else:
        note = Note.of("outline_mended", "caution", reason=reason, **named)
    return Noted(shapely.union_all(parts), (note,))


def sound(shape: Any) -> Any:
    """Make an outline valid again that a projection has rounded into touching itself.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        In metres.

    Returns
    -------
    Polygon or MultiPolygon
    """
    if shape.is_valid:
        return shape
    return _polygons_of(shapely.make_valid(shape, method="structure", keep_collapsed=False))


def without_crumbs(shape: Any, kind: str, name: str) -> Noted[Any]:
    """Drop parts of a multipolygon that are too small to be meant.

    Parameters
    ----------
    shape : Polygon or MultiPolygon
        In metres.
    kind, name : str
        ``"block"`` or ``"valve"``, and its name, for the notes.

    Returns
    -------
    Noted of Polygon or MultiPolygon
    """
    parts = shapely.get_parts(shape)
    area = shapely.area(parts)
    crumbs = (area < CRUMB_M2) & (area < 0.01 * area.sum())
    if not crumbs.any():
        return Noted(shape)
    stray = {"count": crumbs.sum(), "area_m2": area[crumbs].sum()}
    note = Note.of("crumbs_dropped", "caution", kind=kind, name=name, **stray)
    return Noted(shapely.union_all(parts[~crumbs]), (note,))


def apart(table: gpd.GeoDataFrame, name: str, where: str) -> Noted[gpd.GeoDataFrame]:
    """Take small overlaps between outlines away; the smaller outline keeps the shared ground.

    Parameters
    ----------
    table : GeoDataFrame
        Polygons in metres; the index is the row of each.
    name : str
        Column of their names: ``"block"`` or ``"valve"``.
    where : str
        File, for messages.

    Returns
    -------
    Noted of GeoDataFrame
        Says every overlap of ``SAID_M2`` or more.

    Raises
    ------
    DataError
        If two outlines are the same ground drawn twice, or more overlap than could be mended by hand.
    """
    shapes = table.geometry.to_numpy().copy()
    labels, rows = table[name].tolist(), table.index.tolist()
    area = shapely.area(shapes)
    tree = shapely.STRtree(shapes)
    if tree.query(shapes).shape[1] > MOST_NEIGHBOURS * len(shapes) + 10_000:
        what = f"its {name}s lie across each other nearly everywhere"
        raise DataError(Problem(where, what, "Redraw them, each on its own ground"))
    first, second = tree.query(shapes, predicate="intersects")
    problems, notes = [], NoteList()
    for i, j in sorted((int(i), int(j)) for i, j in zip(first, second, strict=True) if i < j):
        shared = float(shapely.area(shapely.intersection(shapes[i], shapes[j])))
        if shared <= 0:
            continue
        if shared > SAME_GROUND * min(area[i], area[j]):
            what = f"{labels[j]!r} covers the same ground as {labels[i]!r} in row {rows[i]}"
            problems.append(Problem(where, what, "Delete or redraw one of them", row=rows[j]))
            continue
        keeps, gives = (i, j) if area[i] <= area[j] else (j, i)
        shapes[gives] = _polygons_of(shapely.difference(shapes[gives], shapes[keeps]))
        if shared >= SAID_M2:
            pair = {"one": labels[i], "other": labels[j], "kept": labels[keeps]}
            notes.say("outlines_overlap", "caution", kind=f"{name}s", area_m2=shared, **pair)
    if problems:
        raise DataError(problems)
    return notes.beside(table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs)))


_TOGETHER: dict[str, Callable[[dict[str, Any]], Note]] = {
    "outline_mended": lambda told: Note.of("outline_mended_many", "caution", **told),
    "outline_of_parts": lambda told: Note.of("outline_of_parts_many", **told),
    "crumbs_dropped": lambda told: Note.of("crumbs_dropped_many", "caution", **told),
    "outlines_overlap": lambda told: Note.of("outlines_overlap_many", "caution", **told),
    "slivers_closed": lambda told: Note.of("slivers_closed_many", **told),
    "part_without_valve": lambda told: Note.of("part_without_valve_many", "caution", **told),
}


def with_areas(notes: Iterable[Note], area_m2: Mapping[int, float]) -> list[Note]:
    """Put the area of the outline that a note is of into it.

    Parameters
    ----------
    notes : iterable of Note
        Each with its ``row``.
    area_m2 : mapping of int to float
        Of the outline of each row [m2].

    Returns
    -------
    list of Note
        In their order, with ``area_m2``.
    """
    return [
        replace(note, values=(*note.values, ("area_m2", area_m2[int(str(note.value("row")))])))
        for note in notes
    ]


def in_few_lines(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Tell many slips of one kind (overlaps, crumbs, slivers, crossings) in one line, with the largest.

    Parameters
    ----------
    notes : iterable of Note
        Of one file, each with its ``area_m2``.

    Returns
    -------
    tuple of Note
        In their order, the one line where the first stood.
    """
    held = list(notes)
    for code, together in _TOGETHER.items():
        alike = [note for note in held if note.code == code]
        if len(alike) < 2:
            continue
        areas = [float(str(note.value("area_m2"))) for note in alike]
        largest = alike[areas.index(max(areas))]
        told = {**dict(largest.values), "count": len(alike), "total_m2": sum(areas)}
        told["rows"] = tuple(note.value("row") for note in alike if "row" in told)
        held[held.index(alike[0])] = together(told)
        held = [note for note in held if note.code != code]
    return tuple(held)


def without_drawing(notes: Iterable[Note]) -> tuple[Note, ...]:
    """Leave out what was mended in the drawing, where a reader can do nothing about it.

    Parameters
    ----------
    notes : iterable of Note
        Of a run.

    Returns
    -------
    tuple of Note
        Those of what the figures rest on.
    """
    return tuple(note for note in notes if note.code not in OF_THE_DRAWING)


def close_gaps(block: Any, zones: list[Any], width_m: float) -> tuple[list[Any], float]:
    """Close gaps between the zones of a block, and along its edge, that are narrower than a lane.

    Parameters
    ----------
    block : Polygon or MultiPolygon
        The block [m].
    zones : list of Polygon or MultiPolygon
        Its valve zones, inside it, without overlap.
    width_m : float
        Gaps narrower than this are closed [m].

    Returns
    -------
    zones : list of Polygon or MultiPolygon
        Each with the slivers that it shares most of its border with.
    area_m2 : float
        Area of the slivers.
    """
    left = shapely.difference(block, shapely.union_all(zones))
    if crowded([left], near=width_m):
        return zones, 0.0
    half = width_m / 2
    wide = shapely.buffer(shapely.buffer(left, -half, join_style="mitre"), 1.01 * half, join_style="mitre")
    slivers = [p for p in shapely.get_parts(shapely.difference(left, wide)) if p.geom_type == "Polygon"]
    # what opening shaves off the corners of a wide gap is no sliver
    slivers = [p for p in slivers if p.area > 0.01 and p.length > 4 * width_m]
    grown = list(zones)
    closed = 0.0
    for sliver in slivers:
        touch = shapely.area(
            shapely.intersection(shapely.buffer(sliver, 0.05), np.array(grown, dtype=object))
        )
        if touch.max() > 0:
            at = int(touch.argmax())
            grown[at] = _polygons_of(shapely.union(grown[at], sliver))
            closed += float(sliver.area)
    return grown, closed


def _polygons_of(shape: Any) -> Any:
    if shape.geom_type in {"Polygon", "MultiPolygon"}:
        return shape
    return shapely.union_all([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])
