"""The style inside ``ranch.gpkg`` selects what it should, evaluated by OGR on what the file really holds.

Filters as in Styled Layer Descriptor 1.0.0 (Open Geospatial Consortium 02-070, section 11.4) and Filter
Encoding 1.0.0 (02-059, section 8); from memory, cross-checked by evaluating them here.
"""

import sqlite3
from contextlib import closing

import defusedxml.ElementTree
import geopandas as gpd
import pyogrio
import pytest
import shapely

from stressmap.output.gis.geopackage import write_geopackage

SLD = "{http://www.opengis.net/sld}"
OGC = "{http://www.opengis.net/ogc}"


@pytest.fixture
def file(tmp_path):
    table = gpd.GeoDataFrame(
        {
            "name": ["a", "b", "c", "d", "guess 1", "guess 4"],
            "priority": [1, 2, 3, 4, 1, 4],
            "measured": [True] * 4 + [False] * 2,
        },
        geometry=[shapely.box(i, 0, i + 1, 1) for i in range(6)],
        crs="EPSG:32610",
    )
    write_geopackage({"valves": table, "zones": table}, tmp_path / "ranch.gpkg")
    return tmp_path / "ranch.gpkg"


def rules(file, layer: str) -> dict[str, tuple[str, str]]:
    """Each rule's name with its filter as SQL and its fill."""
    with closing(sqlite3.connect(file)) as database:
        query = "SELECT styleSLD FROM layer_styles WHERE f_table_name = ? AND useAsDefault"
        ((text,),) = database.execute(query, (layer,)).fetchall()
    found = {}
    for rule in defusedxml.ElementTree.fromstring(text).iter(f"{SLD}Rule"):
        equal = rule.find(f"{OGC}Filter/{OGC}PropertyIsEqualTo")
        column, value = equal.findtext(f"{OGC}PropertyName"), equal.findtext(f"{OGC}Literal")
        found[rule.findtext(f"{SLD}Name")] = (
            f"\"{column}\" = '{value}'",
            rule.findtext(f".//{SLD}Fill/{SLD}CssParameter"),
        )
    return found


@pytest.mark.parametrize("layer", ["valves", "zones"])
def test_every_feature_is_drawn_by_one_rule_and_guesses_as_not_measured(file, layer):
    chosen = {
        name: pyogrio.read_dataframe(file, layer=layer, where=where)["name"].tolist()
        for name, (where, _) in rules(file, layer).items()
    }
    assert chosen == {
        "1 water first": ["a"],
        "2 water next": ["b"],
        "3 watch": ["c"],
        "4 can wait": ["d"],
        "not measured": ["guess 1", "guess 4"],
    }
    assert len({fill for _, fill in rules(file, layer).values()}) == 5


@pytest.mark.parametrize("layer", ["valves", "zones"])
def test_the_filters_hold_for_text_and_for_numbers(file, layer):
    """A program may compare the literal as a number or as text; a whole number reads the same both ways."""
    table = pyogrio.read_dataframe(file, layer=layer)
    values = [where.split(" = ")[1].strip("'") for where, _ in rules(file, layer).values()]
    assert {str(v) for v in table["drawn_as"]} == set(values)
    assert {int(v) for v in values} == set(table["drawn_as"])
