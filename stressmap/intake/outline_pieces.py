"""Outlines drawn in one large piece and slivers under the same name: taken together, and said in one line."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

import numpy as np
import shapely

from stressmap.core.notes import Note, Noted
from stressmap.core.row_counts import ToldRow
from stressmap.intake.columns import match
from stressmap.intake.heading_recognition import Field
from stressmap.intake.polygon_files import Outlines

SLIVER_SHARE = 0.05
"""A piece smaller than this part of the largest of its name is a slip of drawing, not a second outline."""
CRUMB_SHARE = 0.001
"""A piece apart from the largest and smaller than this part of it is dropped."""


def pieces_joined(
    outlines: Outlines, fields: Mapping[str, Field], columns: Mapping[str, str], name: str
) -> Noted[Outlines]:
    """Take the slivers that bear the name of a larger outline as part of it.

    Two outlines of one name that are both large stay, to be refused as the same name given twice.

    Parameters
    ----------
    outlines : Outlines
        As the file has them.
    fields : mapping of str to Field
        The columns that may be there.
    columns : mapping of str to str
        ``[columns]`` of the settings.
    name : str
        The column of names: ``"block"`` or ``"valve"``.

    Returns
    -------
    Noted of Outlines
        Without the rows of the slivers; what the row of the largest says counts.
    """
    table = match(outlines.sheet, fields, columns, required=())
    if not table.has(name):
        return Noted(outlines)
    labels = [" ".join(str(text or "").split()) for text in table.text(name)]
    area = np.array([_area(shape) for shape in outlines.shapes])
    shapes, gone, named = outlines.shapes.copy(), np.zeros(len(labels), dtype=bool), []
    rows, told = outlines.sheet.frame.index.tolist(), list[ToldRow]()
    for label in dict.fromkeys(one for one in labels if labels.count(one) > 1):
        at = np.array([k for k, one in enumerate(labels) if one == label])
        largest = at[np.nanargmax(area[at])] if not np.isnan(area[at]).all() else at[0]
        slivers = at[area[at] <= SLIVER_SHARE * area[largest]] if label else at[:0]
        if len(slivers) and shapely.is_valid(shapes[largest]):
            mended = shapely.make_valid(shapes[slivers], method="structure", keep_collapsed=False)
            shapes[largest] = _joined(shapes[largest], mended)
        for at in slivers:
            merged = _within(shapes[at], shapes[largest])
            why = ToldRow.of(rows[at], "piece_dropped", name=label)
            told.append(ToldRow.of(rows[at], "piece_merged", name=label) if merged else why)
        gone[slivers] = True
        named += [label] if len(slivers) else []
    if not named:
        return Noted(outlines)
    frame = outlines.sheet.frame
    said = {"file": outlines.sheet.where, "count": int(gone.sum()), "names": named}
    note = Note.of("pieces_joined", "caution", **said, kind=name, rows=frame.index[gone].tolist())
    sheet = dataclasses.replace(outlines.sheet, frame=frame[~gone], told=(*outlines.sheet.told, *told))
    return Noted(dataclasses.replace(outlines, sheet=sheet, shapes=shapes[~gone]), (note,))


def _area(shape: Any) -> float:
    """Give the area of an outline in the units of its file, NaN of what is none."""
    known = shape is not None and shape.geom_type in {"Polygon", "MultiPolygon"}
    finite = known and bool(np.isfinite(shapely.get_coordinates(shape)).all())
    return float(shape.area) if finite and not shape.is_empty else np.nan


def _within(piece: Any, outline: Any) -> bool:
    """Tell whether more than half of a piece is part of an outline now."""
    whole = shapely.make_valid(piece, method="structure", keep_collapsed=False)
    both = shapely.intersection(whole, shapely.make_valid(outline, method="structure", keep_collapsed=False))
    return bool(shapely.area(both) > 0.5 * shapely.area(whole))


def _joined(largest: Any, slivers: Any) -> Any:
    together = shapely.union_all([largest, *(one for one in slivers if one.area > 0)])
    parts = [one for one in shapely.get_parts(together) if one.geom_type == "Polygon"]
    own = {shapely.area(one) for one in shapely.get_parts(largest)}
    kept = [one for one in parts if one.area > CRUMB_SHARE * largest.area or one.area in own]
    return shapely.union_all(kept)
