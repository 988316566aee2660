"""Blocks and valve zones from the files that GIS programs write, in the working CRS."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import RowCounts
from stressmap.core.schemas import BLOCKS, VALVES, conform
from stressmap.core.sources import InputSource
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
from stressmap.intake.columns import Table, match
from stressmap.intake.drawn_layers import DrawnLayer
from stressmap.intake.drawn_outlines import drawn_of, finished, workable
from stressmap.intake.heading_recognition import Field, ended, names
from stressmap.intake.outline_names import OutlineFile
from stressmap.intake.outline_pieces import pieces_joined
from stressmap.intake.polygon_files import Outlines
from stressmap.intake.riser_points import (
    near_zones,
    point_layers,
    riser_spots,
    spots_of_columns,
    without_points,
)
from stressmap.intake.unread_columns import columns_of
from stressmap.intake.working_crs import working_crs

_ENDINGS = "nm name typ type cd code desc nombre tipo"
"""What surveyors put behind the name of a column of words."""
_BLOCK = Field(
    names("block_id block_name block_no bloque lote cuadro cuartel"), weak=names("name nombre label id field")
)
BLOCK_FIELDS = {
    "block": _BLOCK,
    "crop": Field(
        names("cultivo crop_type crop_name especie species"), weak=ended("crop cultivo especie", _ENDINGS)
    ),
    "variety": Field(names("variedad cultivar"), weak=ended("variety variedad cultivar var", _ENDINGS)),
    "planted": Field(
        names("year_planted plant_year planting_year plantado ano_plantacion ano_de_plantacion")
    ),
    "irrigation": Field(
        names("system irrigation_system riego sistema_de_riego sistema"),
        weak=(
            *names("irrig irr irrig_meth irrig_method irrigation_method tipo_riego tipo_de_riego"),
            *ended("irrigation irrig irr system riego sistema", _ENDINGS),
        ),
    ),
    "weight": Field(names("peso priority_weight")),
    "harvest": Field(names("harvest_date cosecha fecha_de_cosecha")),
    "soil": Field(
        names("soil_texture soil_type suelo textura"),
        weak=(*names("tipo_suelo tipo_de_suelo"), *ended("soil suelo textura", _ENDINGS)),
    ),
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
        names("application_rate precipitation_rate precip_rate tasa mm_h"),
        ("mm/h", "in/h"),
        stated=names("precip precipitation precipitacion prec ppt application applic appl"),
        shown="rate_mm_h",
    ),
    "flow": Field(names("flow_rate caudal gasto m3_h gpm"), tuple(M3_H_PER), shown="flow_m3_h"),
    "min_hours": Field(names("horas_min min_horas horas_minimas")),
    "max_hours": Field(names("horas_max max_horas horas_maximas")),
    "pump": Field(names("bomba pump_id"), weak=ended("pump bomba", "nm name no num cd code nombre")),
    "source": Field(
        names("water_source source_name ditch canal fuente fuente_de_agua acequia toma origen_del_agua")
    ),
    "gate": Field(
        names("gate_no gate_number check_no compuerta numero_de_compuerta orden_de_compuerta boquera")
    ),
    "riser_lon": Field(names("lon_riser riser_longitude hidrante_lon lon_hidrante longitud_hidrante")),
    "riser_lat": Field(names("lat_riser riser_latitude hidrante_lat lat_hidrante latitud_hidrante")),
    "checked": Field(names("checked_on flow_checked revisada revisado fecha_revision fecha_de_revision")),
}
_RATE_MM_H = {"mm/h": 1.0, "in/h": MM_PER_INCH}


def read_blocks(
    given: Path | InputSource | OutlineFile,
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
    given : Path, InputSource or OutlineFile
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
    file, notes = OutlineFile.of(given), NoteList()
    source = file.source
    outlines = notes.keep(pieces_joined(file.read(), BLOCK_FIELDS, columns or {}, "block"))
    outlines = notes.keep(file.named(outlines, BLOCK_FIELDS, columns or {}, "block"))
    made = notes.keep(_made(outlines, columns or {}, attributes, crops))
    made["irrigation"] = [system_of(w) or w if isinstance(w, str) else None for w in made["irrigation"]]
    with workable(source.name):
        drawn = drawn_of(outlines, made, "block")
        working = working_crs(drawn.value, crs, source.name, settings_file)
        blocks = notes.keep(finished(drawn, working, BLOCKS, source.name))
        return notes.beside(blocks.reset_index(drop=True))


def _made(
    outlines: Outlines,
    columns: Mapping[str, str],
    attributes: Path | None,
    crops: Sequence[str],
) -> Noted[dict[str, Any]]:
    """Read what is known of each block besides its outline."""
    notes = NoteList()
    required = ("block", "crop") if attributes is None else ("block",)
    table = match(outlines.sheet, BLOCK_FIELDS, columns, required=required)
    read = notes.keep(columns_of(outlines.sheet, table, BLOCK_FIELDS, columns))
    notes.count(RowCounts.of(table.where, "blocks", outlines.sheet.rows, outlines.sheet.told, columns=read))
    notes.add(bare_spacings(table))
    labels = names_of(table, "block", unique=True, folded=True)
    if attributes is None:
        outline = attributes_of(table, labels, crops)
        own = outline.said.assign(crop=names_of(table, "crop"))
        notes.add(_unknown_words(own, labels, outline, None))
    else:
        over, rows = notes.keep(read_attributes(attributes, columns, BLOCK_FIELDS, crops))
        outline = attributes_of(table, labels, crops)
        own = notes.keep(lay_over(outline.said, labels, over, rows))
        _refuse_no_crop(own, labels, over, crops)
        notes.add(_unknown_words(own, labels, outline, over))
    made = {name: own[name].tolist() for name in own.columns if name != "row"}
    return notes.beside({"block": labels, **made, "weight": own["weight"].fillna(1.0).tolist()})


def _unknown_words(
    own: pd.DataFrame, labels: Sequence[str], outline: BlockAttributes, over: BlockAttributes | None
) -> NoteList:
    """Tell words for systems and soils that are not known, with their file, row and heading."""
    notes = NoteList()
    for kind in ("irrigation", "soil"):
        table = pd.DataFrame({"block": list(labels), "word": own[kind].tolist()}, dtype=object)
        table["word"] = [word if isinstance(word, str) else None for word in table["word"]]
        table["file"], table["column"] = outline.where, outline.headings.get(kind, kind)
        table["row"] = list(own.index)
        if over is not None:
            above = own["row"].isin(over.said.index[over.said[kind].notna()]).to_numpy()
            table.loc[above, "file"] = over.where
            table.loc[above, "column"] = over.headings.get(kind, kind)
            table.loc[above, "row"] = own["row"].to_numpy()[above]
        notes.add(unknown_words(table, kind))
    return notes


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
            table.headings.get("crop", "crop"),
        )
        for label, row in zip(pd.Series(labels)[bare.to_numpy()], own["row"][bare], strict=True)
    ]
    if problems:
        raise DataError(problems)


def read_valves(
    given: Path | InputSource | OutlineFile,
    crs: CRS,
    columns: Mapping[str, str] | None = None,
    *,
    replaced: Collection[str] = (),
) -> Noted[gpd.GeoDataFrame]:
    """Read the valve zones and bring them into the working CRS.

    Parameters
    ----------
    given : Path, InputSource or OutlineFile
        GeoJSON, GeoPackage, Shapefile, zipped Shapefile, KML or KMZ.
    crs : pyproj.CRS
        Working CRS, that of the blocks.
    columns : mapping of str to str, optional
        ``[columns]`` of the settings.
    replaced : collection of str
        Names of blocks in whose place ``[names.blocks]`` puts others: the block of a valve that names one is
        found by overlap.

    Returns
    -------
    Noted of GeoDataFrame
        As :data:`stressmap.core.schemas.VALVES`; the index, ``row``, is the row of the file.

    Raises
    ------
    DataError
        If the file cannot be read or used.
    """
    file, notes = OutlineFile.of(given), NoteList()
    source = file.source
    outlines, points = without_points(file.read(), VALVE_FIELDS, columns or {})
    outlines = notes.keep(pieces_joined(outlines, VALVE_FIELDS, columns or {}, "valve"))
    outlines = notes.keep(file.named(outlines, VALVE_FIELDS, columns or {}, "valve"))
    table = match(outlines.sheet, VALVE_FIELDS, columns or {}, required=("valve",))
    read = notes.keep(columns_of(outlines.sheet, table, VALVE_FIELDS, columns or {}))
    notes.count(RowCounts.of(table.where, "valves", outlines.sheet.rows, outlines.sheet.told, columns=read))
    named = names_of(table, "valve", unique=True, folded=True)
    made: dict[str, Any] = {
        "valve": named,
        "block": [None if text in {None, *replaced} else text for text in _folded_text(table, "block")],
        "rate_mm_h": positive(table, "rate") * _RATE_MM_H[table.unit("rate") or "mm/h"],
        "flow_m3_h": positive(table, "flow") * M3_H_PER[table.unit("flow") or "m3/h"],
        "min_hours": positive(table, "min_hours"),
        "max_hours": positive(table, "max_hours"),
        "pump": table.text("pump"),
        "source": table.text("source"),
        "gate": positive(table, "gate"),
        "checked": _dates(table, "checked"),
    }
    with workable(source.name):
        made |= _risers(table, named, [*points, *point_layers(source)], columns or {})
        drawn = drawn_of(outlines, made, "valve")
        valves = notes.keep(finished(drawn, crs, VALVES, source.name))
        return notes.beside(notes.keep(near_zones(valves, source.name)))


def _risers(
    table: Table, named: Sequence[str], layers: list[DrawnLayer], columns: Mapping[str, str]
) -> dict[str, list[float]]:
    """Find the riser of each valve: by its columns, else a point of its name; NaN where there is none."""
    points = riser_spots(layers, VALVE_FIELDS, columns)
    none = (float("nan"), float("nan"))
    own = zip(named, spots_of_columns(table), strict=True)
    found = [spot or points.get(name.casefold(), none) for name, spot in own]
    return {"riser_lon": [lon for lon, _ in found], "riser_lat": [lat for _, lat in found]}


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


def _folded_text(table: Table, column: str) -> list[str | None]:
    return [None if text is None else " ".join(text.split()) for text in table.text(column)]


def _dates(table: Table, column: str) -> pd.Series:
    """Read days, ``YYYY-MM-DD``, from such or from moments that begin with one."""
    text = table.text(column)
    day = text.astype(object).where(text.isna(), text.astype(str).str.slice(0, 10))
    known = pd.to_datetime(day, format="%Y-%m-%d", errors="coerce")
    table.refuse(column, text.notna() & known.isna(), "is not a day", "Write it as 2026-07-16")
    return pd.Series(day.where(text.notna(), None))
