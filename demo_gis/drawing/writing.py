"""Files, the same bytes every time: fixed decimals, fixed order, no dates of today."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from drawing.ground import Frame, block_shapes, to_degrees
from drawing.irrigation import valve_data
from drawing.plans import Dialect, Ranch


def _csv(table: pd.DataFrame, path: Path, dialect: Dialect) -> None:
    table.to_csv(path, index=False, sep=dialect.separator, lineterminator="\n", encoding="utf-8")


def _decimal(values: Any, places: int, dialect: Dialect) -> list[str]:
    """Write numbers with so many decimals in the ranch's dialect, nothing where there is none."""
    return ["" if pd.isna(v) else f"{v:.{places}f}".replace(".", dialect.decimal) for v in values]


def readings(table: pd.DataFrame, path: Path, ranch: Ranch) -> None:
    """Write the readings as the crews would."""
    dialect = ranch.dialect
    # A row typed in megapascals among bars keeps the second decimal that people write there.
    places = np.where((table["dirt"] == "unit_suspect") | (dialect.unit_bar == 10.0), 2, 1)
    pressure = [
        _decimal([p], int(n), dialect)[0]
        for p, n in zip(table["pressure"] / dialect.unit_bar, places, strict=True)
    ]
    recheck = [
        _decimal([p], int(n), dialect)[0]
        for p, n in zip(table["recheck"].astype(float) / dialect.unit_bar, places, strict=True)
    ]
    columns = [
        table["tree_id"], table["time"].dt.strftime(dialect.time), _decimal(table["lon"], 6, dialect),
        _decimal(table["lat"], 6, dialect), pressure, recheck, table["bagged"].dt.strftime(dialect.time),
        table["chamber"], table["crew"], table["leaf"], table["note"],
    ]  # fmt: skip
    _csv(pd.DataFrame(dict(zip(dialect.header, columns, strict=True))), path, dialect)


def weather(table: pd.DataFrame, path: Path, dialect: Dialect) -> None:
    """Write the station's hours."""
    out = pd.DataFrame({"time": table["time"].dt.strftime(dialect.time)})
    for name, places in (("temp_c", 1), ("rh_pct", 0), ("wind_m_s", 1), ("solar_w_m2", 0)):
        out[name] = _decimal(table[name], places, dialect)
    _csv(out, path, dialect)


def irrigation(table: pd.DataFrame, path: Path, dialect: Dialect) -> None:
    """Write the log of sets."""
    out = pd.DataFrame(
        {
            "valve": table["valve"],
            "start": table["start"].dt.strftime(dialect.time),
            "end": table["end"].dt.strftime(dialect.time),
        }
    )
    _csv(out, path, dialect)


def truth(valves: pd.DataFrame, table: pd.DataFrame, faults: pd.DataFrame, folder: Path) -> None:
    """Write what the readings were drawn from, always with commas and points."""
    for name in valves.columns[valves.columns.str.endswith(("_bar", "_ha"))]:
        valves[name] = [f"{value:.3f}" for value in valves[name]]
    if "depletion_mm" in valves.columns:
        valves["depletion_mm"] = [f"{value:.1f}" for value in valves["depletion_mm"]]
    faults.to_csv(folder / "truth_faults.csv", index=False, lineterminator="\n")
    valves.to_csv(folder / "truth_valves.csv", index=False, lineterminator="\n")
    rows = pd.DataFrame(
        {
            "row": np.arange(2, len(table) + 2),
            "tree_id": table["tree_id"],
            "block": table["block"],
            "valve": table["valve"],
            "swp_bar": [f"{value:.2f}" for value in table["swp_bar"]],
            "dirt": table["dirt"],
        }
    )
    rows.to_csv(folder / "truth_readings.csv", index=False, lineterminator="\n")


def blocks(zones: pd.DataFrame, path: Path, ranch: Ranch) -> None:
    """Write the blocks by RFC 7946, a feature a line."""
    shapes = block_shapes(zones, Frame(ranch))
    properties = {
        b.name: {
            "block": b.name, "crop": b.crop, "variety": b.variety, "planted": b.planted,
            "irrigation": b.irrigation, "weight": b.weight, **({"soil": b.soil} if b.soil else {}),
            **_rows(ranch, b.crop),
        }
        for b in ranch.blocks
    }  # fmt: skip
    _geojson([(properties[name], shape) for name, shape in shapes.items()], path)


def _rows(ranch: Ranch, crop: str) -> dict[str, float]:
    """Tell how the rows of a crop's blocks run, where the ranch's people know it."""
    if not ranch.knows_rows:
        return {}
    planted = ranch.crops[crop]
    return {
        "row_spacing_m": planted.row_m,
        "tree_spacing_m": planted.tree_m,
        "row_bearing": round(-ranch.turn_deg % 360, 1),
    }


def valves_geojson(zones: pd.DataFrame, path: Path, ranch: Ranch) -> None:
    """Write the valve zones by RFC 7946."""
    data = valve_data(ranch, zones)
    properties = data.astype(object).where(data.notna(), None).to_dict("records")
    shapes = [to_degrees(shape, Frame(ranch)) for shape in zones["shape"]]
    _geojson(list(zip(properties, shapes, strict=True)), path)


def _geojson(features: list[tuple[dict[str, Any], Any]], path: Path) -> None:
    lines = [
        json.dumps(
            {"type": "Feature", "properties": properties, "geometry": shapely.geometry.mapping(shape)},
            ensure_ascii=False,
        )
        for properties, shape in features
    ]
    text = '{"type": "FeatureCollection", "features": [\n' + ",\n".join(lines) + "\n]}\n"
    path.write_text(text, encoding="utf-8", newline="\n")


def valves_geopackage(zones: pd.DataFrame, path: Path, ranch: Ranch) -> None:
    """Write the valve zones as a GeoPackage whose time stamps are those of the ranch's season."""
    shapes = [to_degrees(shape, Frame(ranch)) for shape in zones["shape"]]
    layer = gpd.GeoDataFrame(valve_data(ranch, zones), geometry=shapes, crs=4326)
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": f"{ranch.climate.start}T00:00:00.000Z"})
    try:
        layer.to_file(path, layer="valves", driver="GPKG", engine="pyogrio")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
