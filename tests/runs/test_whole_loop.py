"""The whole loop on a new ranch: start, form, readings, map and plan, valve times, round, season."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pytest
from helpers import small_ranch
from helpers.node_runs import run_node
from helpers.paths import REPOSITORY

ZONE = "America/Los_Angeles"
WATER = """
[water]
available = "2500 m3"
pump = "90 m3/h"
from = 2026-07-16
days = 4
draws = 0

[round]
trees = 10
"""
VALVES = {"rate_mm_h": [1.5, 1.5, 1.0, 1.2]}
Events = list[dict[str, Any]]


def milliseconds(clock: str) -> int:
    return int(pd.Timestamp(clock, tz=ZONE).timestamp() * 1000)


def handed_over(events: Events, folder: Path, name: str) -> list[Path]:
    """Export a phone's day by the form's own scripts; a table without a row is none."""
    day = json.dumps({"zone": ZONE, "events": events})
    done = run_node("tests/js/entered_day.mjs", day, folder=REPOSITORY)
    assert done.returncode == 0, done.stderr
    files = {folder / f"{name}_{kind}.csv": text for kind, text in json.loads(done.stdout).items()}
    full = {file: text for file, text in files.items() if text.count("\n") > 1}
    for file, text in full.items():
        file.write_text(text, encoding="utf-8")
    return list(full)


def read(trees: pd.DataFrame, crew: str) -> Events:
    """What a crew enters: each tree bagged, and read twelve minutes later."""
    events: Events = []
    for tree in trees.to_dict("records"):
        name, place = (
            f"{tree['tree_id']} {crew} {tree['time']}",
            {"lon": tree["lon"], "lat": tree["lat"], "accuracy": 4},
        )
        known = {"key": tree["tree_id"], "tree_id": tree["tree_id"], "block": "", "valve": ""}
        at = milliseconds(tree["time"])
        bag = {"tree": known, "place": place, "stop": None, "crew": crew, "chamber": "K1"}
        events.append({"kind": "bag", "reading": name, "at": at - 720_000, **bag})
        events.append(
            {
                "kind": "read",
                "reading": name,
                "at": at,
                "pressure": tree["pressure_bar"],
                "unit": "bar",
                "place": place,
            }
        )
    return events


def opened(sets: pd.DataFrame, late: pd.Timedelta) -> Events:
    """What a crew enters of planned sets: each opened and closed some minutes late."""
    events: Events = []
    for one in sets.to_dict("records"):
        start, end = (int(pd.Timestamp(one[name]).timestamp() * 1000) for name in ("start", "end"))
        told = {
            "code": one["code"],
            "valve": one["valve"],
            "block": one["block"],
            "plannedStart": start,
            "plannedEnd": end,
        }
        shift = int(late.total_seconds() * 1000)
        events.append({"kind": "set", "entry": one["code"], **told})
        events.append({"kind": "opened", "entry": one["code"], "time": start + shift})
        events.append({"kind": "closed", "entry": one["code"], "time": end + shift})
    return events


@pytest.fixture
def ranch(stressmap, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder made by ``start``, with weather and water written in."""
    monkeypatch.chdir(tmp_path)
    small_ranch.blocks().to_crs("EPSG:4326").to_file(tmp_path / "blocks.geojson", driver="GeoJSON")
    zones = small_ranch.valves().assign(**VALVES)
    gpd.GeoDataFrame(zones, crs=small_ranch.CRS).to_file(tmp_path / "valves.gpkg", driver="GPKG")
    outlines = ("--blocks", tmp_path / "blocks.geojson", "--valves", tmp_path / "valves.gpkg")
    assert stressmap("start", tmp_path / "ranch", *outlines, "--crop", "prune").code == 0
    small_ranch.weather().to_csv(tmp_path / "ranch" / "weather.csv", index=False)
    source = tmp_path / "ranch" / "ranch.toml"
    text = source.read_text(encoding="utf-8").replace("\n# weather = ", "\nweather = ", 1)
    source.write_text(text + WATER, encoding="utf-8")
    return source


def test_a_season_goes_round_once(stressmap, ranch: Path, tmp_path: Path) -> None:
    made = stressmap("form", ranch, "--out", tmp_path / "form")
    assert (made.code, "0 trees known" in made.out) == (0, True)

    trees = small_ranch.readings()
    first = handed_over(read(trees.iloc[:14], "Ana"), tmp_path, "first")
    second = handed_over(read(trees.iloc[12:], "Luis"), tmp_path, "second")
    said = stressmap("add", ranch, *first, *second)
    assert "first_readings.csv: 14 readings new, 0 corrected, 0 there already." in said.out
    assert "second_readings.csv: 12 readings new, 0 corrected, 0 there already." in said.out
    assert "added already on" in stressmap("add", ranch, *first).out

    done = stressmap("run", ranch, "--quiet")
    assert (done.code, done.err) == (0, "")
    out = tmp_path / "outputs" / "ranch" / "2026-07-14"
    record = json.loads((out / "run.json").read_text(encoding="utf-8"))
    assert record["record"]["readings"] == 26
    assert record["counts"]["used"] == 26

    assert stressmap("water", ranch, "--available", "1000 m3").code == 0
    sets = pd.read_csv(out / "timetable.csv")
    made = stressmap("form", ranch, "--timetable", out / "timetable.csv", "--out", tmp_path / "form")
    assert f"24 trees known, 0 stops of a round, {len(sets)} sets planned" in made.out
    third = handed_over(opened(sets, pd.Timedelta(minutes=10)), tmp_path, "third")
    said = stressmap("add", ranch, *third, *second)
    assert f"third_sets.csv: {len(sets)} sets new, 0 corrected, 0 there already, 0 not filled" in said.out
    assert "second_readings.csv: added already on" in said.out

    planned = stressmap(
        "round", ranch, "--on", "2026-07-21", "--crews", "2", "--out", tmp_path / "round", "--quiet"
    )
    assert (planned.code, planned.err) == (0, "")
    stops = pd.read_csv(tmp_path / "round" / "round.csv").query("action == 'read'")
    assert set(stops["crew"]) == {1, 2}
    assert (tmp_path / "round" / "form" / "data.json").exists()
    pressures = dict(zip(trees["tree_id"], trees["pressure_bar"], strict=True))
    fresh = stops.assign(
        time="2026-07-21 " + stops["clock"], pressure_bar=stops["tree_id"].map(pressures).fillna(12.0) - 1.0
    )
    phones = [
        handed_over(read(fresh[fresh["crew"] == crew], f"Crew {crew}"), tmp_path, f"crew_{crew}")
        for crew in (1, 2)
    ]
    assert stressmap("add", ranch, *phones[0], *phones[1], *phones[0]).code == 0
    checked = stressmap("check", ranch)
    assert f"Visit 2026-07-21: {len(stops)} of {len(stops) + 26} readings would be used." in checked.out
    told = stressmap("season", ranch, "--out", tmp_path / "season")
    assert (told.code, told.err) == (0, "")
    season, cycles, due = (
        pd.read_csv(tmp_path / "season" / f"{name}.csv") for name in ("season", "cycles", "due")
    )
    assert set(season["visit"].astype(str)) >= {"2026-07-14", "2026-07-21"}
    assert set(cycles["valve"]) == set(sets["valve"])
    assert set(due["valve"]) == {"N1", "N2", "S1", "S2"}

    held = stressmap("record", ranch, "--out", tmp_path / "copy")
    assert f"Readings: {len(stops) + 26} in use, 0 earlier versions, 0 taken back." in held.out
    assert f"Valve times: {len(sets)} in use" in held.out
