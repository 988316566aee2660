"""Files that leave the program: GeoJSON by the RFC, CSV safe to open, results put in place at once."""

import datetime as dt
import json

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from geojson_pydantic import FeatureCollection
from rio_cogeo.cogeo import cog_validate

from stressmap.core.errors import OutputError
from stressmap.core.settings import Ranch
from stressmap.output import outputs
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.gis.geojson import write_geojson
from stressmap.output.gis.raster import write_raster
from stressmap.output.staging.output_folder import staged
from stressmap.output.view.content import Raster


def rings(geometry: dict) -> list[tuple[bool, list]]:
    polygons = [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"]
    return [(number == 0, ring) for polygon in polygons for number, ring in enumerate(polygon)]


def test_geojson_follows_rfc_7946(tmp_path):
    """RFC 7946, The GeoJSON Format, August 2016: sections 3.1.6 (right-hand rule), 4 (WGS 84, no crs),
    11.2 (precision)."""
    donut = shapely.box(600_000, 4_100_000, 600_500, 4_100_400).difference(
        shapely.Point(600_200, 4_100_200).buffer(50)
    )
    clockwise = shapely.Polygon([(600_600, 4_100_000), (600_600, 4_100_100), (600_700, 4_100_100)])
    table = gpd.GeoDataFrame(
        {"block": ["Añejo", "<b>"], "stress_bar": [1.23456, np.nan], "flags": [("a", "b"), ()]},
        geometry=[donut, shapely.MultiPolygon([clockwise])],
        crs="EPSG:32610",
    )
    write_geojson(table, tmp_path / "x.geojson")
    page = json.loads((tmp_path / "x.geojson").read_text(encoding="utf-8"))
    FeatureCollection.model_validate(page)
    assert "crs" not in page
    for feature in page["features"]:
        for outer, ring in rings(feature["geometry"]):
            assert shapely.LinearRing(ring).is_ccw == outer
            assert ring[0] == ring[-1]
            assert all(round(c, 7) == c and abs(c) <= 180 for point in ring for c in point)
    first, second = (f["properties"] for f in page["features"])
    assert first == {"block": "Añejo", "stress_bar": 1.235, "flags": "a;b"}
    assert second == {"block": "<b>", "stress_bar": None, "flags": ""}


def test_geojson_keeps_a_row_without_a_place(tmp_path):
    table = gpd.GeoDataFrame(
        {"row": [2, 3]}, geometry=[shapely.Point(600_000, 4_100_000), None], crs="EPSG:32610"
    )
    write_geojson(table, tmp_path / "x.geojson")
    page = json.loads((tmp_path / "x.geojson").read_text(encoding="utf-8"))
    assert [f["geometry"] is None for f in page["features"]] == [False, True]
    assert [f["properties"]["row"] for f in page["features"]] == [2, 3]


def test_csv_is_plain_and_runs_nothing(tmp_path):
    zone = dt.timezone(dt.timedelta(hours=-7))
    table = pd.DataFrame(
        {
            "valve": ["=cmd|' /C calc'!A0", "@x", "plain, with comma"],
            "stress_bar": [1.23456, -0.00001, np.nan],
            "used": [True, False, True],
            "time": [dt.datetime(2026, 7, 14, 13, 5, tzinfo=zone), None, pd.NaT],
            "flags": [("no_time",), (), ("a", "b")],
        }
    )
    write_csv(table, tmp_path / "x.csv")
    assert (tmp_path / "x.csv").read_text(encoding="utf-8") == (
        "valve,stress_bar,used,time,flags\n"
        "'=cmd|' /C calc'!A0,1.235,true,2026-07-14T13:05:00-07:00,no_time\n"
        "'@x,0.0,false,,\n"
        '"plain, with comma",,true,,a;b\n'
    )


def test_chances_keep_four_decimals_and_places_seven(tmp_path):
    table = pd.DataFrame(
        {"p_first": [0.123456], "confidence": [0.98764], "lon": [-121.12345678], "x_ha": [1.23456]}
    )
    write_csv(table, tmp_path / "x.csv")
    assert (tmp_path / "x.csv").read_text(encoding="utf-8") == (
        "p_first,confidence,lon,x_ha\n0.1235,0.9876,-121.1234568,1.2346\n"
    )


def test_the_raster_is_cloud_optimised_and_says_what_it_holds(tmp_path):
    shape = (600, 700)
    row, col = np.nonzero(np.ones(shape))
    keep = row < 500
    row, col = row[keep], col[keep]
    stress = (row - col / 3).astype(np.float32)
    raster = Raster("EPSG:32610", 600_000.0, 4_100_000.0, 5.0, shape, row, col, stress, stress * 0 + 1)
    write_raster(raster, tmp_path / "stress.tif")
    valid, errors, warnings = cog_validate(tmp_path / "stress.tif", strict=True)
    assert (valid, errors, warnings) == (True, [], [])
    with rasterio.open(tmp_path / "stress.tif") as opened:
        assert opened.descriptions == ("stress_bar", "stress_se_bar")
        assert opened.units == ("bar", "bar")
        assert opened.dtypes == ("float32", "float32")
        assert np.isnan(opened.nodata)
        assert opened.overviews(1)
        assert opened.crs.to_epsg() == 32610
        assert (opened.transform.a, opened.transform.c, opened.transform.f) == (5.0, 600_000.0, 4_100_000.0)
        band = opened.read(1)
    assert band[10, 30] == pytest.approx(0.0)
    assert np.isnan(band[599, 0])


def write_into(target, name, text):
    with staged(target, outputs.files_of("run")) as folder:
        (folder / name).write_text(text)
        page = {"files": [name, "run.json"], "versions": {"stressmap": "1"}}
        (folder / "run.json").write_text(json.dumps(page))


def test_results_replace_an_earlier_result_as_a_whole(tmp_path):
    target = tmp_path / "out"
    write_into(target, "map.html", "old")
    write_into(target, "map.html", "new")
    assert (target / "map.html").read_text() == "new"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_a_failure_leaves_the_earlier_result_and_nothing_else(tmp_path):
    target = tmp_path / "out"
    write_into(target, "map.html", "old")

    def fail():
        with staged(target, outputs.files_of("run")) as folder:
            (folder / "map.html").write_text("half")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    assert (target / "map.html").read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["out"]


def test_files_of_the_users_own_in_the_target_stay(tmp_path):
    target = tmp_path / "out"
    target.mkdir()
    (target / "notes.txt").write_text("mine")
    write_into(target, "map.html", "new")
    assert {p.name for p in target.iterdir()} == {"notes.txt", "map.html", "run.json"}
    assert (target / "notes.txt").read_text() == "mine"


def test_a_target_that_is_a_file_is_one_clear_error(tmp_path):
    target = tmp_path / "out"
    target.write_text("a file")
    with pytest.raises(OutputError) as caught:
        write_into(target, "map.html", "new")
    assert str(caught.value) == (
        f"{target}: the output cannot be written (it is not a folder that can be written). "
        "Give a folder that can be written with --out."
    )
    assert target.read_text() == "a file"


def test_csv_opens_with_a_double_click_in_either_locale(tmp_path):
    table = pd.DataFrame(
        {
            "label_es": ["regar enseguida", "=x"],
            "stress_bar": [1.5, np.nan],
            "irrigated_between": [True, None],
        }
    )
    write_csv(table, tmp_path / "en.csv", "en")
    write_csv(table, tmp_path / "es.csv", "es")
    mark = b"\xef\xbb\xbf"
    assert (tmp_path / "en.csv").read_bytes() == mark + (
        b"label_es,stress_bar,irrigated_between\nregar enseguida,1.5,true\n'=x,,\n"
    )
    assert (tmp_path / "es.csv").read_bytes() == mark + (
        b"label_es;stress_bar;irrigated_between\nregar enseguida;1,5;true\n'=x;;\n"
    )


def test_a_shape_that_cannot_be_noded_is_rounded_point_by_point(tmp_path, monkeypatch):
    """Slivers of reprojected outlines make the noder of some GEOS versions give up."""
    real = shapely.set_precision

    def stubborn(shape, step, mode="valid_output"):
        if mode == "valid_output":
            msg = "TopologyException: found non-noded intersection"
            raise shapely.errors.GEOSException(msg)
        return real(shape, step, mode=mode)

    monkeypatch.setattr(shapely, "set_precision", stubborn)
    corners = [(0, 0), (100, 0), (100, 100), (100.001, 200), (0, 100)]
    spike = shapely.Polygon([(600_000 + x, 4_100_000 + y) for x, y in corners])
    table = gpd.GeoDataFrame({"block": ["A", "B"]}, geometry=[spike, None], crs="EPSG:32610")
    write_geojson(table, tmp_path / "x.geojson")
    page = json.loads((tmp_path / "x.geojson").read_text(encoding="utf-8"))
    shape = shapely.geometry.shape(page["features"][0]["geometry"])
    assert shape.is_valid
    assert shape.area > 0
    assert page["features"][1]["geometry"] is None


def test_a_style_of_the_users_own_does_not_change_what_is_drawn():
    import matplotlib as mpl

    made = outputs.Made(Ranch(name="Two Sheds", timezone="UTC"), curve=object())
    with mpl.rc_context({"font.size": 30, "axes.facecolor": "red"}):
        with outputs.usual_style(made):
            assert mpl.rcParams["font.size"] == mpl.rcParamsDefault["font.size"]
            assert mpl.rcParams["axes.facecolor"] == mpl.rcParamsDefault["axes.facecolor"]
        assert mpl.rcParams["font.size"] == 30
