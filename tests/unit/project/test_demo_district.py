"""The committed district is what its script draws, and holds the ranches that its page says."""

import itertools
import subprocess
import sys
import tomllib
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
import shapely

from stressmap.core.settings import load

ROOT = Path(__file__).parents[3]
DISTRICT = ROOT / "demo_gis" / "district"
SETTINGS = ROOT / "config" / "demo_district.toml"
SLUGS = (
    "heron_slough", "two_culverts", "la_paloma", "new_ground",
    "old_ferry", "bench_almonds", "sycamore_corner", "gravel_pit",
)  # fmt: skip
FILES = sorted(path.relative_to(DISTRICT).as_posix() for path in DISTRICT.rglob("*") if path.is_file())


@pytest.fixture(scope="module")
def redrawn(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drawn") / "district"
    script = [sys.executable, str(ROOT / "demo_gis" / "draw_district.py"), "--out", str(folder)]
    done = subprocess.run(script, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder


@pytest.fixture(scope="module")
def blocks() -> dict[str, gpd.GeoDataFrame]:
    return {slug: gpd.read_file(DISTRICT / slug / "blocks.geojson") for slug in SLUGS}


def test_the_script_draws_the_committed_files_byte_for_byte(redrawn: Path) -> None:
    drawn = sorted(path.relative_to(redrawn).as_posix() for path in redrawn.rglob("*") if path.is_file())
    assert drawn == FILES
    assert [name for name in FILES if (redrawn / name).read_bytes() != (DISTRICT / name).read_bytes()] == []


def test_there_are_eight_ranches_in_small_files() -> None:
    with SETTINGS.open("rb") as file:
        table = tomllib.load(file)
    assert [Path(name).name for name in table["district"]["ranches"]] == list(SLUGS)
    assert all((SETTINGS.parent / name / "ranch.toml").is_file() for name in table["district"]["ranches"])
    assert {name.split("/")[0] for name in FILES} == {*SLUGS, "weather.csv"}
    assert sum((DISTRICT / name).stat().st_size for name in FILES) < 400_000
    assert "invented" in SETTINGS.read_text(encoding="utf-8")


def test_each_ranch_says_that_it_is_invented_and_names_files_that_are_there() -> None:
    for slug in SLUGS:
        path = DISTRICT / slug / "ranch.toml"
        assert "invented" in path.read_text(encoding="utf-8")
        assert all(file.is_file() for file in load(path).inputs().values())


def test_the_ranches_differ_as_the_page_says(blocks: dict[str, gpd.GeoDataFrame]) -> None:
    assert {len(table) for table in blocks.values()} >= {4, 5, 6, 7, 10}
    together = pd.concat(blocks.values())
    assert set(together["crop"]) == {"prune", "almond", "walnut"}
    assert set(together["soil"].dropna()) == {"loam", "sandy loam", "clay loam"}
    assert blocks["new_ground"].get("soil") is None
    assert load(DISTRICT / "la_paloma" / "ranch.toml").ranch.languages == ("es",)
    logs = [slug for slug in SLUGS if (DISTRICT / slug / "irrigation.csv").is_file()]
    assert logs == ["heron_slough", "gravel_pit"]


def test_one_ranch_has_ten_readings_and_two_have_several_visits() -> None:
    dates = {
        slug: pd.to_datetime(pd.read_csv(DISTRICT / slug / "readings.csv")["time"]).dt.date
        for slug in SLUGS
        if slug != "la_paloma"
    }
    assert len(dates["new_ground"]) == 10
    visits = {slug: len(set(days)) for slug, days in dates.items()}
    assert (visits.pop("heron_slough"), visits.pop("gravel_pit")) == (3, 2)
    assert set(visits.values()) == {1}
    spanish = (DISTRICT / "la_paloma" / "readings.csv").read_text(encoding="utf-8")
    assert spanish.startswith("Árbol;Fecha y hora;Longitud;Latitud;Presión (bar);")


def test_no_ground_is_drawn_twice(blocks: dict[str, gpd.GeoDataFrame]) -> None:
    for slug, table in blocks.items():
        valves = gpd.read_file(DISTRICT / slug / "valves.geojson")
        assert valves["valve"].is_unique
        for name, shape in zip(table["block"], table.geometry, strict=True):
            own = valves.loc[valves["block"] == name].geometry.to_numpy()
            assert shapely.union_all(own).symmetric_difference(shape).area == 0.0
    shapes = [table.union_all() for table in blocks.values()]
    assert not any(one.intersects(other) for one, other in itertools.combinations(shapes, 2))
