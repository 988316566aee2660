"""Outlines as their file has them -> polygons that can be worked with, in the working CRS."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS
from pyproj.exceptions import ProjError

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.schemas import conform
from stressmap.core.text import first_line
from stressmap.intake.crossing_edges import crowded
from stressmap.intake.polygon_files import Outlines
from stressmap.intake.polygon_repair import apart, in_few_lines, polygonal, sound, with_areas, without_crumbs


@contextmanager
def workable(where: str) -> Iterator[None]:
    """Say it of the file where geometry fails with its outlines, or there is no way out of their CRS.

    Parameters
    ----------
    where : str
        File, for messages.

    Yields
    ------
    None

    Raises
    ------
    DataError
        In the place of the library's error.
    """
    try:
        yield
    except shapely.errors.GEOSException as error:
        what = f"its outlines cannot be worked with ({error})"
        raise DataError(Problem(where, what, "Redraw the outline at that place")) from None
    except ProjError as error:
        what = f"its outlines cannot be brought into the working CRS ({first_line(error)})"
        raise DataError(Problem(where, what, "Correct its CRS, or [ranch] crs")) from None


def drawn_of(outlines: Outlines, made: Mapping[str, Any], name: str) -> Noted[gpd.GeoDataFrame]:
    """Put valid outlines beside the attributes.

    Parameters
    ----------
    outlines : Outlines
        As the file has them.
    made : mapping of str to list
        Attributes, a column each.
    name : str
        ``"block"`` or ``"valve"``: the column of names.

    Returns
    -------
    Noted of GeoDataFrame
        In the CRS of the file, by its rows.

    Raises
    ------
    DataError
        Which names the rows where that cannot be.
    """
    where = outlines.sheet.where
    if crowded(outlines.shapes):
        what = "more of its edges lie across each other than can be worked with"
        raise DataError(Problem(where, what, "Redraw or simplify its outlines"))
    shapes, problems, notes = [], [], NoteList()
    rows = outlines.sheet.frame.index
    for row, label, shape in zip(rows.tolist(), made[name], outlines.shapes, strict=True):
        if shape is None or shape.is_empty:
            problems.append(Problem(where, f"{label!r} has no polygon", "Draw it", row=row))
        elif shape.geom_type not in {"Polygon", "MultiPolygon", "GeometryCollection"}:
            what = f"{label!r} is a {shape.geom_type}, not a polygon"
            problems.append(Problem(where, what, "Draw its outline as a polygon", row=row))
        elif not np.isfinite(shapely.get_coordinates(shape)).all():
            what = f"the polygon of {label!r} has a corner without a place"
            problems.append(Problem(where, what, "Redraw it", row=row))
        else:
            known = {"file": Path(where).name, "row": row, "kind": name, "name": label}
            shapes.append(notes.keep(polygonal(shape, **known)))
            if shapes[-1].is_empty:
                problems.append(Problem(where, f"the polygon of {label!r} has no area", "Redraw it", row=row))
    if problems:
        raise DataError(problems)
    plain = {column: list(values) for column, values in made.items()}
    return notes.beside(gpd.GeoDataFrame(plain, geometry=shapes, crs=outlines.crs, index=rows))


def finished(drawn: Noted[gpd.GeoDataFrame], crs: CRS, schema: Any, where: str) -> Noted[gpd.GeoDataFrame]:
    """Bring outlines into metres and mend what only shows there: crumbs and overlaps.

    Parameters
    ----------
    drawn : Noted of GeoDataFrame
        From :func:`drawn_of`.
    crs : pyproj.CRS
        Working CRS.
    schema : pandera.DataFrameSchema
        Of blocks or valves; its first column is that of the names.
    where : str
        File, for messages.

    Returns
    -------
    Noted of GeoDataFrame
        As the schema states; many slips of one kind are told in one line.

    Raises
    ------
    DataError
        Which names the rows that have no place or area there, or cover the ground of another.
    """
    name = next(iter(schema.columns))
    table = drawn.value.to_crs(crs)
    shapes, problems, notes = [], [], NoteList()
    for row, own, shape in zip(table.index.tolist(), table[name], table.geometry, strict=True):
        label = f"{name.capitalize()} {own!r}"
        if not np.isfinite(shapely.get_coordinates(shape)).all():
            what = f"{label} lies where {crs.name} does not reach"
            problems.append(Problem(where, what, "Correct its coordinates or the CRS", row=row))
            continue
        shapes.append(notes.keep(without_crumbs(sound(shape), name, own)))
        if shapes[-1].area == 0:
            problems.append(Problem(where, f"{label} has no area", "Redraw it", row=row))
    if problems:
        raise DataError(problems)
    table.geometry = shapes
    sized = with_areas(drawn.notes, table.geometry.area.to_dict())
    settled = notes.keep(apart(table, name, where))
    settled = gpd.GeoDataFrame(conform(settled, schema, where), crs=table.crs)
    return Noted(settled, in_few_lines((*sized, *notes)))
