"""Readings of other visits on the map: small, the nearest in time, and back as they were."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json

import geopandas as gpd
import pandas as pd
from helpers.drawn_content import NASTY, START, small
from helpers.node_runs import run_node
from helpers.paths import REPOSITORY

from stressmap.output.view.content import Content
from stressmap.output.web.map_data import map_data
from stressmap.output.web.map_page import render, script_json
from stressmap.output.web.other_visits import MOST, nearest_in_time, pack_others

VISIT = (dt.date(2026, 7, 14), dt.date(2026, 7, 15))
SCRIPT = """
import { unpackOthers } from "./stressmap/output/web/map/listing.js";
let text = "";
for await (const part of process.stdin) text += part;
process.stdout.write(JSON.stringify(unpackOthers(JSON.parse(text))));
"""


def with_others(content: Content, count: int, visits: int = 20) -> Content:
    """The same with so many readings of earlier visits, a fortnight apart, at the trees of this one."""
    here = content.readings[content.readings["used"]]
    own = here.iloc[[k % len(here) for k in range(count)]].reset_index(drop=True)
    visit = pd.Series([k * visits // count for k in range(count)])
    times = [START - pd.Timedelta(days=14 * (v + 1), minutes=k % 90) for k, v in enumerate(visit)]
    trees = [f"{NASTY if k < 2 else 'T'}-{k * visits % count // visits}" for k in range(count)]
    earlier = own.assign(
        row=range(1000, 1000 + count), used=False, flags="outside_visit", time=times, tree_id=trees,
        pressure_bar=[9.0 + (k * 37 % 900) / 100 for k in range(count)],
    )  # fmt: skip
    return dataclasses.replace(content, readings=pd.concat([content.readings, earlier], ignore_index=True))


def test_they_come_out_of_the_page_as_they_went_in() -> None:
    one = {"tree": NASTY, "row": 8, "time": "2026-06-30T13:05", "used": False, "flags": ["outside_visit"],
           "block": "B", "valve": "V1", "pressure": 9.12, "swp": -9.12, "stress": -1.2, "predicted": None,
           "vpd": 2.1, "tooWet": False, "at": [38.00004, -121.50001]}  # fmt: skip
    given = [
        one, one | {"row": 9, "time": "2026-06-16", "valve": None, "at": None, "stress": None},
        one | {"tree": None, "row": 3, "time": None, "pressure": None, "flags": ["no_time", "outside_visit"]},
        one | {"tree": "A", "row": 4, "time": "2026-06-30T00:00", "block": None, "at": [-38.2, 179.99999]},
    ]  # fmt: skip
    packed = pack_others(given, len(given))
    done = run_node("--input-type=module", "-e", SCRIPT, folder=REPOSITORY, given=json.dumps(packed))
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    back = {(reading["tree"], reading["time"]): reading for reading in found}
    assert packed["total"] == len(found) == len(given)
    for reading in given:
        told = {name: reading[name] for name in reading if name not in {"swp", "vpd", "row"}}
        shown = back[reading["tree"], reading["time"]]
        assert {name: shown[name] for name in told} == told
        assert shown["row"] == (reading["row"] if reading["tree"] is None else None)


def test_the_nearest_in_time_are_kept_on_both_sides_of_the_visit() -> None:
    days = pd.date_range("2026-07-14 13:00", periods=2 * MOST, freq="D", tz=START.tz) - pd.Timedelta(
        days=MOST
    )
    table = gpd.GeoDataFrame({"time": days[(days < "2026-07-14") | (days >= "2026-07-16")]})
    unknown = gpd.GeoDataFrame({"time": pd.Series([pd.NaT], dtype=table["time"].dtype)})
    kept = nearest_in_time(pd.concat([unknown, table], ignore_index=True), VISIT)["time"]
    half = dt.timedelta(days=MOST // 2)
    assert len(kept) == MOST
    assert (kept.min().date(), kept.max().date()) == (VISIT[0] - half, VISIT[1] + half)


def test_thousands_of_readings_of_other_visits_do_not_bloat_the_map() -> None:
    """Change detector: 40 bytes a reading and MOST readings; a phone gets the map by message."""
    others = map_data(with_others(small(), MOST + 1000))["others"]
    assert len(script_json(others).encode()) < 40 * MOST
    assert (others["total"], len(others["clock"])) == (MOST + 1000, MOST)


def test_names_of_trees_of_other_visits_cannot_leave_their_place() -> None:
    page = render(with_others(small(), 40))
    assert "<script>window.hurt" not in page
    assert "\\u003cscript\\u003ewindow.hurt" in page
