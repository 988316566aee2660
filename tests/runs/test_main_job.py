"""The main job on the demo ranch, its files opened as a user would."""

import csv
import hashlib
import json
import shutil
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pypdf
import pytest
import rasterio
import rasterio.features
import shapely
from geojson_pydantic import FeatureCollection
from helpers import small_ranch
from helpers.demo_facts import limits_of, ranch_of, tables_of
from helpers.manners_checker import bad_manners
from helpers.paths import REPOSITORY
from helpers.water_checker import violations
from scipy.stats import norm, spearmanr

from stressmap.core import schemas
from stressmap.output import outputs

DEMO = REPOSITORY / "config" / "demo_ranch.toml"
FIGURES = [
    "swp_bar", "tension_bar", "vpd_kpa", "baseline_bar", "target_bar", "below_target_bar",
    "below_baseline_bar", "stress_bar", "predicted_bar", "z_score",
]  # fmt: skip
VALVE_COLUMNS = [
    "rank", "valve", "block", "crop", "area_ha", "readings", "stress_bar", "stress_se_bar", "low_bar",
    "high_bar", "swp_bar", "target_bar", "baseline_bar", "priority", "label_en", "label_es", "p_first",
    "confidence", "last_irrigated",
]  # fmt: skip
LABELS = {
    1: ("water first", "regar primero"), 2: ("water next", "regar enseguida"),
    3: ("watch", "vigilar"), 4: ("can wait", "puede esperar"),
}  # fmt: skip


@pytest.fixture(scope="module")
def record(demo):
    return json.loads((demo / "run.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def readings(demo):
    return pd.read_csv(demo / "readings.csv", keep_default_na=False, na_values={"z_score": ""})


@pytest.fixture(scope="module")
def valves(demo):
    return pd.read_csv(demo / "valves.csv")


def test_it_prints_a_short_ranked_table(demo):
    printed = (demo.parent / "printed.txt").read_text()
    assert "Twelve Gates Ranch, visit Jul 14, 2026 to Jul 15, 2026: 70 readings used, 7 left out" in printed
    lines = [line.split() for line in printed.splitlines()]
    assert [line[0] for line in lines if line and line[0].isdigit()] == [str(i) for i in range(1, 11)]
    assert "... and 50 more in valves.csv" in printed


def test_every_input_row_comes_out_again(readings, record):
    with (REPOSITORY / "demo_gis" / "readings.csv").open(newline="") as stream:
        given = list(csv.DictReader(stream))
    assert readings["row"].tolist() == list(range(2, len(given) + 2))
    assert readings["tree_id"].tolist() == [row["tree_id"] for row in given]
    assert set(FIGURES) < set(readings.columns)
    assert set(readings["used"].astype(str).str.lower()) == {"true", "false"}
    assert record["counts"]["readings"] == len(given)


def test_the_dirt_in_the_demo_is_found_and_nothing_else_is_left_out(readings):
    truth = pd.read_csv(REPOSITORY / "demo_gis" / "truth_readings.csv", keep_default_na=False)
    flags = readings["flags"].str.split(";").map(set)
    visit = ~flags.map(lambda codes: "outside_visit" in codes)
    dirty = truth["dirt"] != ""
    for row in np.flatnonzero(visit & dirty):
        assert set(truth["dirt"][row].split(";")) & flags[row], f"row {row + 2}: {truth['dirt'][row]}"
    clean = visit & ~dirty
    assert (readings["used"].astype(str).str.lower() == "true")[clean].all()


def test_valves_are_ranked_and_hold_what_is_promised(valves):
    assert list(valves.columns)[: len(VALVE_COLUMNS)] == VALVE_COLUMNS
    assert valves["rank"].tolist() == list(range(1, 61))
    assert valves["urgency"].is_monotonic_decreasing
    assert valves["priority"].is_monotonic_increasing
    assert valves[["stress_bar", "stress_se_bar", "swp_bar", "p_first", "confidence"]].notna().all().all()
    for number, (en, es) in LABELS.items():
        own = valves[valves["priority"] == number]
        assert set(own["label_en"]) <= {en}
        assert set(own["label_es"]) <= {es}


def test_the_figures_of_a_valve_fit_together(demo, valves):
    z90 = norm.ppf(0.95)
    assert np.allclose(valves["high_bar"] - valves["stress_bar"], z90 * valves["stress_se_bar"], atol=2e-3)
    assert np.allclose(valves["stress_bar"] - valves["low_bar"], z90 * valves["stress_se_bar"], atol=2e-3)
    assert np.allclose(valves["target_bar"] - valves["swp_bar"], valves["stress_bar"], atol=2e-3)
    assert np.allclose(valves["baseline_bar"] - valves["allowance_bar"], valves["target_bar"], atol=2e-3)
    edges = json.loads((demo / "run.json").read_text())["edges_bar"]
    for _, valve in valves.iterrows():
        bounds = [-np.inf, *edges[valve["crop"]], np.inf]
        low, high = bounds[4 - valve["priority"]], bounds[5 - valve["priority"]]
        inside = np.diff(norm.cdf([low, high], valve["stress_bar"], valve["stress_se_bar"]))[0]
        assert valve["confidence"] == pytest.approx(inside, abs=2e-3)
    first = valves["priority"] == 1
    assert np.allclose(valves["p_first"][first], valves["confidence"][first])


def test_the_ranking_finds_the_drier_valves_of_the_stated_truth(valves):
    truth = pd.read_csv(REPOSITORY / "demo_gis" / "truth_valves.csv")
    july = truth[truth["visit"] == truth["visit"].max()].set_index("valve")["below_target_bar"]
    assert spearmanr(valves["stress_bar"], july[valves["valve"]]).statistic > 0.5


def test_zones_cover_every_block_without_gap_or_overlap(demo):
    blocks = gpd.read_file(REPOSITORY / "demo_gis" / "blocks.geojson").to_crs("EPSG:32610").set_index("block")
    zones = gpd.read_file(demo / "zones.geojson").to_crs("EPSG:32610")
    assert set(zones["block"]) == set(blocks.index)
    for name, own in zones.groupby("block"):
        area = blocks.geometry[name].area
        assert abs(own.area.sum() - area) < 0.005 * area
        assert abs(own.union_all().area - area) < 0.005 * area
        assert own.geometry.is_valid.all()
    for row in zones.itertuples():
        assert (row.label_en, row.label_es) == LABELS[row.priority]
        assert 0 <= row.confidence <= 1
        assert row.area_ha == pytest.approx(row.geometry.area / 10_000, rel=0.01)


@pytest.mark.parametrize("name", ["readings", "zones", "valves"])
def test_geojson_is_valid_by_the_rfc(demo, name):
    """RFC 7946, The GeoJSON Format, August 2016: sections 3, 3.1.6 and 4."""
    page = json.loads((demo / f"{name}.geojson").read_text(encoding="utf-8"))
    FeatureCollection.model_validate(page)
    assert "crs" not in page
    shapes = [shapely.geometry.shape(f["geometry"]) for f in page["features"] if f["geometry"]]
    assert all(
        -180 <= s.bounds[0] <= s.bounds[2] <= 180 and -90 <= s.bounds[1] <= s.bounds[3] <= 90 for s in shapes
    )
    for shape in shapes:
        for polygon in [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"]:
            assert polygon.exterior.is_ccw
            assert not any(ring.is_ccw for ring in polygon.interiors)


def test_the_raster_is_empty_only_outside_blocks(demo):
    blocks = gpd.read_file(REPOSITORY / "demo_gis" / "blocks.geojson")
    with rasterio.open(demo / "stress.tif") as opened:
        assert opened.descriptions == ("stress_bar", "stress_se_bar")
        assert opened.res == (5.0, 5.0)
        stress, error = opened.read()
        there = rasterio.features.geometry_mask(
            blocks.to_crs(opened.crs).geometry, stress.shape, opened.transform, invert=True
        )
    assert (np.isfinite(stress) == there).all()
    assert (error[there] > 0).all()


def test_the_geopackage_opens_layer_by_layer(demo, valves):
    tables = {
        name: gpd.read_file(demo / "ranch.gpkg", layer=name)
        for name in ("readings", "zones", "valves", "blocks")
    }
    assert tables["valves"]["valve"].tolist() == valves["valve"].tolist()
    given = (REPOSITORY / "demo_gis" / "readings.csv").read_text(encoding="utf-8")
    assert len(tables["readings"]) == len(given.splitlines()) - 1
    assert all(table.crs.to_epsg() == 32610 for table in tables.values())


def test_the_record_says_what_was_done_with_what(record):
    blocks = REPOSITORY / "demo_gis" / "blocks.geojson"
    assert record["sha256"]["blocks"] == hashlib.sha256(blocks.read_bytes()).hexdigest()
    assert record["visit"] == ["2026-07-14", "2026-07-15"]
    assert record["settings"]["files"]["readings"] == "../demo_gis/readings.csv"
    assert record["settings"]["map"]["cell_m"] == 5
    assert record["counts"]["valves"] == 60
    assert {"python", "pykrige", "geopandas"} <= set(record["versions"])
    assert set(record["timings"]) >= {"read", "assess", "fit", "map", "write"}


def hashes(folder: Path) -> dict[str, str]:
    found = {
        p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir() if p.name != "run.json"
    }
    page = json.loads((folder / "run.json").read_text())
    del page["timings"]
    return found | {"run.json": json.dumps(page)}


def with_much_to_say(ranch: Path) -> Path:
    """Spoil files so that notes speak of them: an early end of the weather, a unit in a heading."""
    folder = ranch.parent
    small_ranch.weather().head(14).to_csv(folder / "weather.csv", index=False)
    readings = small_ranch.readings()
    readings["pressure_mpa"] = readings.pop("pressure_bar") / 10
    readings.to_csv(folder / "readings.csv", index=False)
    soil = np.linspace(0, 1, 3200, dtype="float32").reshape(1, 40, 80)
    place = rasterio.transform.from_origin(small_ranch.WEST - 50, small_ranch.SOUTH + 400, 10, 10)
    profile = {"driver": "GTiff", "height": 40, "width": 80, "count": 1, "dtype": "float32"}
    with rasterio.open(folder / "soil.tif", "w", crs=small_ranch.CRS, transform=place, **profile) as opened:
        opened.write(soil)
    (folder / "gis").mkdir()
    blocks = folder / "blocks.geojson"
    blocks.rename(folder / "gis" / "blocks.geojson")
    text = (folder / "gis" / "blocks.geojson").read_text().replace('"crop": "prune"', '"crop": "Ciruelo"')
    (folder / "gis" / "blocks.geojson").write_text(text)
    settings = ranch.read_text().replace('"blocks.geojson"', '"gis/blocks.geojson"')
    (folder / "settings").mkdir()
    for name in ("readings.csv", "valves.gpkg", "weather.csv", "irrigation.csv", "gis/blocks.geojson"):
        settings = settings.replace(f'"{name}"', f'"../{name}"')
    made = folder / "settings" / "ranch.toml"
    made.write_text(settings + 'covariate = "../soil.tif"\n')
    return made


def test_notes_do_not_tell_where_the_ranch_lies(stressmap, tmp_path):
    ranch = with_much_to_say(small_ranch.write(tmp_path / "ranch"))
    moved = tmp_path / "else where"
    shutil.copytree(ranch.parents[1], moved)
    assert stressmap("run", ranch, "--out", tmp_path / "a").code == 0
    assert stressmap("run", moved / "settings" / "ranch.toml", "--out", tmp_path / "b").code == 0
    assert hashes(tmp_path / "a") == hashes(tmp_path / "b")
    said = json.loads((tmp_path / "a" / "run.json").read_text())["warnings"]
    assert "../gis/blocks.geojson: crops are taken as: 'Ciruelo' as prune." in said
    assert "../readings.csv: pressure_mpa is read in MPa, as its heading says." in said
    assert (
        "No reading has a vapour pressure deficit and so no baseline: ../weather.csv ends 2026-07-14 13:00, "
        "before they were taken."
    ) in said
    for file in (tmp_path / "a").iterdir():
        assert str(tmp_path).encode() not in file.read_bytes(), file.name


def test_the_same_inputs_give_the_same_bytes(stressmap, tmp_path):
    ranch = small_ranch.write(tmp_path / "ranch")
    moved = tmp_path / "elsewhere"
    shutil.copytree(ranch.parent, moved)
    assert stressmap("run", ranch, "--out", tmp_path / "a", "--jobs", 1).code == 0
    assert stressmap("run", moved / "ranch.toml", "--out", tmp_path / "b", "--jobs", 2).code == 0
    assert hashes(tmp_path / "a") == hashes(tmp_path / "b")


def test_without_weather_the_run_says_what_it_could_not_compute(stressmap, tmp_path):
    ranch = small_ranch.write(tmp_path / "ranch", small_ranch.SETTINGS.replace('weather = "weather.csv"', ""))
    answer = stressmap("run", ranch, "--out", tmp_path / "out")
    assert answer.code == 0
    said = " ".join(json.loads((tmp_path / "out" / "run.json").read_text())["warnings"])
    assert "weather" in said
    table = pd.read_csv(tmp_path / "out" / "readings.csv")
    assert table["vpd_kpa"].isna().all()
    assert table["baseline_bar"].isna().all()
    assert table["stress_bar"].notna().all()


def test_without_valves_each_block_is_one_valve_zone(stressmap, tmp_path):
    ranch = small_ranch.write(tmp_path / "ranch", small_ranch.SETTINGS.replace('valves = "valves.gpkg"', ""))
    assert stressmap("run", ranch, "--out", tmp_path / "out").code == 0
    table = pd.read_csv(tmp_path / "out" / "valves.csv")
    assert sorted(table["valve"]) == ["North Shed", "South Shed"]
    assert (table["readings"] > 0).all()


@pytest.mark.parametrize("form", ["shp", "gpkg", "zip", "geojson"])
def test_polygons_of_any_form_give_the_same_zones(stressmap, tmp_path, form):
    ranch = small_ranch.write(tmp_path / "ranch")
    table = small_ranch.blocks()
    (ranch.parent / "blocks.geojson").unlink()
    name = "blocks.shp" if form == "zip" else f"blocks.{form}"
    (table.to_crs("EPSG:4326") if form == "geojson" else table).to_file(ranch.parent / name)
    if form == "zip":
        parts = tmp_path / "parts"
        parts.mkdir()
        for part in ranch.parent.glob("blocks.*"):
            part.rename(parts / part.name)
        shutil.make_archive(str(ranch.parent / "blocks"), "zip", parts)
    ranch.write_text(small_ranch.SETTINGS.replace("blocks.geojson", f"blocks.{form}"))
    answer = stressmap("run", ranch, "--out", tmp_path / "out")
    assert (answer.code, answer.err) == (0, "")
    valves = pd.read_csv(tmp_path / "out" / "valves.csv")
    assert valves["valve"][0] == "S2"
    assert valves["area_ha"].tolist() == pytest.approx([6.0] * 4, abs=0.001)


FEW = {
    "one reading": lambda t: t.head(1),
    "three readings": lambda t: t.head(3),
    "all equal": lambda t: t.assign(pressure_bar=14.0),
    "all of one block": lambda t: t[t["lon"] < t["lon"].median()],
    "all at one place": lambda t: t.assign(lon=t["lon"].iloc[0], lat=t["lat"].iloc[0]),
}


@pytest.mark.parametrize("method", ["structured", "ordinary"])
@pytest.mark.parametrize("case", FEW)
def test_few_or_constant_readings_give_a_finite_explained_result(stressmap, tmp_path, case, method):
    settings = small_ranch.SETTINGS + f'method = "{method}"\n'
    ranch = small_ranch.write(tmp_path / "ranch", settings)
    FEW[case](small_ranch.readings()).to_csv(ranch.parent / "readings.csv", index=False)
    assert stressmap("run", ranch, "--out", tmp_path / "out").code == 0
    valves = pd.read_csv(tmp_path / "out" / "valves.csv")
    assert np.isfinite(valves[["stress_bar", "stress_se_bar", "p_first", "confidence"]]).all().all()
    assert (valves["stress_se_bar"] > 0).all()
    with rasterio.open(tmp_path / "out" / "stress.tif") as opened:
        stress = opened.read(1)
    assert np.isfinite(stress).sum() == 2400


def test_a_start_folder_runs_as_soon_as_it_has_readings(stressmap, tmp_path):
    given = small_ranch.write(tmp_path / "given").parent
    made = tmp_path / "new ranch"
    answer = stressmap("start", made, "--blocks", given / "blocks.geojson", "--valves", given / "valves.gpkg")
    assert (answer.code, answer.err) == (0, "")
    text = (made / "ranch.toml").read_text(encoding="utf-8")
    assert 'timezone = "America/Los_Angeles"' in text
    assert "2 blocks" in text
    small_ranch.readings().to_csv(made / "readings" / "readings.csv", index=False)
    answer = stressmap("check", made / "ranch.toml")
    assert (answer.code, answer.err) == (0, "")
    assert "readings/readings.xlsx" in answer.out


def test_start_says_what_is_odd_about_the_outlines(stressmap, tmp_path):
    given = small_ranch.write(tmp_path / "given").parent
    table = small_ranch.valves()
    table.geometry = [*table.geometry[:3], shapely.affinity.translate(table.geometry[3], 5000, 0)]
    (given / "valves.gpkg").unlink()
    table.drop(columns="block").to_file(given / "valves.gpkg")
    answer = stressmap(
        "start", tmp_path / "made", "--blocks", given / "blocks.geojson", "--valves", given / "valves.gpkg"
    )
    assert (answer.code, answer.err) == (0, "")
    assert "note: Valve 'S2' lies outside every block and is left out.\n" in answer.out


def test_an_earlier_visit_can_be_asked_for(stressmap, tmp_path):
    answer = stressmap("run", DEMO, "--out", tmp_path / "out", "--visit", "2026-06-25")
    assert answer.code == 0
    assert "visit Jun 25, 2026:" in answer.out


def test_the_southern_metric_ranch_runs(stressmap, tmp_path):
    answer = stressmap(
        "run", REPOSITORY / "config" / "south_ranch.toml", "--out", tmp_path / "out", "--quiet"
    )
    assert (answer.code, answer.out, answer.err) == (0, "", "")
    assert len(pd.read_csv(tmp_path / "out" / "valves.csv")) == 16


def test_the_plan_keeps_hours_pumps_and_manners(demo):
    """By checkers that share no code with the planner."""
    ranch, (plan, sets) = ranch_of(DEMO, demo), tables_of(demo)
    assert len(sets) > 50
    assert bad_manners(ranch, plan, sets) == []
    assert violations(limits_of(ranch), plan, sets) == []


def test_the_record_says_the_version_of_every_table(demo):
    record = json.loads((demo / "run.json").read_text(encoding="utf-8"))
    assert record["tables"] == schemas.versions_of_tables()


def test_a_run_writes_the_files_of_the_table_and_no_other(demo):
    wanted = {output.name for output in outputs.OUTPUTS if output.when not in {"curve", "season"}}
    assert {p.name for p in demo.iterdir()} == wanted


@pytest.mark.parametrize("crs", ["EPSG:2227", "EPSG:26910", "EPSG:3310"])
def test_polygons_in_feet_and_other_systems_come_out_whole(stressmap, tmp_path, crs):
    ranch = small_ranch.write(
        tmp_path / "ranch", small_ranch.SETTINGS.replace("blocks.geojson", "blocks.gpkg")
    )
    small_ranch.blocks().to_crs(crs).to_file(ranch.parent / "blocks.gpkg")
    assert stressmap("run", ranch, "--out", tmp_path / "out").code == 0
    zones = gpd.read_file(tmp_path / "out" / "zones.geojson").to_crs("EPSG:32610")
    assert zones.geometry.is_valid.all()
    assert zones.area.sum() == pytest.approx(240_000.0, rel=2e-3)


def test_places_to_look_again_name_a_tree_only_where_one_stands_near(demo):
    """README: the tree nearest to the point, of the same valve zone, within 12 m; else empty."""
    places = pd.read_csv(demo / "look_again.csv")
    assert list(places)[:6] == ["order", "block", "valve", "tree_id", "lon", "lat"]
    points = gpd.GeoSeries(gpd.points_from_xy(places["lon"], places["lat"]), crs="EPSG:4326").to_crs(
        "EPSG:32610"
    )
    trees = gpd.read_file(demo / "readings.geojson").to_crs("EPSG:32610")
    for row, point in zip(places.itertuples(), points, strict=True):
        same = trees[(trees["valve"] == row.valve) & trees["tree_id"].notna()]
        near = same[same.distance(point) <= 12.0]
        assert pd.isna(row.tree_id) == near.empty
        assert near.empty or row.tree_id in set(near["tree_id"])


def test_the_crew_sheet_has_two_to_four_pages(demo):
    """For 60 valves and a week's plan, as docs/contract.md has it."""
    assert 2 <= len(pypdf.PdfReader(demo / "crew_sheet.pdf").pages) <= 4
