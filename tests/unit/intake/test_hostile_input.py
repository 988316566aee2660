"""Files made to harm: refused or made harmless, with one clear line."""

import io
import re
import sqlite3
import zipfile
from contextlib import closing
from functools import partial
from pathlib import Path

import geopandas as gpd
import openpyxl
import pytest
from helpers.invented_ranch import settings
from shapely.geometry import box

from stressmap.core.errors import DataError, StressmapError
from stressmap.intake.blocks_and_valves import read_blocks
from stressmap.intake.readings import read_readings

LAUGHS = """<?xml version="1.0"?>
<!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>
"""
OUTSIDE = '<?xml version="1.0"?>\n<!DOCTYPE x [<!ENTITY passwords SYSTEM "file:///etc/passwd">]>\n'
OUTER_DTD = '<?xml version="1.0"?>\n<!DOCTYPE gpx SYSTEM "http://example.org/gpx.dtd">\n'
GPX = '<gpx xmlns="http://www.topografix.com/GPX/1/1"><wpt lat="38" lon="-121"><name>{}</name></wpt></gpx>'
KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><name>{}</name><Polygon><outerBoundaryIs>'
    "<LinearRing><coordinates>-121,38 -120.99,38 -120.99,38.01 -121,38</coordinates></LinearRing>"
    "</outerBoundaryIs></Polygon></Placemark></kml>"
)


def refused(path: Path) -> str:
    """The message with which readings or blocks are refused, the path cut to its name."""
    polygons = path.suffix in {".kml", ".kmz", ".zip"}
    read = partial(read_blocks, path, None) if polygons else partial(read_readings, path, settings())
    with pytest.raises(DataError) as error:
        read()
    return str(error.value).replace(str(path), path.name)


def test_two_hundred_megabytes_are_not_read(tmp_path: Path) -> None:
    path = tmp_path / "long.csv"
    with path.open("wb") as file:
        file.truncate(200_000_000)
    assert refused(path) == ("long.csv: it has 200 MB; at most 100 MB are read. Cut it to what is needed.")


def test_blocks_at_the_pole_are_refused(tmp_path: Path) -> None:
    """Found by a coverage-guided fuzzer, which moved the decimal point."""
    path = tmp_path / "pole.kml"
    crop = "</name><description>crop: prune</description>"
    path.write_text(KML.format("B1").replace("</name>", crop).replace(",38", ",88"))
    assert refused(path) == (
        "pole.kml: no UTM zone holds its polygons, which would lie at a pole or off the earth. "
        "Correct their coordinates or their CRS."
    )


def test_one_endless_line_is_not_parsed(tmp_path: Path) -> None:
    path = tmp_path / "line.csv"
    path.write_bytes(b"tree_id,time,lon,lat,pressure_bar," * 1_000_000)
    assert refused(path) == (
        "line.csv: its first line is longer than 131,068 characters. Give a table with a line per row."
    )


def test_one_endless_cell_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "cell.csv"
    path.write_text("tree_id,time,lon,lat,pressure_bar\n" + "x" * 500_000 + ",2026-07-14 13:00,-121,38,12\n")
    assert refused(path) == "cell.csv, row 2: a cell is too long. Close it, or remove it."


def test_a_zip_bomb_is_not_unpacked(tmp_path: Path) -> None:
    path = tmp_path / "bomb.xlsx"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as packed:
        for part in range(4):
            with packed.open(f"xl/worksheets/sheet{part}.xml", "w") as sheet:
                for _ in range(80):
                    sheet.write(bytes(1_000_000))
    assert path.stat().st_size < 2_000_000
    assert refused(path) == (
        "bomb.xlsx: it unpacks to 320 MB; at most 300 MB are read. Save it again with only what is needed."
    )


def test_a_zip_that_lies_about_its_size_gives_no_more_than_it_says(tmp_path: Path) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", b" " * 1_000_000)
    lying = packed.getvalue().replace((1_000_000).to_bytes(4, "little"), (10).to_bytes(4, "little"))
    path = tmp_path / "lying.xlsx"
    path.write_bytes(lying)
    assert refused(path) == (
        "lying.xlsx: '[Content_Types].xml' in it cannot be unpacked (Bad CRC-32 for file "
        "'[Content_Types].xml'). Pack or copy it again, without a password."
    )


def test_a_workbook_with_entities_is_refused(tmp_path: Path) -> None:
    assert openpyxl.DEFUSEDXML
    path = tmp_path / "entities.xlsx"
    source = Path(__file__).parents[2] / "awkward" / "readings" / "workbook.xlsx"
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name.endswith("sheet1.xml"):
                text = LAUGHS.encode() + re.sub(rb"<\?xml[^>]*\?>", b"", text)
            new.writestr(name, text)
    assert refused(path) == (
        "entities.xlsx: it cannot be read as a workbook (ValueError). Save it again as .xlsx or CSV."
    )


@pytest.mark.parametrize("prolog", [LAUGHS, OUTSIDE, OUTER_DTD])
@pytest.mark.parametrize(("suffix", "body"), [("gpx", GPX), ("kml", KML)])
def test_entities_and_document_types_are_refused(tmp_path: Path, prolog: str, suffix: str, body: str) -> None:
    path = tmp_path / f"evil.{suffix}"
    path.write_text(prolog + body.format("&c; &passwords;"))
    assert refused(path) == (
        f"evil.{suffix}: it declares a document type or entities, which are not read. "
        "Export it again from the program that made it."
    )


def test_entities_in_a_packed_kml_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "evil.kmz"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("doc.kml", OUTSIDE + KML.format("&passwords;"))
    assert "it declares a document type or entities, which are not read." in refused(path)


@pytest.mark.parametrize("name", ["../../evil.shp", "/etc/evil.shp", "..\\evil.shp", "C:\\evil.shp"])
def test_a_zip_that_leads_out_of_itself_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / "blocks.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr(name, b"x")
    assert refused(path) == (
        f"blocks.zip: it holds a path that leads out of it ({name!r}). Zip the shapefile again."
    )
    assert [p.name for p in tmp_path.iterdir()] == ["blocks.zip"]


def test_json_nested_without_end_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "deep.geojson"
    path.write_text('{"type": "FeatureCollection", "features": ' + "[" * 200_000)
    assert refused(path) == (
        "deep.geojson: it is not a GeoJSON FeatureCollection. Export the readings again as GeoJSON."
    )


def test_a_number_without_end_is_no_number(tmp_path: Path) -> None:
    path = tmp_path / "digits.csv"
    path.write_text("tree_id,time,lon,lat,pressure_bar\nT1,2026-07-14 13:00,-121,38," + "9" * 5000 + "\n")
    assert refused(path).startswith("digits.csv, row 2, column pressure_bar: '99999")


def test_hostile_names_are_kept_as_text(tmp_path: Path) -> None:
    path = tmp_path / "blocks.geojson"
    names = ["<script>alert(1)</script>", "../../x", "=1+1", "__class__"]
    shapes = [box(-121 + i / 100, 38, -120.995 + i / 100, 38.005) for i in range(4)]
    table = gpd.GeoDataFrame({"block": names, "crop": "prune"}, geometry=shapes, crs="EPSG:4326")
    table.to_file(path, driver="GeoJSON")
    assert read_blocks(path, None).value["block"].tolist() == names


@pytest.fixture
def package(tmp_path: Path) -> Path:
    path = tmp_path / "made.gpkg"
    table = gpd.GeoDataFrame({"tree_id": ["T1"]}, geometry=[box(0, 0, 1, 1).centroid], crs="EPSG:4326")
    table.to_file(path, driver="GPKG", layer="readings")
    return path


def altered(path: Path, statement: str) -> None:
    with closing(sqlite3.connect(path)) as opened:
        opened.execute("PRAGMA writable_schema = ON")
        opened.execute(statement)
        opened.commit()


@pytest.mark.parametrize(
    "made",
    [
        "sql = CAST(sql AS BLOB)",
        "sql = sql || CAST(X'2D2DC6' AS TEXT)",
        "name = CAST(X'C6' AS TEXT), sql = '('",
    ],
)
def test_a_geopackage_whose_list_of_tables_is_no_text_is_refused(package: Path, made: str) -> None:
    """Found by a coverage-guided fuzzer, which flipped bytes of the list."""
    altered(package, f"UPDATE sqlite_master SET {made} WHERE type = 'trigger'")
    told = refused(package)
    assert re.fullmatch(r"made.gpkg: it cannot be read as a GeoPackage \(.+\)\. Export it again\.", told)
    assert "list of tables is damaged" in told or "decode" in told


def test_a_geopackage_with_a_view_or_a_computed_column_is_refused(package: Path) -> None:
    """A view can join a table with itself without end."""
    altered(package, "CREATE VIEW many AS SELECT a.* FROM readings a, readings b, readings c")
    assert refused(package) == (
        "made.gpkg: its table 'many' is a view or has computed columns, which are not read. "
        "Export the layer again, to a file of its own."
    )


@pytest.mark.parametrize(("drawn_in", "working"), [("IAU_2015:30100", None), ("EPSG:4326", "ESRI:103881")])
def test_a_ranch_on_the_moon_is_refused(tmp_path: Path, drawn_in: str, working: str | None) -> None:
    """Found by a coverage-guided fuzzer, which flipped bytes of a projection file."""
    path = tmp_path / "moon.gpkg"
    table = gpd.GeoDataFrame({"block": ["B"], "crop": ["prune"]}, geometry=[box(10, 10, 10.01, 10.01)])
    table.set_crs(drawn_in).to_file(path, driver="GPKG")
    with pytest.raises(StressmapError) as error:
        read_blocks(path, working)
    assert "moon.gpkg: its outlines cannot be brought into the working CRS (" in str(error.value)
    assert str(error.value).endswith("Correct its CRS, or [ranch] crs.")
