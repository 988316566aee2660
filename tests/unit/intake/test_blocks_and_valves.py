"""Blocks and valves in whatever a GIS writes: the same table, or one clear line."""

import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from helpers.invented_ranch import CRS
from helpers.told import english
from shapely.geometry import box

from stressmap.core.errors import DataError, SettingsError
from stressmap.intake.blocks_and_valves import read_blocks, read_valves
from stressmap.intake.polygon_repair import without_drawing
from stressmap.output.text.note_words import sentences
from stressmap.output.text.words import Words

X, Y = 600_000.0, 4_300_000.0
SHAPES = [box(X, Y, X + 200, Y + 200), box(X + 220, Y, X + 420, Y + 200)]
BLOCKS = gpd.GeoDataFrame(
    {"block": ["North", "South 2"], "crop": ["prune", "almond"]}, geometry=SHAPES, crs=CRS
)
KML_PLACEMARK = """<Placemark><name>{name}</name>{data}<MultiGeometry><Polygon><outerBoundaryIs><LinearRing>
<coordinates>{ring}</coordinates></LinearRing></outerBoundaryIs>{inner}</Polygon></MultiGeometry></Placemark>"""


def read(path: Path, crs: str | None = CRS, **columns: str) -> gpd.GeoDataFrame:
    return read_blocks(path, crs, columns).value


def message(path: Path, **options: object) -> str:
    with pytest.raises(DataError) as error:
        read(path, **options)
    return str(error.value).replace(str(path), path.name)


def same(table: gpd.GeoDataFrame, tolerance_m: float = 0.01) -> None:
    assert table["block"].tolist() == BLOCKS["block"].tolist()
    assert table["crop"].tolist() == BLOCKS["crop"].tolist()
    assert table.crs == CRS
    distance = shapely.hausdorff_distance(table.geometry.to_numpy(), BLOCKS.geometry.to_numpy())
    assert distance.max() < tolerance_m


def kml(data: list[str], inner: str = "") -> str:
    degrees = BLOCKS.to_crs("EPSG:4326")
    marks = [
        KML_PLACEMARK.format(
            name=name,
            data=extra,
            ring="\n".join(f"{x:.9f},{y:.9f},12" for x, y in shape.exterior.coords),
            inner=inner,
        )
        for name, extra, shape in zip(degrees["block"], data, degrees.geometry, strict=True)
    ]
    point = "<Placemark><name>Gate</name><Point><coordinates>-121,38</coordinates></Point></Placemark>"
    return (
        '<?xml version="1.0" encoding="UTF-8"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder>'
        + point
        + "".join(marks)
        + "</Folder></Document></kml>"
    )


EXTENDED = [
    f'<ExtendedData><Data name="Cultivo"><value>{crop}</value></Data></ExtendedData>'
    for crop in BLOCKS["crop"]
]
SCHEMA = [
    f'<ExtendedData><SchemaData schemaUrl="#s"><SimpleData name="CROP">{crop}</SimpleData></SchemaData>'
    "</ExtendedData>"
    for crop in BLOCKS["crop"]
]
DESCRIBED = [f"<description>crop: {crop}; planted=2009</description>" for crop in BLOCKS["crop"]]


@pytest.mark.parametrize("driver", ["GeoJSON", "GPKG", "ESRI Shapefile"])
@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:32610", "EPSG:2226", "EPSG:3857", "EPSG:32611"])
def test_any_format_in_any_crs_feet_too(tmp_path: Path, driver: str, crs: str) -> None:
    path = tmp_path / ("blocks." + {"GeoJSON": "geojson", "GPKG": "gpkg", "ESRI Shapefile": "shp"}[driver])
    BLOCKS.to_crs(crs).to_file(path, driver=driver)
    same(read(path), tolerance_m=0.05)


@pytest.mark.parametrize("data", [EXTENDED, SCHEMA, DESCRIBED])
def test_kml_with_its_attributes_wherever_they_stand(tmp_path: Path, data: list[str]) -> None:
    path = tmp_path / "blocks.kml"
    path.write_text(kml(data), encoding="utf-8")
    same(read(path))


def test_packed_kml(tmp_path: Path) -> None:
    path = tmp_path / "blocks.kmz"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("doc.kml", kml(EXTENDED))
    same(read(path))


def test_kml_keeps_holes(tmp_path: Path) -> None:
    hole = gpd.GeoSeries([box(X + 50, Y + 50, X + 60, Y + 60)], crs=CRS).to_crs("EPSG:4326")[0]
    ring = " ".join(f"{x:.9f},{y:.9f}" for x, y in hole.exterior.coords)
    inner = f"<innerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing></innerBoundaryIs>"
    path = tmp_path / "blocks.kml"
    path.write_text(kml(EXTENDED, inner), encoding="utf-8")
    assert read(path).geometry.iloc[0].area == pytest.approx(200 * 200 - 100, abs=0.5)


@pytest.mark.parametrize("folder", ["", "export/july/"])
def test_a_zipped_shapefile_whatever_folder_it_is_in(tmp_path: Path, folder: str) -> None:
    BLOCKS.to_file(tmp_path / "b.shp")
    path = tmp_path / "blocks.zip"
    with zipfile.ZipFile(path, "w") as packed:
        for part in sorted(tmp_path.glob("b.*")):
            packed.write(part, f"{folder}{part.name}")
        packed.writestr("__MACOSX/._b.shp", b"")
        packed.writestr("read me.txt", "hello")
    same(read(path))


def test_a_zip_of_two_shapefiles_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "blocks.zip"
    with zipfile.ZipFile(path, "w") as packed:
        packed.writestr("a.shp", b"")
        packed.writestr("b.shp", b"")
    assert message(path) == (
        "blocks.zip: it holds 2 layers (a.shp, b.shp). Zip one shapefile with its .shx, .dbf and .prj."
    )


def test_spellings_in_spanish_and_crops_as_the_file_names_them(tmp_path: Path) -> None:
    path = tmp_path / "blocks.geojson"
    table = BLOCKS.rename(columns={"block": "Lote", "crop": "Cultivo"}).assign(
        Cultivo=["Ciruelo", "Almendros"]
    )
    table.assign(Variedad="French", Plantado="2008-03-01", Peso="1,5").to_file(path, driver="GeoJSON")
    found = read(path)
    assert found["crop"].tolist() == ["Ciruelo", "Almendros"]
    same(found.assign(crop=BLOCKS["crop"]))
    assert found[["variety", "planted", "weight"]].iloc[0].tolist() == ["French", 2008.0, 1.5]


def test_columns_of_the_settings_name_what_is_not_recognised(tmp_path: Path) -> None:
    path = tmp_path / "blocks.gpkg"
    BLOCKS.rename(columns={"block": "Schlag", "crop": "Frucht"}).to_file(path)
    same(read(path, Schlag="block", Frucht="crop"))
    assert message(path) == (
        "blocks.gpkg: no column is recognised as block (usual headings: block, block_id, block_name, "
        "block_no); the file has Schlag, Frucht. Add it, or name it under [columns], "
        '"your heading" = "block".\n'
        "blocks.gpkg: no column is recognised as crop (usual headings: crop, cultivo, crop_type, crop_name); "
        'the file has Schlag, Frucht. Add it, or name it under [columns], "your heading" = "crop".'
    )


def test_a_number_as_a_name_stays_a_name(tmp_path: Path) -> None:
    path = tmp_path / "blocks.gpkg"
    BLOCKS.assign(block=[7.0, 12.0]).to_file(path)
    assert read(path)["block"].tolist() == ["7", "12"]


def test_a_block_in_two_parts_is_one_block(tmp_path: Path) -> None:
    path = tmp_path / "blocks.gpkg"
    table = BLOCKS.copy()
    parts = shapely.MultiPolygon([box(X, Y, X + 90, Y + 200), box(X + 110, Y, X + 200, Y + 200)])
    table.geometry = [parts, SHAPES[1]]
    table.to_file(path)
    found = read_blocks(path, CRS)
    assert found.value.geometry.iloc[0].area == pytest.approx(36_000)
    assert found.notes == ()


def test_crumbs_of_a_mouse_are_dropped_and_said(tmp_path: Path) -> None:
    path = tmp_path / "blocks.gpkg"
    table = BLOCKS.copy()
    table.geometry = [shapely.MultiPolygon([SHAPES[0], box(X - 50, Y, X - 48, Y + 1)]), SHAPES[1]]
    table.to_file(path)
    found = read_blocks(path, CRS)
    same(found.value)
    assert english(found) == ["Block 'North': 1 stray part of under 0.01 acres was dropped."]


def test_a_small_overlap_is_given_to_the_smaller_and_said(tmp_path: Path) -> None:
    path = tmp_path / "valves.gpkg"
    shapes = [box(X, Y, X + 102, Y + 200), box(X + 100, Y, X + 300, Y + 200)]
    gpd.GeoDataFrame({"valve": ["A", "B"]}, geometry=shapes, crs=CRS).to_file(path)
    read_ones = read_valves(path, BLOCKS.crs)
    found = read_ones.value
    assert found.geometry.area.round(3).tolist() == [20_400.0, 39_600.0]
    assert found.geometry.iloc[0].intersection(found.geometry.iloc[1]).area == 0
    assert english(read_ones) == ["Valves 'A' and 'B' overlap by 0.10 acres; the overlap was given to 'A'."]


def test_many_overlaps_are_one_line_with_the_largest_in_the_units_of_the_ranch(tmp_path: Path) -> None:
    path = tmp_path / "valves.gpkg"
    shapes = [box(X + 100 * k, Y, X + 100 * k + 101 + 4 * (k == 1), Y + 200) for k in range(5)]
    gpd.GeoDataFrame({"valve": list("ABCDE")}, geometry=shapes, crs=CRS).to_file(path)
    notes = read_valves(path, BLOCKS.crs).notes
    assert sentences(notes, Words("en", "us")) == (
        "4 overlaps between valves were given to the smaller of each two; the largest is 0.25 acres, "
        "between 'B' and 'C'.",
    )
    assert sentences(notes, Words("es", "metric")) == (
        "4 partes encimadas entre válvulas quedaron en el menor de cada dos contornos; la mayor es de "
        "0.10 ha, entre 'B' y 'C'.",
    )


def test_many_outlines_that_cross_themselves_are_one_line_with_the_largest(tmp_path: Path) -> None:
    path = tmp_path / "valves.gpkg"
    bows = [
        shapely.Polygon([(west, Y), (west + wide, Y + 100), (west + wide, Y), (west, Y + 100)])
        for west, wide in ((X, 100), (X + 200, 400))
    ]
    gpd.GeoDataFrame({"valve": ["A", "B"]}, geometry=bows, crs=CRS).to_file(path)
    notes = read_valves(path, BLOCKS.crs).notes
    assert sentences(notes, Words("en", "metric")) == (
        "valves.gpkg: 2 valve outlines cross or touch themselves (row 2, 3) and were mended; the largest is "
        "'B', 2.00 ha.",
    )
    assert sentences(notes, Words("es", "metric")) == (
        "valves.gpkg: 2 contornos de válvula se cruzan o se tocan a sí mismos (fila 2, 3) y se corrigieron; "
        "el más grande es 'B', 2.00 ha.",
    )
    assert not without_drawing(notes)


@pytest.mark.parametrize("valid", [True, False])
def test_slivers_of_a_name_are_taken_into_its_outline_and_told_in_one_line(
    tmp_path: Path, *, valid: bool
) -> None:
    path = tmp_path / "valves.gpkg"
    large = box(X, Y, X + 100, Y + 200)
    slips = [box(X + 100, Y, X + 100.5, Y + 200), box(X, Y + 200, X + 100, Y + 201)]
    bow = shapely.Polygon([(X + 100, Y), (X + 101, Y + 9), (X + 101, Y), (X + 100, Y + 9)])
    shapes = [slips[0], large, slips[1] if valid else bow, box(X + 200, Y, X + 300, Y + 200)]
    table = {"valve": ["V1", "V1", "V1", "V2"], "pump": ["old", "P1", "", "P2"]}
    gpd.GeoDataFrame(table, geometry=shapes, crs=CRS).to_file(path)
    read_ones = read_valves(path, BLOCKS.crs)
    found = read_ones.value
    assert found[["valve", "pump"]].to_numpy().tolist() == [["V1", "P1"], ["V2", "P2"]]
    assert found.geometry.iloc[0].covers(large)
    assert english(read_ones) == [
        f"{path}: 2 small pieces bear the name of a larger outline (valve V1) and were merged with it "
        "or dropped (row 2, 4)."
    ]
    assert (read_ones.counts[0].rows, read_ones.counts[0].used) == (4, 2)


def test_two_large_outlines_of_one_name_are_refused_with_the_rows_of_the_file(tmp_path: Path) -> None:
    path = tmp_path / "valves.gpkg"
    shapes = [box(X, Y, X + 100, Y + 200), box(X, Y, X + 1, Y + 9), box(X + 200, Y, X + 300, Y + 200)]
    gpd.GeoDataFrame({"valve": ["V1"] * 3}, geometry=shapes, crs=CRS).to_file(path)
    with pytest.raises(DataError, match=r"row 4, column valve: 'V1' stands in row 2 too"):
        read_valves(path, BLOCKS.crs)


def test_an_overlap_by_rounding_is_mended_without_a_word(tmp_path: Path) -> None:
    path = tmp_path / "valves.gpkg"
    shapes = [box(X, Y, X + 100.001, Y + 200), box(X + 100, Y, X + 200, Y + 200)]
    gpd.GeoDataFrame({"valve": ["A", "B"]}, geometry=shapes, crs=CRS).to_file(path)
    found = read_valves(path, BLOCKS.crs)
    assert found.value.geometry.area.sum() == pytest.approx(40_000, abs=0.01)
    assert found.notes == ()


def test_one_ground_drawn_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "blocks.gpkg"
    table = BLOCKS.copy()
    table.geometry = [SHAPES[0], box(X + 50, Y, X + 200, Y + 200)]
    table.to_file(path)
    assert message(path) == (
        "blocks.gpkg, row 3: 'South 2' covers the same ground as 'North' in row 2. "
        "Delete or redraw one of them."
    )


@pytest.mark.parametrize(
    ("source", "gate"),
    [("source", "gate"), ("Canal", "Compuerta"), ("Fuente de agua", "check_no"), ("acequia", "gate")],
)
def test_source_and_gate_of_a_valve_under_their_usual_headings(
    tmp_path: Path, source: str, gate: str
) -> None:
    table = gpd.GeoDataFrame(
        {"valve": ["A", "B"], source: ["North canal", None], gate: [2, None]},
        geometry=[box(0, 0, 90, 90), box(100, 0, 190, 90)], crs=CRS,
    )  # fmt: skip
    path = tmp_path / "valves.gpkg"
    table.to_file(path, driver="GPKG")
    read_ones = read_valves(path, BLOCKS.crs).value
    assert read_ones["source"].tolist() == ["North canal", None]
    assert read_ones["gate"].fillna(0.0).tolist() == [2.0, 0.0]


def test_valve_figures_in_the_units_of_their_headings(tmp_path: Path) -> None:
    path = tmp_path / "valves.gpkg"
    table = gpd.GeoDataFrame(
        {"Válvula": ["A", "B"], "Lote": ["North", None], "Flow (gpm)": [100.0, np.nan],
         "rate in/h": [0.05, 0.1], "max_hours": [12, 24]},
        geometry=SHAPES, crs=CRS,
    )  # fmt: skip
    table.to_file(path)
    found = read_valves(path, BLOCKS.crs).value
    # 1 gpm = 0.227125 m3/h, 1 in = 25.4 mm (from memory, formula cross-checked)
    assert found.set_index("valve").loc["A", "flow_m3_h"] == pytest.approx(22.7125, abs=1e-3)
    assert found["rate_mm_h"].tolist() == pytest.approx([1.27, 2.54])
    assert found["block"].tolist() == ["North", None]
    assert found["max_hours"].tolist() == [12.0, 24.0]


@pytest.mark.parametrize(
    ("table", "expected"),
    [
        (
            BLOCKS.assign(block=["North", None]),
            "row 3, column block: the block is empty. Name it.",
        ),
        (
            BLOCKS.assign(block="North"),
            "row 3, column block: 'North' stands in row 2 too. Give each block its own name.",
        ),
        (
            BLOCKS.assign(weight=["1", "heavy"]),
            "row 3, column weight: 'heavy' is not a number. "
            "Write it as a positive number, or leave the cell empty.",
        ),
        (
            BLOCKS.assign(weight=[1.0, 0.0]),
            "row 3, column weight: '0' is not a positive number. Correct it.",
        ),
        (
            BLOCKS.assign(planted=["2008", "long ago"]),
            "row 3, column planted: 'long ago' is not a year. Write the year of planting.",
        ),
        (
            BLOCKS.assign(harvest=["08-15", "31-31"]),
            "row 3, column harvest: '31-31' is not a day of the year. Write month and day as 08-15.",
        ),
    ],
)
def test_attributes_that_cannot_be_used(tmp_path: Path, table: gpd.GeoDataFrame, expected: str) -> None:
    path = tmp_path / "blocks.gpkg"
    table.to_file(path)
    assert message(path) == f"blocks.gpkg, {expected}"


def test_degrees_that_are_metres_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "blocks.geojson"
    path.write_text(
        BLOCKS.to_json(drop_id=True).replace("urn:ogc:def:crs:EPSG::32610", "urn:ogc:def:crs:OGC:1.3:CRS84")
    )
    assert message(path) == (
        "blocks.geojson: its coordinates are no longitudes and latitudes (they reach 600420, 4300200). "
        "Export it again in WGS 84, longitude first, or with its CRS."
    )


@pytest.mark.parametrize(
    ("name", "content", "expected"),
    [
        ("empty.geojson", b"", "it is empty. Export the polygons again."),
        ("gates.kml", kml([""] * 2).replace("Polygon", "Path").encode(),
         "it holds no polygons. Export the polygons again."),
        ("page.kml", b"<html><body/></html>",
         "it is XML, but not KML (its root is 'html'). Export the polygons as KML or GeoJSON."),
        ("torn.zip", b"PK\x03\x04 torn", "it is a damaged zip file. Save or copy it again."),
    ],
)  # fmt: skip
def test_files_that_are_no_polygons(tmp_path: Path, name: str, content: bytes, expected: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    assert message(path) == f"{name}: {expected}"


def test_a_working_crs_must_be_in_metres(tmp_path: Path) -> None:
    path = tmp_path / "blocks.gpkg"
    BLOCKS.to_file(path)
    with pytest.raises(SettingsError) as error:
        read_blocks(path, "EPSG:2226", settings_file="my_ranch.toml")
    assert str(error.value) == (
        "my_ranch.toml, column ranch.crs: 'EPSG:2226' is not a projected CRS in metres. "
        "Leave it out, or name the UTM zone."
    )


def test_columns_meant_for_another_file_leave_a_heading_alone(tmp_path: Path) -> None:
    path = tmp_path / "blocks.gpkg"
    BLOCKS.rename(columns={"block": "Name", "crop": "Crop"}).to_file(path)
    # the readings call their trees Name and their remarks Crop
    same(read(path, Name="tree_id", crop="note"))
