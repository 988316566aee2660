"""Blocks and valve zones from the files that GIS programs write, in the working CRS."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import ProjError

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import RowCounts
from stressmap.core.schemas import BLOCKS, VALVES, conform
from stressmap.core.sources import InputSource
from stressmap.core.text import first_line
from stressmap.core.unfilled import ASKED
from stressmap.core.units import M3_H_PER, MM_PER_INCH
from stressmap.intake.block_attributes import (
    BlockAttributes,
    attributes_of,
    bare_spacings,
    lay_over,
    read_attributes,
    wanted_crop,
)
from stressmap.intake.block_cells import names_of, positive
from stressmap.intake.block_words import system_of, unknown_words
from stressmap.intake.columns import Field, Table, match, names, recognise
from stressmap.intake.crossing_edges import crowded
from stressmap.intake.outline_pieces import pieces_joined
from stressmap.intake.polygon_files import Outlines, read_outlines
from stressmap.intake.polygon_repair import apart, in_few_lines, polygonal, sound, with_areas, without_crumbs
from stressmap.intake.tabular import Sheet
from stressmap.intake.unit_headings import normal
from stressmap.intake.unread_columns import columns_of
from stressmap.intake.working_crs import working_crs

_BLOCK = Field(
    names("block_id block_name block_no bloque lote cuadro cuartel"), weak=names("name nombre label id field")
)
BLOCK_FIELDS = {
    "block": _BLOCK,
    "crop": Field(names("cultivo crop_type crop_name especie species")),
    "variety": Field(names("variedad cultivar")),
    "planted": Field(
        names("year_planted plant_year planting_year plantado ano_plantacion ano_de_plantacion")
    ),
    "irrigation": Field(names("system irrigation_system riego sistema_de_riego sistema")),
    "weight": Field(names("peso priority_weight")),
    "harvest": Field(names("harvest_date cosecha fecha_de_cosecha")),
    "soil": Field(names("soil_texture soil_type suelo textura")),
    "row_spacing_m": Field(
        names(
            "row_spacing row_space row_distance row_width rowspacing between_rows distance_between_rows "
            "spacing_between_rows rows_apart entre_hileras distancia_entre_hileras distancia_hileras "
            "separacion_entre_hileras espaciamiento_entre_hileras entre_surcos distancia_entre_surcos "
            "entre_filas distancia_entre_filas ancho_de_calle"
        ),
        ("m", "ft"),
    ),
    "tree_spacing_m": Field(
        names(
            "tree_spacing tree_space tree_distance treespacing between_trees distance_between_trees "
            "trees_apart spacing_between_trees "
            "spacing_in_row in_row_spacing plant_spacing vine_spacing entre_arboles "
            "distancia_entre_arboles distancia_arboles separacion_entre_arboles espaciamiento_entre_arboles "
            "entre_plantas distancia_entre_plantas distancia_sobre_hilera sobre_hilera"
        ),
        ("m", "ft"),
    ),
    "row_bearing": Field(
        names(
            "row_direction row_azimuth row_orientation row_heading rowbearing rumbo_de_hileras rumbo_hileras "
            "rumbo_de_las_hileras azimut_de_hileras azimut_hileras orientacion_de_hileras "
            "orientacion_hileras direccion_de_hileras rumbo_de_surcos"
        ),
        ("deg",),
        weak=names("bearing azimuth azimut rumbo orientation orientacion"),
    ),
    "wetted_share": Field(
        names(
            "wetted_sha wetted_fraction wetted_area_share wetted_area wetted fraccion_mojada parte_mojada "
            "area_mojada superficie_mojada suelo_mojado mojado"
        ),
        ("%",),
    ),
}
VALVE_FIELDS = {
    "valve": Field(
        names("valve_id valve_name valve_no valvula llave"),
        weak=names("name nombre label id zone zona sector"),
    ),
    "block": Field(_BLOCK.names),
    "rate": Field(
        names("application_rate precipitation_rate tasa mm_h"), ("mm/h", "in/h"), shown="rate_mm_h"
    ),
    "flow": Field(names("flow_rate caudal gasto m3_h gpm"), tuple(M3_H_PER), shown="flow_m3_h"),
    "min_hours": Field(names("horas_min min_horas horas_minimas")),
    "max_hours": Field(names("horas_max max_horas horas_maximas")),
    "pump": Field(names("bomba pump_id")),
    "checked": Field(names("checked_on flow_checked revisada revisado fecha_revision fecha_de_revision")),
}
_RATE_MM_H = {"mm/h": 1.0, "in/h": MM_PER_INCH}
_SPANISH = frozenset(
    names(
        "bloque lote cuadro cuartel tabla cultivo especie variedad riego suelo cosecha nombre plantado peso"
    )
)
"""Headings that only a Spanish file has."""


def read_blocks(
    given: Path | InputSource,
    crs: str | None,
    columns: Mapping[str, str] | None = None,
    *,
    settings_file: str = "ranch.toml",
    attributes: Path | None = None,
    crops: Sequence[str] = (),
) -> Noted[gpd.GeoDataFrame]:
    """Read the blocks and bring them into the working CRS.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.
    crs : str or None
        ``[ranch] crs``; None for the UTM zone of the blocks.
    columns : mapping of str to str, optional
        ``[columns]`` of the settings.
    settings_file : str
        The ``ranch.toml``, for messages.
    attributes : Path, optional
        A plain table by block, laid over what the outlines say.
    crops : sequence of str
        Crops that have a profile, for messages.

    Returns
    -------
    Noted of GeoDataFrame
        As :data:`stressmap.core.schemas.BLOCKS`; crops as the file names them.

    Raises
    ------
    DataError
        If the file cannot be read or used.
    SettingsError
        If ``crs`` is not a projected CRS in metres.
    """
    source, notes = InputSource.of(given), NoteList()
    whole = read_outlines(source)
    outlines = notes.keep(pieces_joined(whole, BLOCK_FIELDS, columns or {}, "block"))
    made = notes.keep(_made(outlines, columns or {}, attributes, crops, whole.sheet.frame.index.tolist()))
    named = pd.DataFrame({name: list(made[name]) for name in ("block", "irrigation", "soil")}, dtype=object)
    for kind in ("irrigation", "soil"):
        notes.add(unknown_words(named, source.name, kind))
    made["irrigation"] = [system_of(w) or w if isinstance(w, str) else None for w in named["irrigation"]]
    with _workable(source.name):
        drawn = _drawn(outlines, made, "block")
        working = working_crs(drawn.value, crs, source.name, settings_file)
        return notes.beside(notes.keep(_finished(drawn, working, BLOCKS, source.name)))


@dataclass(frozen=True)
class BlockSketch:
    """What a new ranch can be started from: outlines with a name at least.

    Parameters
    ----------
    blocks : GeoDataFrame
        As :data:`stressmap.core.schemas.BLOCKS`; ``crop`` is ``"???"`` where the outlines do not say it.
    named_by : str or None
        Heading taken for the names, where none is recognised as such.
    unread : tuple of str
        Headings that are not recognised.
    spanish : bool
        Whether the headings are Spanish.
    """

    blocks: gpd.GeoDataFrame
    named_by: str | None
    unread: tuple[str, ...]
    spanish: bool


def sketch_blocks(given: Path | InputSource) -> Noted[BlockSketch]:
    """Read outlines as far as a new ranch needs them: names and shapes; what is missing is asked for later.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.

    Returns
    -------
    Noted of BlockSketch

    Raises
    ------
    DataError
        If there are no outlines, no column tells them apart, or they cannot be drawn.
    """
    source, notes = InputSource.of(given), NoteList()
    outlines = notes.keep(pieces_joined(read_outlines(source), BLOCK_FIELDS, {}, "block"))
    sheet = outlines.sheet
    seen = {heading: recognise(heading, BLOCK_FIELDS) for heading in sheet.headings}
    named_by = None
    if not any(found and found.ours == "block" for found in seen.values()):
        named_by = _telling_apart(sheet)
    chosen = {} if named_by is None else {named_by: "block"}
    table = match(sheet, BLOCK_FIELDS, chosen, required=("block",))
    crop = [ASKED if text is None else " ".join(text.split()) for text in table.text("crop")]
    made = {
        "block": names_of(table, "block", unique=True, folded=True),
        "crop": crop,
        "weight": [1.0] * len(crop),
    }
    unread = tuple(h for h, found in seen.items() if found is None and h and h != named_by)
    spanish = any(normal(heading) in _SPANISH for heading in table.headings.values())
    with _workable(source.name):
        drawn = _drawn(outlines, made, "block")
        working = working_crs(drawn.value, None, source.name, "ranch.toml")
        blocks = notes.keep(_finished(drawn, working, BLOCKS, source.name))
    return notes.beside(BlockSketch(blocks, named_by, unread, spanish))


def _telling_apart(sheet: Sheet) -> str | None:
    """Find a column whose cells are all there and all different, words before numbers."""
    fit = [
        heading
        for at, heading in enumerate(sheet.headings)
        if heading and sheet.frame[at].ne("").all() and sheet.frame[at].is_unique
    ]
    cells = {heading: sheet.frame[sheet.headings.index(heading)] for heading in fit}
    return min(fit, key=lambda heading: bool(cells[heading].str.fullmatch(r"[\d.,]+").all()), default=None)


def _made(
    outlines: Outlines,
    columns: Mapping[str, str],
    attributes: Path | None,
    crops: Sequence[str],
    listed: Sequence[int],
) -> Noted[dict[str, Any]]:
    """Read what is known of each block besides its outline; ``listed`` are all rows of the file."""
    notes = NoteList()
    required = ("block", "crop") if attributes is None else ("block",)
    table = match(outlines.sheet, BLOCK_FIELDS, columns, required=required)
    read = notes.keep(columns_of(outlines.sheet, table, BLOCK_FIELDS, columns))
    notes.count(RowCounts.of(table.where, "blocks", listed, columns=read))
    notes.add(bare_spacings(table))
    labels = names_of(table, "block", unique=True, folded=True)
    if attributes is None:
        own = attributes_of(table, labels, crops).said.assign(crop=names_of(table, "crop"))
    else:
        over, rows = notes.keep(read_attributes(attributes, columns, BLOCK_FIELDS, crops))
        own = attributes_of(table, labels, crops).said
        own = notes.keep(lay_over(own, labels, over, rows))
        _refuse_no_crop(own, labels, over, crops)
    made = {name: own[name].tolist() for name in own.columns if name != "row"}
    return notes.beside({"block": labels, **made, "weight": own["weight"].fillna(1.0).tolist()})


def _refuse_no_crop(
    own: pd.DataFrame, labels: Sequence[str], table: BlockAttributes, crops: Sequence[str]
) -> None:
    bare = own["crop"].isna()
    problems = [
        Problem(
            table.where,
            f"block {label!r} has no crop, neither here nor with its outline",
            wanted_crop(crops) if pd.notna(row) else f"Add a row for it. {wanted_crop(crops)}",
            int(row) if pd.notna(row) else None,
            table.heading,
        )
        for label, row in zip(pd.Series(labels)[bare.to_numpy()], own["row"][bare], strict=True)
    ]
    if problems:
        raise DataError(problems)


def read_valves(
    given: Path | InputSource, crs: CRS, columns: Mapping[str, str] | None = None
) -> Noted[gpd.GeoDataFrame]:
    """Read the valve zones and bring them into the working CRS.

    Parameters
    ----------
    given : Path or InputSource
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.
    crs : pyproj.CRS
        Working CRS, that of the blocks.
    columns : mapping of str to str, optional
        ``[columns]`` of the settings.

    Returns
    -------
    Noted of GeoDataFrame
        As :data:`stressmap.core.schemas.VALVES`.

    Raises
    ------
    DataError
        If the file cannot be read or used.
    """
    source, notes = InputSource.of(given), NoteList()
    whole = read_outlines(source)
    outlines = notes.keep(pieces_joined(whole, VALVE_FIELDS, columns or {}, "valve"))
    table = match(outlines.sheet, VALVE_FIELDS, columns or {}, required=("valve",))
    read = notes.keep(columns_of(outlines.sheet, table, VALVE_FIELDS, columns or {}))
    notes.count(RowCounts.of(table.where, "valves", whole.sheet.frame.index, columns=read))
    made = {
        "valve": names_of(table, "valve", unique=True, folded=True),
        "block": [None if text is None else " ".join(text.split()) for text in table.text("block")],
        "rate_mm_h": positive(table, "rate") * _RATE_MM_H[table.unit("rate") or "mm/h"],
        "flow_m3_h": positive(table, "flow") * M3_H_PER[table.unit("flow") or "m3/h"],
        "min_hours": positive(table, "min_hours"),
        "max_hours": positive(table, "max_hours"),
        "pump": table.text("pump"),
        "checked": _dates(table, "checked"),
    }
    with _workable(source.name):
        drawn = _drawn(outlines, made, "valve")
        return notes.beside(notes.keep(_finished(drawn, crs, VALVES, source.name)))


def blocks_as_valves(blocks: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Take each block as one valve zone, for a ranch without a valves file.

    Parameters
    ----------
    blocks : GeoDataFrame
        As :data:`stressmap.core.schemas.BLOCKS`.

    Returns
    -------
    GeoDataFrame
        As :data:`stressmap.core.schemas.VALVES`; a valve zone has its block's name.
    """
    table = blocks[["block", "geometry"]].assign(valve=blocks["block"])
    return gpd.GeoDataFrame(conform(table, VALVES, "blocks"), crs=blocks.crs)


@contextmanager
def _workable(where: str) -> Iterator[None]:
    """Say it of the file where geometry fails with its outlines, or there is no way out of their CRS."""
    try:
        yield
    except shapely.errors.GEOSException as error:
        what = f"its outlines cannot be worked with ({error})"
        raise DataError(Problem(where, what, "Redraw the outline at that place")) from None
    except ProjError as error:
        what = f"its outlines cannot be brought into the working CRS ({first_line(error)})"
        raise DataError(Problem(where, what, "Correct its CRS, or [ranch] crs")) from None


def _drawn(outlines: Outlines, made: Mapping[str, Any], name: str) -> Noted[gpd.GeoDataFrame]:
    """Put valid outlines beside the attributes, or say in which row that cannot be."""
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


def _finished(drawn: Noted[gpd.GeoDataFrame], crs: CRS, schema: Any, where: str) -> Noted[gpd.GeoDataFrame]:
    """Bring outlines, indexed by row, into metres and mend what only shows there: crumbs and overlaps."""
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
    settled = notes.keep(apart(table, name, where)).reset_index(drop=True)
    finished = gpd.GeoDataFrame(conform(settled, schema, where), crs=table.crs)
    return Noted(finished, in_few_lines((*sized, *notes)))


def _dates(table: Table, column: str) -> pd.Series:
    """Read days, ``YYYY-MM-DD``, from such or from moments that begin with one."""
    text = table.text(column)
    day = text.astype(object).where(text.isna(), text.astype(str).str.slice(0, 10))
    known = pd.to_datetime(day, format="%Y-%m-%d", errors="coerce")
    table.refuse(column, text.notna() & known.isna(), "is not a day", "Write it as 2026-07-16")
    return pd.Series(day.where(text.notna(), None))
