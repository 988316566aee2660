"""Blocks and valve zones from the files that GIS programs write.

GeoJSON, GeoPackage, Shapefile and zipped Shapefile are opened by GDAL; a zip is read in place and never
unpacked. A polygon that crosses itself is mended, and said; what cannot be mended is an error with its row
(the row of the attribute table, the header being row 1).
"""

from __future__ import annotations

import unicodedata
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError

from stressmap.errors import DataError, Notes, Problem, SettingsError
from stressmap.intake.schemas import BLOCKS, VALVES, conform

BLOCK_SPELLINGS = {
    "block": ("block", "block_id", "block_name", "bloque", "lote", "cuadro"),
    "crop": ("crop", "cultivo"),
    "variety": ("variety", "variedad", "cultivar"),
    "planted": ("planted", "year_planted", "plant_year", "plantado", "ano_plantacion"),
    "irrigation": ("irrigation", "system", "riego", "sistema_de_riego"),
    "weight": ("weight", "peso"),
    "harvest": ("harvest", "harvest_date", "cosecha"),
    "soil": ("soil", "soil_texture", "suelo"),
}
VALVE_SPELLINGS = {
    "valve": ("valve", "valve_id", "valve_name", "valvula", "llave"),
    "block": BLOCK_SPELLINGS["block"],
    "rate_mm_h": ("rate_mm_h", "mm_h"),
    "flow_m3_h": ("flow_m3_h", "m3_h", "caudal_m3_h"),
    "min_hours": ("min_hours", "horas_min"),
    "max_hours": ("max_hours", "horas_max"),
    "pump": ("pump", "bomba"),
}
NUMBERS = ("weight", "rate_mm_h", "flow_m3_h", "min_hours", "max_hours")


def read_blocks(path: Path, crs: str | None, notes: Notes) -> gpd.GeoDataFrame:
    """Read the blocks and bring them into the working CRS.

    Parameters
    ----------
    path : Path
        GeoJSON, GeoPackage, Shapefile or zipped Shapefile.
    crs : str or None
        ``[ranch] crs``; None for the UTM zone of the blocks.
    notes : Notes
        Gets what was mended.

    Returns
    -------
    GeoDataFrame
        As :data:`stressmap.intake.schemas.BLOCKS`.

    Raises
    ------
    DataError
        If the file cannot be read or used.
    SettingsError
        If ``crs`` is not a projected CRS in metres.
    """
    raw = _open(path)
    table = _renamed(raw, BLOCK_SPELLINGS, path)
    _require(table, "block", path)
    _require(table, "crop", path)
    table["block"] = _names(table, "block", path)
    table["crop"] = [_crop_key(v) for v in _names(table, "crop", path, unique=False)]
    table["planted"] = _years(table, path)
    table = _numbered(table, path)
    table["weight"] = table["weight"].fillna(1.0) if "weight" in table else 1.0
    table["harvest"] = [_month_day(v) for v in table["harvest"]] if "harvest" in table else None
    table.geometry = _mended(table, path, notes)
    table = table.to_crs(_working_crs(table, crs))
    return gpd.GeoDataFrame(conform(table, BLOCKS, str(path)), crs=table.crs)


def read_valves(path: Path, crs: CRS, notes: Notes) -> gpd.GeoDataFrame:
    """Read the valve zones and bring them into the working CRS.

    Parameters
    ----------
    path : Path
        GeoJSON, GeoPackage, Shapefile or zipped Shapefile.
    crs : pyproj.CRS
        Working CRS, that of the blocks.
    notes : Notes
        Gets what was mended.

    Returns
    -------
    GeoDataFrame
        As :data:`stressmap.intake.schemas.VALVES`.

    Raises
    ------
    DataError
        If the file cannot be read or used.
    """
    table = _renamed(_open(path), VALVE_SPELLINGS, path)
    _require(table, "valve", path)
    table["valve"] = _names(table, "valve", path)
    if "block" in table:
        table["block"] = [_text(v) for v in table["block"]]
    table = _numbered(table, path)
    table.geometry = _mended(table, path, notes)
    table = table.to_crs(crs)
    return gpd.GeoDataFrame(conform(table, VALVES, str(path)), crs=table.crs)


def blocks_as_valves(blocks: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Take each block as one valve zone, for a ranch without a valves file.

    Parameters
    ----------
    blocks : GeoDataFrame
        As :data:`stressmap.intake.schemas.BLOCKS`.

    Returns
    -------
    GeoDataFrame
        As :data:`stressmap.intake.schemas.VALVES`; a valve zone has its block's name.
    """
    table = blocks[["block", "geometry"]].assign(valve=blocks["block"])
    return gpd.GeoDataFrame(conform(table, VALVES, "blocks"), crs=blocks.crs)


def _open(path: Path) -> gpd.GeoDataFrame:
    where = str(path)
    if not path.exists():
        raise DataError(Problem(where, "there is no such file", "Correct the path"))
    try:
        layer = _polygon_layer(path)
        table = gpd.read_file(path, layer=layer, engine="pyogrio")
    except DataError:
        raise
    except Exception as error:
        what = f"it cannot be read as a polygon file ({str(error).splitlines()[0]})"
        raise DataError(Problem(where, what, "Export it again as GeoJSON or GeoPackage")) from None
    if not isinstance(table, gpd.GeoDataFrame) or len(table) == 0:
        raise DataError(Problem(where, "it holds no polygons", "Export the polygons again"))
    if table.crs is None:
        remedy = "Export it again with its CRS (a shapefile needs its .prj)"
        raise DataError(Problem(where, "it has no coordinate reference system (CRS)", remedy))
    return table.reset_index(drop=True)


def _polygon_layer(path: Path) -> str:
    layers = pyogrio.list_layers(path)
    named = [str(name) for name, kind in layers if kind is not None and "Polygon" in str(kind)]
    usable = named or [str(name) for name, kind in layers if kind == "Unknown"]
    if len(usable) == 1:
        return usable[0]
    if not usable:
        raise DataError(Problem(str(path), "it holds no polygons", "Export the polygons again"))
    what = f"it has {len(usable)} polygon layers ({', '.join(usable)})"
    raise DataError(Problem(str(path), what, "Save the one that counts as a file of its own"))


def _key(name: object) -> str:
    plain = unicodedata.normalize("NFKD", str(name)).encode("ascii", "ignore").decode()
    return "_".join(plain.lower().replace("-", " ").replace("_", " ").split())


def _renamed(raw: gpd.GeoDataFrame, spellings: dict[str, tuple[str, ...]], path: Path) -> gpd.GeoDataFrame:
    """Give the columns our names; two candidates for one name are an error."""
    picked: dict[str, str] = {}
    for ours, known in spellings.items():
        found = [c for c in raw.columns if c != raw.geometry.name and _key(c) in known]
        exact = [c for c in found if c == ours]
        if len(found) > 1 and not exact:
            what = f"columns {', '.join(repr(str(c)) for c in found)} could all be {ours!r}"
            raise DataError(Problem(str(path), what, "Keep one of them"))
        if found:
            picked[(exact or found)[0]] = ours
    table = raw[[*picked, raw.geometry.name]].rename(columns=picked)
    return table.rename_geometry("geometry") if raw.geometry.name != "geometry" else table


def _require(table: gpd.GeoDataFrame, column: str, path: Path) -> None:
    if column not in table:
        others = ", ".join(str(c) for c in table.columns if c != "geometry") or "none"
        what = f"there is no column {column!r} (recognised columns: {others})"
        raise DataError(Problem(str(path), what, f"Add a column {column!r}"))


def _text(value: Any) -> str | None:
    if value is None or (not isinstance(value, str) and pd.isna(value)):
        return None
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return " ".join(str(value).split()) or None


def _names(table: gpd.GeoDataFrame, column: str, path: Path, *, unique: bool = True) -> list[str]:
    names = [_text(v) for v in table[column]]
    problems, seen = [], dict[str, int]()
    for row, name in enumerate(names, start=2):
        if name is None:
            problems.append(Problem(str(path), "the name is empty", "Name it", row=row, column=column))
        elif unique and name in seen:
            what = f"{name!r} stands in row {seen[name]} too"
            problems.append(Problem(str(path), what, f"Give each {column} its own name", row, column))
        else:
            seen.setdefault(name, row)
    if problems:
        raise DataError(problems)
    return [str(n) for n in names]


def _crop_key(name: str) -> str:
    return _key(name)


def _numbered(table: gpd.GeoDataFrame, path: Path) -> gpd.GeoDataFrame:
    for column in [c for c in NUMBERS if c in table]:
        numbers = pd.to_numeric(table[column].map(_decimal_point), errors="coerce").astype(float)
        text = table[column].map(_text)
        wrong = text.notna() & (numbers.isna() | (numbers < 0) | ((numbers == 0) & (column == "weight")))
        if wrong.any():
            raise DataError(
                [
                    Problem(str(path), f"{text[i]!r} is not a positive number", "Correct it", i + 2, column)
                    for i in table.index[wrong]
                ]
            )
        table[column] = numbers
    return table


def _decimal_point(value: Any) -> Any:
    return value.replace(",", ".") if isinstance(value, str) else value


def _years(table: gpd.GeoDataFrame, path: Path) -> list[float]:
    """Read ``planted`` as a year, from a year or a date."""
    years = []
    for row, value in enumerate(table["planted"] if "planted" in table else [None] * len(table), start=2):
        text = _text(value)
        if text is None:
            years.append(float("nan"))
            continue
        if not text[:4].isdigit() or not 1900 <= int(text[:4]) <= 2100:
            what = f"{text!r} is not a year"
            raise DataError(Problem(str(path), what, "Write the year of planting", row, "planted"))
        years.append(float(text[:4]))
    return years


def _month_day(value: Any) -> str | None:
    if isinstance(value, pd.Timestamp):
        return value.strftime("%m-%d")
    text = _text(value)
    return text[-5:] if text else None


def _mended(table: gpd.GeoDataFrame, path: Path, notes: Notes) -> gpd.GeoSeries:
    """Make every geometry a valid polygon, or say in which row that cannot be."""
    name = "block" if "valve" not in table else "valve"
    shapes = []
    for row, (label, shape) in enumerate(zip(table[name], table.geometry, strict=True), start=2):
        if shape is None or shape.is_empty:
            raise DataError(Problem(str(path), f"{label!r} has no polygon", "Draw it", row=row))
        if shape.geom_type not in {"Polygon", "MultiPolygon", "GeometryCollection"}:
            what = f"{label!r} is a {shape.geom_type}, not a polygon"
            raise DataError(Problem(str(path), what, "Draw its outline as a polygon", row=row))
        shapes.append(_polygonal(shape, f"{path.name}, row {row}: {name} {label!r}", notes))
        if shapes[-1].is_empty:
            raise DataError(Problem(str(path), f"the polygon of {label!r} has no area", "Redraw it", row=row))
    return gpd.GeoSeries(shapes, index=table.index, crs=table.crs)


def _polygonal(shape: Any, label: str, notes: Notes) -> Any:
    flat = shapely.force_2d(shape)
    if flat.is_valid and flat.geom_type != "GeometryCollection":
        return flat
    mended = shapely.make_valid(flat, method="structure", keep_collapsed=False)
    parts = [p for p in shapely.get_parts(mended) if p.geom_type in {"Polygon", "MultiPolygon"}]
    reason = shapely.is_valid_reason(flat).split("[")[0].strip().lower()
    notes.say(f"{label} crosses or touches itself ({reason}); its outline was mended.")
    return shapely.union_all(parts)


def _working_crs(table: gpd.GeoDataFrame, crs: str | None) -> CRS:
    if crs is None:
        return CRS(table.estimate_utm_crs())
    try:
        chosen = CRS.from_user_input(crs)
    except CRSError:
        problem = Problem(
            "ranch.toml", f"{crs!r} is not a CRS", "Write an EPSG code such as EPSG:32610", None
        )
        raise SettingsError(problem) from None
    if not chosen.is_projected or any(axis.unit_name != "metre" for axis in chosen.axis_info[:2]):
        what = f"{crs!r} is not a projected CRS in metres"
        raise SettingsError(
            Problem("ranch.toml", what, "Leave it out, or name the UTM zone", column="ranch.crs")
        )
    return chosen
