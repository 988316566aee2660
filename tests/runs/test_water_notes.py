"""What a water plan says of valves to look at first and of blocks with too few trees."""

import re
from pathlib import Path

import pandas as pd
import pytest
from helpers import small_ranch
from helpers.watered_ranch import MORE_COLUMNS, WATER
from shapely.geometry import Point

LOOK = "Look before you open [^:]*S2[^:]*: pressure, filter, emitters, flow"


def ranch(folder: Path, **columns: list[str | None]) -> Path:
    """The valves of South Shed differ by 5 bar, with a standard error of far less: S2 is to be looked at."""
    water = WATER.replace("2500 m3", "9000 m3").replace('hours = ["20:00", "06:00"]', "")
    source = small_ranch.write(folder, small_ranch.SETTINGS + water)
    small_ranch.valves().merge(MORE_COLUMNS).assign(**columns).to_file(folder / "valves.gpkg", driver="GPKG")
    return source


def plan_of(stressmap, source: Path) -> tuple[pd.DataFrame, str]:
    out = source.parent / "plan"
    answer = stressmap("water", source, "--out", out)
    assert answer.code == 0
    return pd.read_csv(out / "water_plan.csv").set_index("valve"), " ".join(answer.out.split())


def test_a_valve_far_drier_than_its_block_is_looked_at_and_held_until_it_is_checked(stressmap, tmp_path):
    plan, said = plan_of(stressmap, ranch(tmp_path / "held"))
    assert re.search(LOOK, said)
    assert plan["inspect"]["S2"] == "drier_than_block"
    # Use is told from the day after the reading to the next turn, five days; the plan has four.
    of_days = plan["etc_until_mm"]["S2"] / 5.0 * 4.0
    assert plan["net_mm"]["S2"] <= of_days + 1e-6
    looked = ["2026-07-14", None, None, "2026-07-14"]
    freed, said = plan_of(stressmap, ranch(tmp_path / "freed", checked=looked))
    assert "Look before you open" not in said
    assert freed["inspect"].isna().all()
    assert of_days < freed["net_mm"]["S2"] <= 1.5 * of_days + 1e-6


def test_a_block_of_two_trees_has_no_amounts_and_the_plan_says_so(stressmap, tmp_path):
    source = ranch(tmp_path / "thin")
    readings = pd.read_csv(source.parent / "readings.csv")
    north = small_ranch.blocks().to_crs("EPSG:4326").geometry.iloc[0]
    inside = [north.contains(Point(x, y)) for x, y in zip(readings["lon"], readings["lat"], strict=True)]
    places = pd.Series(inside)
    kept = readings[~places | (places.cumsum() <= 2)]
    kept.to_csv(source.parent / "readings.csv", index=False)
    plan, said = plan_of(stressmap, source)
    assert "Fewer than 3 trees were read in North Shed: the plan gives their valves no amounts" in said
    assert plan["status"]["N1"] == "order only, too few trees"
    assert plan["hours"][["N1", "N2"]].tolist() == [0.0, 0.0]
    assert plan["hours"]["S2"] > 0.0
    source.write_text(source.read_text().replace("[water]", "[water]\namounts_anyway = true"))
    plan, said = plan_of(stressmap, source)
    assert plan["hours"]["N1"] > 0.0
    assert "Fewer than 3 trees" not in said


@pytest.mark.parametrize(
    ("line", "message"),
    [
        (
            'reserve = "9000 m3"',
            "column water.reserve: the reserve of 9,000 m3 leaves no water to plan",
        ),
        ('pump_least = { "P" = "1 m3/h" }', "column water.pump_least: there is no pump 'P'."),
        ('source_days = { "Canal" = [2026-07-17] }', "column water.source_days: there is no source 'Canal'."),
    ],
)
def test_what_cannot_be_meant_is_one_line(stressmap, tmp_path, line, message):
    source = ranch(tmp_path / "ranch")
    source.write_text(source.read_text().replace("[water]", f"[water]\n{line}"))
    answer = stressmap("water", source, "--out", tmp_path / "plan")
    assert answer.code == 2
    assert [message in error for error in answer.errors] == [True]
    assert not (tmp_path / "plan").exists()
