"""Points in the file of roads: gates and named places, in each kind of file."""

from __future__ import annotations

import json
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from pyproj import CRS

from stressmap.intake.road_points import read_road_points

UTM = CRS("EPSG:32610")
LONLAT = [(-120.60, 37.00), (-120.61, 37.01), (-120.62, 37.02)]
WORDS = [{"name": "Shop", "kind": "yard"}, {"name": "Portón norte"}, {"kind": "GATE", "name": None}]


def geojson(folder: Path) -> Path:
    line = {"type": "LineString", "coordinates": [[-120.6, 37.0], [-120.62, 37.02]]}
    shapes = [
        ({"type": "Point", "coordinates": spot}, says) for spot, says in zip(LONLAT, WORDS, strict=True)
    ]
    features = [
        {"type": "Feature", "geometry": shape, "properties": says} for shape, says in [*shapes, (line, {})]
    ]
    path = folder / "roads.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return path


def kml(folder: Path) -> Path:
    marks = [
        f"<Placemark><name>{name}</name><Point><coordinates>{lon},{lat},0</coordinates></Point></Placemark>"
        for name, (lon, lat) in zip(("Shop", "Portón norte", "Gate 3"), LONLAT, strict=True)
    ]
    line = (
        "<Placemark><LineString><coordinates>-120.6,37 -120.62,37.02</coordinates></LineString></Placemark>"
    )
    path = folder / "roads.kml"
    path.write_text(
        f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{"".join(marks)}{line}</Document></kml>'
    )
    return path


@pytest.mark.parametrize("written", [geojson, kml])
def test_gates_are_told_by_what_is_written_of_them(written, tmp_path: Path) -> None:
    found = read_road_points(written(tmp_path), UTM)
    assert [point.gate for point in found] == [False, True, True]
    assert [point.name for point in found[:2]] == ["Shop", "Portón norte"]
    right = gpd.GeoSeries([shapely.Point(spot) for spot in LONLAT], crs="EPSG:4326").to_crs(UTM)
    assert [point.x for point in found] == pytest.approx(right.x.tolist(), abs=0.01)
    assert [point.y for point in found] == pytest.approx(right.y.tolist(), abs=0.01)


def test_a_file_of_lines_alone_has_none(tmp_path: Path) -> None:
    path = tmp_path / "lines.gpkg"
    gpd.GeoDataFrame(geometry=[shapely.LineString(LONLAT)], crs="EPSG:4326").to_file(path)
    assert read_road_points(path, UTM) == ()
