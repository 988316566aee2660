"""Risers of valves: columns, points of the same file, a layer of points beside the zones; and roads."""

from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from helpers.invented_ranch import CRS
from helpers.told import english
from shapely.geometry import LineString, MultiLineString, Point, box

from stressmap.core.errors import DataError
from stressmap.intake.blocks_and_valves import read_valves
from stressmap.intake.road_files import read_roads

X, Y = 600_000.0, 4_300_000.0
ZONES = [box(X + 50 * k, Y, X + 50 * (k + 1), Y + 100) for k in range(3)]
NAMES = ["V1", "V2", "V3"]
RISERS = {"v1": Point(X + 3, Y - 2), "V3": Point(X + 148, Y + 50)}
WGS84 = "EPSG:4326"
NOWHERE = Point(X, Y)


def zones(**columns: list[object]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame({"valve": NAMES, **columns}, geometry=ZONES, crs=CRS)


def points(**more: Point) -> gpd.GeoDataFrame:
    held = RISERS | more
    return gpd.GeoDataFrame({"valve": list(held)}, geometry=list(held.values()), crs=CRS)


def spots(path: Path) -> list[tuple[float, float]]:
    table = read_valves(path, CRS).value
    assert table["valve"].tolist() == NAMES
    degrees = gpd.GeoSeries(gpd.points_from_xy(table["riser_lon"], table["riser_lat"]), crs=WGS84)
    return [
        (p.x - X, p.y - Y)
        for p in degrees.where(table["riser_lon"].notna().to_numpy()).to_crs(CRS).fillna(NOWHERE)
    ]


def held(found: list[tuple[float, float]]) -> None:
    np.testing.assert_allclose(found, [(3, -2), (0, 0), (148, 50)], atol=0.02)


def test_columns_of_degrees(tmp_path: Path) -> None:
    degrees = gpd.GeoSeries([RISERS["v1"], None, RISERS["V3"]], crs=CRS).to_crs(WGS84)
    lon, lat = ([None if p is None else round(getattr(p, side), 8) for p in degrees] for side in "xy")
    zones(riser_lon=lon, riser_lat=lat).to_file(tmp_path / "v.gpkg")
    held(spots(tmp_path / "v.gpkg"))


def test_a_cell_that_is_no_longitude_is_refused_with_its_row(tmp_path: Path) -> None:
    zones(riser_lon=[-120.5, -420, None], riser_lat=[37.0, 37.0, None]).to_file(tmp_path / "v.gpkg")
    with pytest.raises(DataError) as error:
        read_valves(tmp_path / "v.gpkg", CRS)
    assert str(error.value).endswith(
        "v.gpkg, row 3, column riser_lon: '-420' is no longitude. Write degrees, as -120.5951."
    )


def test_points_among_the_zones_of_a_geojson(tmp_path: Path) -> None:
    both = gpd.GeoDataFrame(
        {"valve": [*NAMES, *RISERS]}, geometry=[*ZONES, *RISERS.values()], crs=CRS
    ).to_crs(WGS84)
    both.to_file(tmp_path / "v.geojson", driver="GeoJSON")
    held(spots(tmp_path / "v.geojson"))
    told = read_valves(tmp_path / "v.geojson", CRS)
    (counts,) = told.counts if hasattr(told, "counts") else (None,)
    assert counts is None or {one.code for one in counts.left_out} == {"riser_point"}


def test_a_layer_of_points_beside_the_zones_of_a_geopackage(tmp_path: Path) -> None:
    zones().to_file(tmp_path / "v.gpkg", layer="zones")
    points().to_crs(WGS84).to_file(tmp_path / "v.gpkg", layer="risers")
    held(spots(tmp_path / "v.gpkg"))


def test_a_riser_far_from_its_zone_is_not_used_and_told(tmp_path: Path) -> None:
    zones().to_file(tmp_path / "v.gpkg", layer="zones")
    points(V2=Point(X + 75, Y + 1_000)).to_file(tmp_path / "v.gpkg", layer="risers")
    read = read_valves(tmp_path / "v.gpkg", CRS)
    assert np.isnan(read.value["riser_lon"].iloc[1])
    assert any("the riser of V2 lies over" in line for line in english(read.notes))


def test_a_file_of_points_alone_is_still_refused(tmp_path: Path) -> None:
    points().to_crs(WGS84).to_file(tmp_path / "v.geojson", driver="GeoJSON")
    with pytest.raises(DataError):
        read_valves(tmp_path / "v.geojson", CRS)


ROADS = [
    LineString([(X, Y), (X + 100, Y)]),
    MultiLineString([[(X, Y), (X, Y + 50)], [(X, Y + 60), (X, Y + 90)]]),
]


@pytest.mark.parametrize(
    ("name", "driver"), [("r.geojson", "GeoJSON"), ("r.gpkg", "GPKG"), ("r.shp", "ESRI Shapefile")]
)
def test_roads_of_any_usual_file(name: str, driver: str, tmp_path: Path) -> None:
    """100 m, and 50 and 30 m."""
    table = gpd.GeoDataFrame({"name": ["a", "b"]}, geometry=ROADS, crs=CRS)
    (table.to_crs(WGS84) if driver == "GeoJSON" else table).to_file(tmp_path / name, driver=driver)
    found = read_roads(tmp_path / name, CRS)
    assert found.geom_type == "MultiLineString"
    assert found.length == pytest.approx(180, abs=0.1)


def test_roads_of_a_kml(tmp_path: Path) -> None:
    line = gpd.GeoSeries([ROADS[0]], crs=CRS).to_crs(WGS84).iloc[0]
    text = " ".join(f"{x:.8f},{y:.8f},0" for x, y in line.coords)
    (tmp_path / "r.kml").write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><LineString>'
        f"<coordinates>{text}</coordinates></LineString></Placemark></kml>"
    )
    assert read_roads(tmp_path / "r.kml", CRS).length == pytest.approx(100, abs=0.1)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "it is empty. Export the roads again, as lines."),
        (
            b"lon,lat\n",
            "it is neither GeoJSON, GeoPackage, Shapefile nor KML. Export it again as GeoJSON or GeoPackage.",
        ),
        (
            b'{"type": "FeatureCollection", "features": []}',
            "it holds no lines. Draw the roads as lines, or leave it out.",
        ),
        (b"<kml></kml>", "it holds no lines. Draw the roads as lines, or leave it out."),
    ],
)
def test_what_holds_no_roads_is_refused(content: bytes, said: str, tmp_path: Path) -> None:
    (tmp_path / "r.any").write_bytes(content)
    with pytest.raises(DataError) as error:
        read_roads(tmp_path / "r.any", CRS)
    assert str(error.value).endswith(f"r.any: {said}")
