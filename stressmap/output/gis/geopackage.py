"""Everything in one GeoPackage, styled by priority for general GIS programs.

Styles lie in the table ``layer_styles``, where GIS programs that keep styles in a GeoPackage look for them,
as Styled Layer Descriptor 1.0.0 (Open Geospatial Consortium 02-070).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas as gpd
import pandas as pd
import pyogrio

from stressmap.output.gis.csv_tables import tidy
from stressmap.output.view.palette import NOT_MEASURED, PRIORITY
from stressmap.zoning.ranking import LABELS

FIXED_DATE = "2000-01-01T00:00:00.000Z"
"""GeoPackage stamps its tables with the time of writing; a fixed stamp makes equal runs equal bytes."""


DRAWN_AS = "drawn_as"
"""Column that the styles select by: the priority, or 0 where the block was not measured. A whole number,
because GeoPackage keeps true and false as 1 and 0, and programs differ in which a filter must name."""

SLD = """<?xml version="1.0" encoding="UTF-8"?>
<StyledLayerDescriptor xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc"
 version="1.0.0">
<NamedLayer><Name>{layer}</Name><UserStyle><Name>priority</Name><FeatureTypeStyle>
{rules}
</FeatureTypeStyle></UserStyle></NamedLayer>
</StyledLayerDescriptor>
"""
RULE = """<Rule><Name>{name}</Name>
<ogc:Filter><ogc:PropertyIsEqualTo>
<ogc:PropertyName>{column}</ogc:PropertyName><ogc:Literal>{value}</ogc:Literal>
</ogc:PropertyIsEqualTo></ogc:Filter>
<PolygonSymbolizer>
<Fill><CssParameter name="fill">{fill}</CssParameter></Fill>
<Stroke><CssParameter name="stroke">#111111</CssParameter>{dashes}</Stroke>
</PolygonSymbolizer></Rule>"""
DASHES = '<CssParameter name="stroke-dasharray">4 3</CssParameter>'
STYLE_TABLE = """
CREATE TABLE layer_styles (id INTEGER PRIMARY KEY AUTOINCREMENT NOT NULL, f_table_catalog TEXT,
f_table_schema TEXT, f_table_name TEXT, f_geometry_column TEXT, styleName TEXT, styleQML TEXT, styleSLD TEXT,
useAsDefault BOOLEAN, description TEXT, owner TEXT, ui TEXT, update_time DATETIME)
"""


@contextmanager
def _fixed_stamp() -> Iterator[None]:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": FIXED_DATE})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})


def write_geopackage(layers: dict[str, gpd.GeoDataFrame], path: Path) -> None:
    """Write tables as the layers of one file.

    Parameters
    ----------
    layers : dict of GeoDataFrame
        By layer name, in the working CRS; those with a priority get the column :data:`DRAWN_AS` and a style.
    path : Path
        File to write; it must not exist.
    """
    with _fixed_stamp():
        for name, given in layers.items():
            table = _drawn_as(given) if _ranked(given) else given
            kind = "Point" if name == "readings" else "MultiPolygon"
            gpd.GeoDataFrame(tidy(table), crs=table.crs).to_file(
                path,
                layer=name,
                driver="GPKG",
                engine="pyogrio",
                geometry_type=kind,
                promote_to_multi=kind == "MultiPolygon",
            )
    with closing(sqlite3.connect(path)) as database, database:
        _add_styles(database, [name for name, table in layers.items() if _ranked(table)])


def write_tables(tables: dict[str, pd.DataFrame], path: Path) -> None:
    """Write tables, with places or without, as the layers of one file, as they are and without styles.

    Parameters
    ----------
    tables : dict of DataFrame or GeoDataFrame
        By layer name; places are points.
    path : Path
        File to write; it must not exist.
    """
    with _fixed_stamp():
        for name, table in tables.items():
            kind = {"geometry_type": "Point"} if isinstance(table, gpd.GeoDataFrame) else {}
            pyogrio.write_dataframe(table, path, layer=name, driver="GPKG", **kind)


def _ranked(table: gpd.GeoDataFrame) -> bool:
    return {"priority", "measured"} <= set(table.columns)


def _drawn_as(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return table.assign(**{DRAWN_AS: table["priority"].where(table["measured"], 0).astype("int32")})


def style_of(layer: str) -> str:
    """Write the style of a layer by priority.

    Parameters
    ----------
    layer : str
        ``"blocks"``, ``"valves"`` or ``"zones"``.

    Returns
    -------
    str
        Styled Layer Descriptor 1.0.0.
    """
    classes = [(number, f"{number} {LABELS[number][0]}", fill, "") for number, fill in PRIORITY.items()]
    rules = [
        RULE.format(name=escape(name), column=DRAWN_AS, value=value, fill=fill, dashes=dashes)
        for value, name, fill, dashes in [*classes, (0, "not measured", NOT_MEASURED, DASHES)]
    ]
    return SLD.format(layer=layer, rules="\n".join(rules))


def _add_styles(database: sqlite3.Connection, layers: list[str]) -> None:
    database.execute(STYLE_TABLE)
    database.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, description, last_change, srs_id) "
        "VALUES ('layer_styles', 'attributes', 'layer_styles', '', ?, 0)",
        (FIXED_DATE,),
    )
    for layer in layers:
        database.execute(
            "INSERT INTO layer_styles (f_table_catalog, f_table_schema, f_table_name, f_geometry_column, "
            "styleName, styleSLD, useAsDefault, description, owner, update_time) "
            "VALUES ('', '', ?, 'geom', 'priority', ?, 1, 'by priority', '', ?)",
            (layer, style_of(layer), FIXED_DATE),
        )
