"""Outlines as far as a new ranch needs them: what is missing or wrong is named, and asked for later."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
from pyproj import CRS

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.schemas import BLOCKS, VALVES
from stressmap.core.sources import InputSource
from stressmap.core.unfilled import ASKED
from stressmap.intake.blocks_and_valves import BLOCK_FIELDS, VALVE_FIELDS
from stressmap.intake.columns import Table, doubtful, match
from stressmap.intake.drawn_outlines import drawn_of, finished, workable
from stressmap.intake.heading_guesses import meant_by
from stressmap.intake.heading_recognition import Field, Seen, names, recognise
from stressmap.intake.outline_names import OutlineFile, names_to_give, provisional, replaced_names
from stressmap.intake.outline_pieces import pieces_joined
from stressmap.intake.polygon_files import Outlines
from stressmap.intake.tabular import Sheet
from stressmap.intake.unit_headings import normal
from stressmap.intake.working_crs import working_crs

_SPANISH = frozenset(
    names(
        "bloque lote cuadro cuartel tabla cultivo especie variedad riego suelo cosecha nombre plantado peso"
    )
)
"""Headings that only a Spanish file has."""


@dataclass(frozen=True)
class OutlineSketch:
    """What a new ranch can be started from.

    Parameters
    ----------
    outlines : GeoDataFrame
        As :data:`stressmap.core.schemas.BLOCKS` or ``VALVES``; ``crop`` is ``"???"`` where it is not said.
    named_by : str or None
        Heading taken for the names, where none is recognised as such.
    left_out : tuple of (str, str)
        Headings that could be a column as well as another, which was taken, and that column.
    unread : tuple of (str, str)
        Headings that are not recognised, and which column each may be, ``""`` where nothing comes near.
    spanish : bool
        Whether the headings are Spanish.
    replaced : frozenset of str
        Names of the file in whose place others are given.
    given : mapping of int to str
        Provisional names by row, where the file has none or one that stands twice.
    to_mend : tuple of Problem
        What ``check`` will refuse of the outlines; those are not in ``outlines``.
    """

    outlines: gpd.GeoDataFrame
    named_by: str | None
    left_out: tuple[tuple[str, str], ...]
    unread: tuple[tuple[str, str], ...]
    spanish: bool
    replaced: frozenset[str]
    given: Mapping[int, str]
    to_mend: tuple[Problem, ...]


def sketch_blocks(given: Path | InputSource) -> Noted[OutlineSketch]:
    """Read blocks as far as a new ranch needs them: names and shapes.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.

    Returns
    -------
    Noted of OutlineSketch

    Raises
    ------
    DataError
        If there are no outlines, or none of them can be drawn.
    """
    return _sketched(InputSource.of(given), BLOCK_FIELDS, "block", None)


def sketch_valves(
    given: Path | InputSource, crs: CRS, replaced: Collection[str] = ()
) -> Noted[OutlineSketch]:
    """Read valve zones as far as a new ranch needs them: names, blocks and shapes.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.
    crs : pyproj.CRS
        Working CRS, that of the blocks.
    replaced : collection of str
        Names of blocks in whose place others are given.

    Returns
    -------
    Noted of OutlineSketch

    Raises
    ------
    DataError
        If there are no outlines, or none of them can be drawn.
    """
    noted = _sketched(InputSource.of(given), VALVE_FIELDS, "valve", crs)
    zones = noted.value.outlines
    zones["block"] = [None if block in replaced else block for block in zones["block"]]
    return noted


def _sketched(
    source: InputSource, fields: Mapping[str, Field], name: str, crs: CRS | None
) -> Noted[OutlineSketch]:
    notes = NoteList()
    whole = OutlineFile(source).read()
    seen = {heading: recognise(heading, fields) for heading in whole.sheet.headings}
    unnamed = not any(found and found.ours == name for found in seen.values())
    named_by = _telling_apart(whole.sheet) if unnamed else None
    chosen = {} if named_by is None else {named_by: name}
    left_out = doubtful(whole.sheet, fields, chosen)
    chosen |= dict.fromkeys((heading for heading, _ in left_out), "")
    outlines = notes.keep(pieces_joined(whole, fields, chosen, name))
    given = names_to_give(_labels(outlines, fields, chosen, name), name[0].upper())
    file = OutlineFile(source, {str(row): text for row, text in given.items()})
    named = file.named(outlines, fields, chosen, name)
    outlines = named.value
    notes.add(provisional(given, file=source.name, kind=f"{name}s"))
    drawn, problems = notes.keep(_drawable(outlines, fields, chosen, (name, crs)))
    still = [h for h, found in seen.items() if found is None and h and h != named_by]
    unread = tuple((h, _guessed(h, seen, fields)) for h in still)
    taken = [heading for heading, found in seen.items() if found and chosen.get(heading) != ""]
    spanish = any(normal(heading) in _SPANISH for heading in taken)
    sketch = OutlineSketch(
        drawn, named_by, tuple(left_out), unread, spanish, replaced_names(named.notes), given, tuple(problems)
    )
    return notes.beside(sketch)


def _guessed(heading: str, seen: Mapping[str, Seen | None], fields: Mapping[str, Field]) -> str:
    """Name the column that a heading may be, of those that no other heading is."""
    there = {found.ours for found in seen.values() if found}
    meant = meant_by(heading, {ours: spec for ours, spec in fields.items() if ours not in there})
    return (fields[meant].shown or meant) if meant else ""


def _labels(
    outlines: Outlines, fields: Mapping[str, Field], chosen: Mapping[str, str], name: str
) -> dict[int, str]:
    """Give the name of each row as the file has it, ``""`` where none."""
    table = match(outlines.sheet, fields, chosen, required=())
    rows = outlines.sheet.frame.index.tolist()
    if not table.has(name):
        return dict.fromkeys(rows, "")
    return {row: " ".join(str(text or "").split()) for row, text in zip(rows, table.text(name), strict=True)}


def _drawable(
    outlines: Outlines, fields: Mapping[str, Field], chosen: Mapping[str, str], of: tuple[str, CRS | None]
) -> Noted[tuple[gpd.GeoDataFrame, list[Problem]]]:
    """Draw what can be drawn; ``of`` is which names, and the working CRS. Rows that cannot be are told."""
    name, crs = of
    problems: list[Problem] = []
    where, schema = outlines.sheet.where, BLOCKS if name == "block" else VALVES
    while True:
        made = _made(match(outlines.sheet, fields, chosen, required=(name,)), name)
        try:
            with workable(where):
                drawn = drawn_of(outlines, made, name)
                working = crs or working_crs(drawn.value, None, where, "ranch.toml")
                done = finished(drawn, working, schema, where)
            return Noted((done.value.reset_index(drop=True), problems), done.notes)
        except DataError as error:
            bad = {problem.row for problem in error.problems}
            fit = ~outlines.sheet.frame.index.isin([row for row in bad if row is not None])
            if fit.all() or not fit.any():
                raise
            problems += error.problems
        sheet = dataclasses.replace(outlines.sheet, frame=outlines.sheet.frame[fit])
        outlines = dataclasses.replace(outlines, sheet=sheet, shapes=outlines.shapes[fit])


def _made(table: Table, name: str) -> dict[str, list[Any]]:
    """Read the names, and the crop or the block of each."""
    labels = [" ".join(str(text).split()) for text in table.text(name)]
    other = "crop" if name == "block" else "block"
    said = [None if text is None else " ".join(text.split()) for text in table.text(other)]
    if name == "valve":
        return {"valve": labels, "block": said}
    return {"block": labels, "crop": [text or ASKED for text in said], "weight": [1.0] * len(labels)}


def _telling_apart(sheet: Sheet) -> str | None:
    """Find a column whose cells are all there and all different, words before numbers."""
    fit = [
        heading
        for at, heading in enumerate(sheet.headings)
        if heading and sheet.frame[at].ne("").all() and sheet.frame[at].is_unique
    ]
    cells = {heading: sheet.frame[sheet.headings.index(heading)] for heading in fit}
    return min(fit, key=lambda heading: bool(cells[heading].str.fullmatch(r"[\d.,]+").all()), default=None)
