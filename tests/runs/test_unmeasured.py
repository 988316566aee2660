"""Blocks without readings are named as not measured everywhere, and can be left out of the ranking."""

import json
import re

import pandas as pd
import pyogrio
import pytest
from helpers import small_ranch
from helpers.watered_ranch import MORE_COLUMNS, WATER


@pytest.fixture
def north_only(tmp_path):
    """Only the north block was measured."""
    ranch = small_ranch.write(tmp_path / "ranch")
    table = small_ranch.readings(40)
    split = table["lon"].min() + 0.48 * (table["lon"].max() - table["lon"].min())
    table[table["lon"] < split].to_csv(ranch.parent / "readings.csv", index=False)
    return ranch


def test_a_block_without_readings_is_told_with_a_wide_interval(stressmap, north_only, tmp_path):
    assert stressmap("run", north_only, "--out", tmp_path / "out").code == 0
    valves = pd.read_csv(tmp_path / "out" / "valves.csv").set_index("valve")
    assert valves["measured"].to_dict() == {"N1": True, "N2": True, "S1": False, "S2": False}
    assert (
        valves.loc[["S1", "S2"], "stress_se_bar"].min()
        > 1.5 * valves.loc[["N1", "N2"], "stress_se_bar"].max()
    )
    record = json.loads((tmp_path / "out" / "run.json").read_text())
    assert record["counts"]["blocks_without_readings"] == 1
    zones = json.loads((tmp_path / "out" / "zones.geojson").read_text())["features"]
    assert {f["properties"]["block"]: f["properties"]["measured"] for f in zones} == {
        "North Shed": True,
        "South Shed": False,
    }
    assert "South Shed" in " ".join(record["warnings"])


def test_it_can_be_left_out_of_the_ranking(stressmap, north_only, tmp_path):
    text = north_only.read_text() + "rank_unmeasured = false\n"
    north_only.write_text(text)
    answer = stressmap("run", north_only, "--out", tmp_path / "out")
    assert (answer.code, answer.err) == (0, "")
    valves = pd.read_csv(tmp_path / "out" / "valves.csv")
    assert valves["rank"].tolist()[:2] == [1.0, 2.0]
    assert valves["rank"].isna().sum() == 2
    assert set(valves["valve"][2:]) == {"S1", "S2"}


def test_no_file_stumbles_over_a_valve_without_a_rank(stressmap, north_only, tmp_path):
    more = f"rank_unmeasured = false\n{WATER}"
    north_only.write_text(north_only.read_text() + more)
    small_ranch.valves().merge(MORE_COLUMNS).to_file(north_only.parent / "valves.gpkg", driver="GPKG")
    answer = stressmap("run", north_only, "--out", tmp_path / "out")
    assert (answer.code, answer.err) == (0, "")
    out = tmp_path / "out"
    for name in ("valves.csv", "valves.geojson", "waypoints.gpx", "map.kml", "water_plan.txt", "run.json"):
        assert not re.search(r"\bnan\b|<NA>|NaN", (out / name).read_text(encoding="utf-8")), name
    page = json.loads((out / "valves.geojson").read_text())["features"]
    assert [f["properties"]["rank"] for f in page] == [1, 2, None, None]
    stored = pyogrio.read_dataframe(out / "ranch.gpkg", layer="valves")
    assert stored["rank"].isna().tolist() == [False, False, True, True]
    assert stored["drawn_as"].tolist()[2:] == [0, 0]
    drawn = json.loads((out / "map.html").read_text().split('id="ranch-data">')[1].split("</script>")[0])
    assert {z["block"]: z["measured"] for z in drawn["zones"]} == {"North Shed": True, "South Shed": False}
    assert [v["rank"] for v in drawn["valves"]] == [1, 2, None, None]
    unranked = [line.split()[1] for line in answer.out.splitlines() if re.match(r"\s*-\s+S\d ", line)]
    assert sorted(unranked[:2]) == ["S1", "S2"]
