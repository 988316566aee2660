"""The committed ranches are what their script draws, and hold what a ranch of this kind would hold."""

import itertools
import subprocess
import sys
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

DEMO = Path(__file__).parents[3] / "demo_gis"
FILES = [
    path.relative_to(DEMO)
    for folder in (DEMO, DEMO / "south")
    for path in sorted(folder.iterdir())
    if path.suffix in {".csv", ".geojson", ".gpkg"}
]
TEXTS = [path for path in FILES if path.suffix != ".gpkg"]
VISITS = (
    "2026-05-28", "2026-06-04", "2026-06-11", "2026-06-18",
    "2026-06-25", "2026-07-01", "2026-07-07", "2026-07-14",
)  # fmt: skip


@pytest.fixture(scope="module")
def redrawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drawn")
    script = [sys.executable, str(DEMO / "draw_ranch.py"), "--out", str(folder)]
    done = subprocess.run(script, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def blocks() -> gpd.GeoDataFrame:
    return gpd.read_file(DEMO / "blocks.geojson")


@pytest.fixture(scope="module")
def valves() -> gpd.GeoDataFrame:
    return gpd.read_file(DEMO / "valves.gpkg")


@pytest.fixture(scope="module")
def readings() -> pd.DataFrame:
    rows = pd.read_csv(DEMO / "readings.csv", parse_dates=["time", "bagged_at"])
    truth = pd.read_csv(DEMO / "truth_readings.csv", keep_default_na=False)
    assert rows.index.to_list() == (truth["row"] - 2).to_list()
    assert rows["tree_id"].to_list() == truth["tree_id"].to_list()
    return rows.join(truth[["block", "valve", "swp_bar", "dirt"]])


@pytest.fixture(scope="module")
def clean(readings: pd.DataFrame) -> pd.DataFrame:
    return readings[readings["dirt"] == ""]


@pytest.fixture(scope="module")
def truth() -> pd.DataFrame:
    return pd.read_csv(DEMO / "truth_valves.csv", keep_default_na=False)


def test_both_ranches_are_complete() -> None:
    names = {
        "blocks.geojson", "irrigation.csv", "readings.csv", "truth_faults.csv", "truth_readings.csv",
        "truth_valves.csv", "weather.csv",
    }  # fmt: skip
    expected = {*names, "valves.gpkg", *(f"south/{name}" for name in names)}
    assert {path.as_posix() for path in FILES} == {*expected, "south/valves.geojson"}
    assert sum((DEMO / path).stat().st_size for path in FILES) < 1_500_000


@pytest.mark.parametrize("path", TEXTS, ids=str)
def test_the_script_draws_the_committed_file_byte_for_byte(path: Path, redrawn: Path) -> None:
    assert (redrawn / path).read_bytes() == (DEMO / path).read_bytes()


def test_the_script_draws_the_committed_valve_zones(valves: gpd.GeoDataFrame, redrawn: Path) -> None:
    # Contents, not bytes: the file's pages are laid out by the versions of GDAL and SQLite.
    again = gpd.read_file(redrawn / "valves.gpkg")
    assert again.crs == valves.crs == "EPSG:4326"
    assert (again.geometry.to_wkb() == valves.geometry.to_wkb()).all()
    pd.testing.assert_frame_equal(again.drop(columns="geometry"), valves.drop(columns="geometry"))


def test_blocks_are_the_stated_dozen(blocks: gpd.GeoDataFrame) -> None:
    assert blocks["crop"].value_counts().to_dict() == {"prune": 10, "almond": 1, "walnut": 1}
    assert blocks["block"].is_unique
    assert (blocks["planted"] > 2022).sum() == 1
    acres = blocks.to_crs(blocks.estimate_utm_crs()).area / 4046.8564224
    assert acres.between(8, 40).all()
    kinds = dict(zip(blocks["block"], blocks.geometry, strict=True))
    assert kinds["Roadside"].geom_type == "MultiPolygon"
    assert len(kinds["Old Well"].interiors) == 1
    assert kinds["Elbow"].area < 0.8 * kinds["Elbow"].minimum_rotated_rectangle.area


@pytest.mark.parametrize(("folder", "zones"), [(".", "valves.gpkg"), ("south", "valves.geojson")])
def test_valve_zones_tile_their_block_without_gap_or_overlap(folder: str, zones: str) -> None:
    blocks = gpd.read_file(DEMO / folder / "blocks.geojson").set_index("block")
    valves = gpd.read_file(DEMO / folder / zones)
    assert valves["valve"].is_unique
    for name, block in blocks.geometry.items():
        mine = valves.loc[valves["block"] == name].geometry.to_numpy()
        assert 3 <= len(mine) <= 6
        assert shapely.coverage_is_valid(mine)
        assert shapely.union_all(mine).symmetric_difference(block).area == 0.0
    for one, other in itertools.combinations(blocks.geometry, 2):
        assert not one.intersects(other)


@pytest.mark.parametrize("path", [p for p in FILES if p.suffix == ".geojson"], ids=str)
def test_geojson_keeps_to_the_standard(path: Path) -> None:
    # RFC 7946, sections 3.1.6 (rings), 4 (no crs member) and 11.2 (precision); from memory, cross-checked.
    text = (DEMO / path).read_text(encoding="utf-8")
    assert '"crs"' not in text
    shapes = gpd.read_file(DEMO / path).geometry
    assert shapes.is_valid.all()
    for part in shapes.explode():
        assert part.exterior.is_ccw
        assert not any(ring.is_ccw for ring in part.interiors)
    corners = shapely.get_coordinates(shapes.to_numpy())
    assert np.array_equal(corners, corners.round(7))


def test_earlier_visits_have_about_forty_readings_and_the_last_one_uneven_seventy(
    readings: pd.DataFrame,
) -> None:
    days = readings["time"].dt.strftime("%Y-%m-%d").replace("2026-07-15", "2026-07-14")
    count = days.value_counts().sort_index()
    assert tuple(count.index) == VISITS
    assert count[:-1].between(36, 46).all()
    assert 65 <= count["2026-07-14"] <= 80
    gaps = np.diff(pd.DatetimeIndex(VISITS).day_of_year)
    assert set(gaps) <= {6, 7}
    july = readings[(days == "2026-07-14") & (readings["leaf"] == 1)]
    assert set(july["time"].dt.day) == {14, 15}
    per_block = july.drop_duplicates("tree_id")["block"].value_counts()
    assert len(per_block) == 12
    assert per_block.between(3, 8).all()
    assert per_block.nunique() >= 3


def test_clean_readings_keep_to_practice(clean: pd.DataFrame) -> None:
    # Common practice, no source: 13:00 to 15:00, bags on for ten minutes or more, 3 to 40 bar, and a second
    # end point that is the same or slightly higher.
    clock = clean["time"].dt.hour * 60 + clean["time"].dt.minute
    assert clock.between(13 * 60, 15 * 60).all()
    assert (clean["time"] - clean["bagged_at"]).dt.total_seconds().between(600, 3600).all()
    assert clean["pressure_bar"].between(3, 40).all()
    again = (clean["recheck_bar"] - clean["pressure_bar"]).dropna()
    assert len(again) > 0.1 * len(clean)
    assert again.abs().max() <= 1.0
    assert again.mean() > 0


def test_clean_readings_lie_in_the_valve_zone_that_the_truth_names(
    clean: pd.DataFrame, valves: gpd.GeoDataFrame
) -> None:
    points = gpd.GeoDataFrame(
        {"true": clean["valve"]}, geometry=gpd.points_from_xy(clean["lon"], clean["lat"]), crs=4326
    )
    joined = points.sjoin(valves[["valve", "geometry"]], predicate="within")
    assert len(joined) == len(points)
    assert (joined["true"] == joined["valve"]).all()


def test_gauges_show_the_truth_with_the_stated_error_and_offset(clean: pd.DataFrame) -> None:
    # Stated beside the data: error sd 0.35 bar, chamber B 0.4 bar above; bounds are five standard errors.
    off = (clean["pressure_bar"] + clean["swp_bar"]).groupby(clean["chamber"])
    for chamber, stated in (("A", 0.0), ("B", 0.4)):
        n = off.size()[chamber]
        assert abs(off.mean()[chamber] - stated) < 5 * 0.35 / np.sqrt(n)
        assert abs(off.std()[chamber] - 0.35) < 5 * 0.35 / np.sqrt(2 * n)


def test_no_tree_is_wetter_than_a_fully_watered_one(clean: pd.DataFrame, blocks: gpd.GeoDataFrame) -> None:
    # Prune and almond share the line -4.1 - 1.2 VPD (J. Amer. Soc. Hort. Sci. 117(4):607-611, 1992; from
    # memory, formula cross-checked); saturation pressure: FAO Irrigation and Drainage Paper 56, equation 11.
    weather = pd.read_csv(DEMO / "weather.csv", parse_dates=["time"])
    full = 0.6108 * np.exp(17.27 * weather["temp_c"] / (weather["temp_c"] + 237.3))
    deficit = full * (1 - weather["rh_pct"] / 100)
    seconds = (clean["time"] - weather["time"][0]).dt.total_seconds()
    at = (weather["time"] - weather["time"][0]).dt.total_seconds()
    baseline = -4.1 - 1.2 * np.interp(seconds, at, deficit)
    crop = clean["block"].map(blocks.set_index("block")["crop"])
    prune = (crop != "walnut").to_numpy()
    assert (clean["swp_bar"] - baseline)[prune].max() <= 0.01
    assert (-clean["pressure_bar"] - baseline)[prune].max() <= 3.5 * 0.35


def test_every_kind_of_mistake_is_there_on_the_last_visit(readings: pd.DataFrame) -> None:
    july = readings[readings["time"] >= "2026-07-14"]
    assert july.loc[july["dirt"] != "", "dirt"].value_counts().to_dict() == {
        "outside_window": 1, "short_bag": 1, "duplicate": 1, "outside_blocks": 1, "no_value": 1,
        "sign_read_as_potential": 1, "lonlat_swapped": 1, "unit_suspect": 1, "recheck_apart": 1,
    }  # fmt: skip


def test_spoilt_rows_are_spoilt_as_stated(readings: pd.DataFrame, blocks: gpd.GeoDataFrame) -> None:
    of = dict(tuple(readings[readings["dirt"] != ""].groupby("dirt")))
    assert not of["outside_window"]["time"].dt.hour.isin([13, 14]).any()
    assert ((of["short_bag"]["time"] - of["short_bag"]["bagged_at"]).dt.total_seconds() < 600).all()
    before = readings.drop(columns="dirt").loc[of["duplicate"].index - 1].reset_index(drop=True)
    pd.testing.assert_frame_equal(of["duplicate"].drop(columns="dirt").reset_index(drop=True), before)
    far = gpd.points_from_xy(of["outside_blocks"]["lon"], of["outside_blocks"]["lat"], crs=4326)
    utm = blocks.estimate_utm_crs()
    assert far.to_crs(utm).distance(blocks.to_crs(utm).union_all()).min() > 50
    assert of["no_value"]["pressure_bar"].isna().all()
    assert (of["sign_read_as_potential"]["pressure_bar"] < -3).all()
    assert (of["lonlat_swapped"]["lat"] < -100).all()
    assert (of["unit_suspect"]["pressure_bar"] < 3).all()
    assert ((of["recheck_apart"]["recheck_bar"] - of["recheck_apart"]["pressure_bar"]) > 1).all()


def test_trees_are_read_again(clean: pd.DataFrame) -> None:
    july = clean[clean["time"] >= "2026-07-14"]
    leaves = july.groupby("tree_id").agg(leaves=("leaf", "nunique"), chambers=("chamber", "nunique"))
    assert (leaves["leaves"] > 1).sum() >= 4
    assert (leaves["chambers"] > 1).sum() >= 3
    visits = clean.groupby("tree_id")["time"].agg(lambda times: times.dt.normalize().nunique())
    assert (visits >= 6).sum() >= 20
    assert (visits <= 2).sum() >= 24


def test_the_truth_adds_up(truth: pd.DataFrame, valves: gpd.GeoDataFrame) -> None:
    assert truth.groupby("visit").size().to_dict() == dict.fromkeys(VISITS, len(valves))
    for _, rows in truth.groupby("visit"):
        assert set(rows["valve"]) == set(valves["valve"])
        assert (rows["target_bar"] - rows["swp_bar"] - rows["below_target_bar"]).abs().max() <= 0.0016
    assert (truth["swp_bar"] < truth["baseline_bar"]).all()
    hectares = valves.to_crs(valves.estimate_utm_crs()).set_index("valve").area / 1e4
    drawn = truth[truth["visit"] == "2026-07-14"].set_index("valve")["area_ha"]
    # The drawing is in plane metres; UTM's scale there changes an area by under 0.2 %.
    assert ((hectares / drawn) - 1).abs().max() < 0.002


def test_the_prune_target_falls_along_the_stated_line(truth: pd.DataFrame, blocks: gpd.GeoDataFrame) -> None:
    # Common practice, no source: from -6 bar on 1 May in a straight line to -14 bar on 1 August, 92 days on.
    old = set(blocks.loc[(blocks["crop"] == "prune") & (blocks["planted"] < 2022), "block"])
    rows = truth[truth["block"].isin(old)]
    shown = rows.groupby("visit")["target_bar"].agg(["min", "max"])
    days = {"2026-05-28": 27.0, "2026-06-25": 55.0, "2026-07-14": 74.5}
    for visit, after in days.items():
        assert shown.loc[visit].to_list() == pytest.approx([-6 - 8 * after / 92] * 2, abs=5e-4)


def test_all_four_priorities_occur_on_the_last_visit(truth: pd.DataFrame) -> None:
    july = truth[truth["visit"] == "2026-07-14"]
    prune = july.loc[july["crop"] == "prune", "below_target_bar"]
    classes = np.digitize(prune, [0.0, 2.0, 4.0], right=True)
    assert np.bincount(classes, minlength=4).min() >= 3


def test_a_dry_fault_makes_a_step_at_its_valve(truth: pd.DataFrame) -> None:
    july = truth[truth["visit"] == "2026-07-14"]
    wet = {"leaks, runs wet", "gets its neighbour's water too"}
    for row in july[(july["cause"] != "") & ~july["cause"].isin(wet)].itertuples():
        rest = july[(july["block"] == row.block) & (july["cause"] == "")]
        assert row.below_target_bar > rest["below_target_bar"].mean() + 1.0


def test_the_log_names_known_valves_and_shows_the_missed_sets(valves: gpd.GeoDataFrame) -> None:
    log = pd.read_csv(DEMO / "irrigation.csv", parse_dates=["start", "end"])
    assert set(log["valve"]) == set(valves["valve"])
    hours = (log["end"] - log["start"]).dt.total_seconds() / 3600
    limits = log["valve"].map(valves.set_index("valve")["max_hours"])
    assert ((hours > 1) & (hours <= limits)).all()
    assert log["end"].max() < pd.Timestamp("2026-07-14 13:00")
    last = log.groupby("valve")["end"].max()
    assert last["BE3"] < pd.Timestamp("2026-06-30") < last[["BE1", "BE2", "BE4"]].min()


def test_the_truth_of_faults_names_what_the_season_shows(
    valves: gpd.GeoDataFrame, truth: pd.DataFrame
) -> None:
    faults = pd.read_csv(DEMO / "truth_faults.csv", keep_default_na=False)
    assert set(faults["valve"]) <= {*valves["valve"], ""}
    blocks = faults[faults["valve"] == ""].set_index("block")["cause"].to_dict()
    assert blocks == {
        "Long": "drip run like flood", "Bend": "sprinklers, long gaps", "West": "let down too fast",
    }  # fmt: skip
    begun = truth[truth["cause"] != ""].groupby("valve")["visit"].min()
    since = faults[faults["valve"] != ""].set_index("valve")["since"]
    assert (begun[since.index] >= since).all()


def test_sets_long_apart_stand_in_the_log(valves: gpd.GeoDataFrame) -> None:
    log = pd.read_csv(DEMO / "irrigation.csv", parse_dates=["start", "end"])
    log["block"] = log["valve"].map(valves.set_index("valve")["block"])
    log["hours"] = (log["end"] - log["start"]).dt.total_seconds() / 3600
    gap = log.sort_values("start").groupby("valve")["start"].diff().dt.days.groupby(log["block"]).median()
    hours = log[log["start"] >= "2026-06-01"].groupby("block")["hours"].median()
    assert (gap["Long"], gap["Bend"], gap["Elbow"], gap["Home"]) == (9, 11, 3, 14)
    assert hours["Long"] > 2 * hours["Elbow"]


def test_a_clogged_filter_keeps_the_trees_dry_whatever_the_log_says(truth: pd.DataFrame) -> None:
    log = pd.read_csv(DEMO / "irrigation.csv")
    assert abs((log["valve"] == "SH2").sum() - (log["valve"] == "SH1").sum()) <= 1
    by = truth.pivot_table(index="visit", columns="valve", values="depletion_mm")
    assert by.loc["2026-06-04", "SH2"] == pytest.approx(by.loc["2026-06-04", "SH1"], abs=12)
    assert (by.loc["2026-06-25":, "SH2"] > by.loc["2026-06-25":, "SH1"] + 20).all()


def test_one_block_is_let_down_faster_than_its_target(truth: pd.DataFrame) -> None:
    later = truth[truth["visit"] >= "2026-06-01"]
    sound = later[~later["valve"].isin(later.loc[later["cause"] != "", "valve"])]
    sound = sound.assign(
        below_line=sound["baseline_bar"] - sound["swp_bar"], day=pd.DatetimeIndex(sound["visit"]).day_of_year
    )
    slopes = {
        name: 7 * np.polyfit(own["day"], own["below_line"], 1)[0] for name, own in sound.groupby("block")
    }
    assert sorted(slopes, key=slopes.__getitem__)[-1] == "West"
    assert slopes["West"] > np.median(list(slopes.values())) + 0.2


@pytest.mark.parametrize(
    ("path", "separator", "decimal", "form"),
    [("weather.csv", ",", ".", "%Y-%m-%d %H:%M"), ("south/weather.csv", ";", ",", "%d/%m/%Y %H:%M")],
)
def test_weather_is_hourly_and_hot_and_dry(path: str, separator: str, decimal: str, form: str) -> None:
    # Common practice, no source: warm dry summers, coolest at dawn, warmest in the later afternoon.
    table = pd.read_csv(DEMO / path, sep=separator, decimal=decimal)
    times = pd.to_datetime(table["time"], format=form)
    assert (times.diff().dropna() == pd.Timedelta(hours=1)).all()
    assert table["rh_pct"].between(5, 100).all()
    by_hour = table.groupby(times.dt.hour)["temp_c"].mean()
    assert by_hour.idxmin() in range(5, 8)
    assert by_hour.idxmax() in range(15, 18)
    assert 38 < table["temp_c"].max() < 47
    assert table["temp_c"].min() > 0
    night = table.loc[times.dt.hour.isin([0, 1, 2, 3]), "solar_w_m2"]
    assert (night == 0).all()
    assert 900 < table["solar_w_m2"].max() < 1100


def test_the_southern_readings_are_written_as_people_there_write() -> None:
    text = (DEMO / "south" / "readings.csv").read_text(encoding="utf-8")
    assert text.startswith("Árbol;Fecha y hora;Longitud;Latitud;Presión (MPa);")
    rows = pd.read_csv(DEMO / "south" / "readings.csv", sep=";", decimal=",")
    truth = pd.read_csv(DEMO / "south" / "truth_readings.csv", keep_default_na=False)
    good = (truth["dirt"] == "").to_numpy()
    assert rows.loc[good, "Presión (MPa)"].between(0.3, 4.0).all()
    assert (rows.loc[good, "Presión (MPa)"] * 10 + truth.loc[good, "swp_bar"]).abs().max() < 2.0
    assert rows["Longitud"].between(-72, -70).all()
    days = pd.to_datetime(rows["Fecha y hora"], format="%d/%m/%Y %H:%M").dt.normalize()
    assert (days == pd.Timestamp("2026-01-20")).all()
