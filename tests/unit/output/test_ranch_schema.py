"""The JSON Schema of ranch.toml accepts what the program accepts and refuses the wrong kinds it refuses."""

from __future__ import annotations

import copy
import datetime as dt
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from helpers import small_ranch
from jsonschema import Draft7Validator
from pydantic import ValidationError

from stressmap.agronomy.crops import load_profiles
from stressmap.core.errors import SettingsError
from stressmap.core.settings import Settings
from stressmap.output.staging.ranch_schema import packaged_text, ranch_schema

REPOSITORY = Path(__file__).parents[3]
SCHEMA = ranch_schema()
JUDGE = Draft7Validator(SCHEMA)
FULL = tomllib.loads("""
[ranch]
name = "R"
timezone = "America/Los_Angeles"
units = "us"
languages = ["en", "es"]
crs = "EPSG:32610"
spreadsheet = "es"
contact = "Office 555 0100"
[files]
readings = "readings.csv"
blocks = "blocks.geojson"
valves = "valves.gpkg"
weather = "weather.csv"
irrigation = "irrigation.csv"
attributes = "attributes.csv"
roads = "roads.geojson"
forecast = "forecast.csv"
last_season = "season_blocks.csv"
[names]
blocks = { 2 = "North" }
valves = { 3 = "V1" }
[visit]
from = 2026-07-14
to = 2026-07-15
[columns]
"Tree #" = "tree_id"
[reading]
unit = "bar"
window = ["13:00", "15:00"]
bag_minutes = 10
recheck_bar = 1.0
gps_m = 10
gps_accuracy_m = 3
possible_bar = [0.5, 70]
unlike_z = 3.5
chosen = "by plan"
date_order = "day-first"
crs = "EPSG:32610"
align_chambers = false
same_weather = true
keep = ["short_bag"]
[map]
cell_m = 5
rank_by = "below_target"
method = "structured"
edges_bar = [0, 2, 4]
smallest_zone_ha = 0.2
rank_unmeasured = true
water_share = 0.25
look_again = 10
covariate = "soil.tif"
basemap = "https://maps.example/{z}/{x}/{y}.png"
[round]
crews = 2
trees = 40
before_minutes = 20.0
most_bagged_minutes = 120.0
bag_seconds = 45.0
read_seconds = 150.0
walk_m_s = 1.0
drive_m_s = 3.5
start_seconds = 30.0
chambers = 2
start = [-120.6, 37.0]

[season]
allowed_bar = 4.0

[store]
url = "sqlite:///records/ranch.sqlite"
[model]
block_bar = 2.0
valve_bar = 1.5
pattern_bar = 1.5
tree_bar = 1.0
error_bar = 0.5
range_m = 100.0
[memory]
visits = 8
[water]
available = "120000 m3"
pumps = { "Pump 1" = "180 m3/h" }
from = 2026-07-16
days = 7
next_turn = 2026-07-23
hours = ["20:00", "24:00"]
crew_hours = [05:00:00, "21:00"]
out_of_service = ["N2"]
step_hours = 0.5
turns = 2
rest_hours = 4
walnut_wet_hours = 24
least_set_mm = { drip = 8 }
most_set_mm = { flood = 100 }
most_set_hours = { drip = 16 }
days_apart = { micro_sprinkler = 3 }
sets_a_week = { micro_sprinkler = 2 }
intake_mm_h = 12
sources = { "Pump 1" = "60000 m3" }
source_days = { "Pump 1" = [2026-07-16] }
reserve = "5000 m3"
pump_least = { "Pump 1" = "40 m3/h" }
pump_starts = 2
dear_hours = ["16:00", "21:00"]
pulse_minutes = 20
crews = 1
crew_valves = 6
travel_minutes = 5
salinity_ds_m = 0.8
mm_per_bar = 15
amounts_anyway = true
soil = "loam"
root_depth_m = 1.5
eto = "0.28 in"
divide_by = "uniformity"
uniformity = { drip = 0.9 }
efficiency = { flood = 0.6 }
draws = 100
time_limit_s = 30
[crops.fig]
also = ["figs"]
title = { en = "Fig", es = "Higo" }
hemisphere = "north"
season_target = [["05-01", -6.0], ["08-01", -14]]
harvest = "08-25"
usual_harvest = "08-25"
allowance = { points = [["05-01", 2.0], ["08-01", 4]], least_bar = 1.0 }
limit_bar = 8
limit_within = [{ from = "08-15", until = "09-30", limit_bar = 7 }]
cut_off = { least_days = 7, most_days = 14 }
baseline = { intercept_bar = -4.1, slope_bar_per_kpa = -1.2, vpd_range_kpa = [0.5, 6], provisional = true }
edges = { below_target = [0, 2, 4], below_baseline = [2, 4, 6], tension = [8, 12, 16] }
young = { driest_target_bar = -10.0, allowance_bar = 3.0, years = 4 }
too_wet = { below_baseline_bar = 0.5 }
stages = [{ from = "03-01", harm = 0.6, text = { en = "bloom", es = "flor" } }]
stress_coefficient = [[0, 1], [6, 0.5]]
roots = { depth_m = 1.2, depletion_fraction = 0.5 }
mm_per_bar = 6.5
cautions = [{ en = "Mind it.", es = "Cuidado.", standing = "read" }]
[crops.fig.crop_coefficient]
points = [["03-01", 0.5], ["11-01", 0.6]]
young_kc_mid = [0.3, 0.5]
standard_climate = true
height_m = 4
[[crops.fig.levels]]
scale = "absolute"
from_bar = -6
to_bar = -8
level = { en = "low", es = "bajo" }
text = { en = "fine", es = "bien" }
standing = "read"
[crops.fig.varieties.early]
also = ["first"]
allowance = { points = [["05-01", 2.0], ["08-01", 4]], least_bar = 1 }
baseline = { intercept_bar = -4.1, slope_bar_per_kpa = -1.2, vpd_range_kpa = [0.5, 6], provisional = true }
[crops.fig.sources.roots]
cite = "ours"
standing = "derived"
remark = "none"
""")
DICTS = (("sources",), ("varieties",))
"""Tables of a crop whose keys are names."""
KINDS: list[Any] = [
    True, 5, -5, 1, 0.5, "x", "5 m3", "13:00", "05-01", "2026-07-14", [], {}, dt.date(2026, 7, 14),
    dt.time(13),
    ["x"], [1, 2, 3], ["13:00", "15:00"], {"x": 1}, {"x": "5 m3"}, [[1]], [["05-01", -6.0], ["08-01", -14.0]],
]  # fmt: skip


def as_editors_read(value: Any) -> Any:
    """Turn days and times into text, as there are none in JSON."""
    if isinstance(value, dict):
        return {key: as_editors_read(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [as_editors_read(inner) for inner in value]
    return value.isoformat() if isinstance(value, dt.date | dt.time) else value


def complaints(table: dict[str, Any]) -> list[str]:
    return [error.message for error in JUDGE.iter_errors(as_editors_read(table))]


def accepted(table: dict[str, Any]) -> bool:
    """Tell whether the program accepts settings."""
    given = copy.deepcopy(table)
    if isinstance(given.get("files"), dict):
        given["files"] = {k: Path(v) if isinstance(v, str) else v for k, v in given["files"].items()}
    try:
        load_profiles(Settings.model_validate(given).crops, "ranch.toml")
    except (ValidationError, SettingsError):
        return False
    return True


def places(table: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if path:
        yield path
    inner = table.items() if isinstance(table, dict) else enumerate(table) if isinstance(table, list) else ()
    for key, value in inner:
        yield from places(value, (*path, key))


def with_value(path: tuple[Any, ...], value: Any) -> dict[str, Any]:
    table = copy.deepcopy(FULL)
    node: Any = table
    for key in path[:-1]:
        node = node[key]
    node[path[-1]] = value
    return table


def kind(value: Any) -> str:
    named = {bool: "switch", int: "number", float: "number", dict: "table", list: "list"}
    return named.get(type(value), "text")


PLACES = [path for path in places(FULL) if path != ("crops", "fig", "name")]


def test_the_schema_in_the_package_is_a_schema() -> None:
    Draft7Validator.check_schema(SCHEMA)
    assert '"http' not in packaged_text().replace('"http://json-schema.org/draft-07/schema#"', "")


def test_every_key_has_a_description_and_stands_in_the_sample() -> None:
    words = [tuple(key for key in path if isinstance(key, str)) for path in PLACES]
    sampled = {(*w[:3], "fig", *w[4:]) if w[2:3] in DICTS and w[4:] else w for w in words}

    def walk(node: Any, path: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
        for key, inner in node.get("properties", {}).items():
            assert len(inner["description"]) > 3, (path, key)
            yield (*path, key)
            yield from walk(inner, (*path, key))
        more = node.get("additionalProperties")
        if isinstance(more, dict):
            yield from walk(more, (*path, "fig"))
        if isinstance(node.get("items"), dict):
            yield from walk(node["items"], path)

    one_or_the_other = {("water", "pump"), ("crops", "fig", "name")}
    assert set(walk(SCHEMA, ())) - one_or_the_other <= sampled


@pytest.mark.parametrize(
    "text",
    [
        *(path.read_text(encoding="utf-8") for path in sorted((REPOSITORY / "config").glob("*_ranch.toml"))),
        small_ranch.SETTINGS,
    ],
)
def test_the_ranches_of_the_repository_are_accepted(text: str) -> None:
    assert complaints(tomllib.loads(text)) == []


def test_the_sample_with_every_key_is_accepted_by_both() -> None:
    assert accepted(FULL)
    assert complaints(FULL) == []


@pytest.mark.parametrize("path", PLACES, ids=lambda path: ".".join(map(str, path)))
def test_a_value_of_any_kind_is_judged_as_the_program_judges_it(path: tuple[Any, ...]) -> None:
    """What the program accepts, the schema accepts; a kind that the program never accepts, it refuses."""
    tried = [(value, with_value(path, value)) for value in KINDS]
    fits = [value for value, table in tried if accepted(table)]
    for value in fits:
        assert complaints(with_value(path, value)) == []
    node: Any = FULL
    for key in path:
        node = node[key]
    never = {kind(value) for value in KINDS} - {kind(value) for value in [*fits, node]}
    for value, table in tried:
        if kind(value) in never:
            assert not JUDGE.is_valid(as_editors_read(table)), value  # stops at the first complaint


@pytest.mark.parametrize("path", [(), *PLACES], ids=lambda path: ".".join(map(str, path)) or "top")
def test_a_key_that_the_program_does_not_know_is_refused(path: tuple[Any, ...]) -> None:
    node: Any = FULL
    for key in path:
        node = node[key]
    if isinstance(node, dict):
        table = with_value((*path, "unheard_of"), 1)
        assert not accepted(table)
        assert complaints(table) != []


@pytest.mark.parametrize("path", PLACES, ids=lambda path: ".".join(map(str, path)))
def test_a_missing_key_is_judged_as_the_program_judges_it(path: tuple[Any, ...]) -> None:
    table = copy.deepcopy(FULL)
    node: Any = table
    for key in path[:-1]:
        node = node[key]
    del node[path[-1]]
    if accepted(table):
        assert complaints(table) == []
    elif isinstance(path[-1], str):
        assert complaints(table) != []


def test_a_started_ranch_names_its_schema_and_fits_it(tmp_path: Path) -> None:
    from stressmap.jobs.start import start

    given = small_ranch.write(tmp_path / "given").parent
    start(tmp_path / "made", given / "blocks.geojson", given / "valves.gpkg")
    text = (tmp_path / "made" / "ranch.toml").read_text(encoding="utf-8")
    assert text.splitlines()[0] == "#:schema ./ranch.schema.json"
    assert complaints(tomllib.loads(text)) == []
    assert (tmp_path / "made" / "ranch.schema.json").read_text(encoding="utf-8") == packaged_text()
