"""What the season wants of a round: from log, timetable, season page, readings and the round before."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

import pandas as pd
import pytest
from helpers import drawn_round, small_ranch

from stressmap.core import settings
from stressmap.core.errors import SettingsError
from stressmap.intake.road_points import RoadPoint
from stressmap.jobs.assess_visit import assess_readings, load_inputs
from stressmap.jobs.round import mapped_visit
from stressmap.jobs.round_task import AskedRound, hourly_targets, hours_of, rules_of, standing_trees, start_of
from stressmap.jobs.round_wants import RoundDay, season_said, wants_of
from stressmap.jobs.trees_read import named_readings
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.staging.output_folder import round_folder
from stressmap.output.view.round_content import round_table
from stressmap.rounds.round import SeasonWants, StandingTree

DAY = dt.date(2026, 7, 21)
CLOSES = pd.Timestamp("2026-07-21 15:00", tz="America/Los_Angeles")
ASKED = AskedRound(DAY, dt.time(13), dt.time(15), 2)


@pytest.fixture
def source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return small_ranch.write(tmp_path / "ranch")


def wants(source: Path, day: dt.date = DAY, closes: pd.Timestamp = CLOSES) -> SeasonWants:
    inputs, orchard = load_inputs(source).value
    assessed = assess_readings(inputs, orchard, None).value
    named = named_readings(inputs.readings, inputs.settings, inputs.blocks, inputs.valves)
    return wants_of(inputs, assessed.readings, named, RoundDay(day, closes, 7, assessed.visit[0]), 2)


def trees(source: Path) -> tuple[StandingTree, ...]:
    inputs, _ = load_inputs(source).value
    named = named_readings(inputs.readings, inputs.settings, inputs.blocks, inputs.valves)
    return standing_trees(named, (dt.date(2026, 7, 14), dt.date(2026, 7, 14)))


def test_both_sides_of_sets_and_valves_that_run(source: Path) -> None:
    folder = source.parent / "outputs" / "two-sheds" / "2026-07-14"
    folder.mkdir(parents=True)
    (folder / "timetable.csv").write_text(
        "valve,start,end\nN1,2026-07-19 20:00,2026-07-20 05:00\nN2,2026-07-21 10:00,2026-07-21 14:00\n"
        "S1,2026-07-22 20:00,2026-07-23 05:00\nS2,2026-07-27 20:00,2026-07-28 05:00\n"
    )
    found = wants(source)
    assert (found.after, found.running, found.before) == ({"N1"}, {"N2"}, {"S1"})
    assert (found.never_read, found.left_out, found.read_today, found.due_days) == (set(), set(), set(), {})
    assert found.chambers == 2


def test_valves_due_before_the_next_visit_by_the_season_page(source: Path) -> None:
    folder = source.parent / "outputs" / "two-sheds" / "season"
    folder.mkdir(parents=True)
    (folder / "due.csv").write_text("valve,due\nN1,2026-07-23\nS1,2026-07-19\nS2,2026-08-09\nN2,\n")
    assert wants(source).due_days == {"N1": 2.0, "S1": 0.0}
    chosen, visit = settings.load(source), dt.date(2026, 7, 14)
    record = folder / "run.json"
    page = {"job": "season", "files": ["due.csv"], "versions": {"stressmap": "1"}}
    record.write_text(json.dumps(page | {"visits": [["2026-07-14", "2026-07-14"]]}))
    assert (wants(source).due_days, season_said(chosen, visit)) == ({"N1": 2.0, "S1": 0.0}, ())
    # a season from before the visit that is mapped does not count, and it is said
    record.write_text(json.dumps(page | {"visits": [["2026-07-06", "2026-07-07"]]}))
    assert wants(source).due_days == {}
    (note,) = season_said(chosen, visit)
    assert (note.code, note.value("day")) == ("round_old_season", dt.date(2026, 7, 7))
    record.unlink()
    (folder / "due.csv").write_text("something,else\n1,2\n")
    assert wants(source).due_days == {}
    (folder / "due.csv").unlink()
    (note,) = season_said(chosen, visit)
    assert (note.code, note.value("folder")) == ("round_no_season", "outputs/two-sheds/season")


def test_trees_left_out_never_read_or_read_today(source: Path) -> None:
    table = small_ranch.readings()
    north = table["lon"] < table["lon"].median()
    table.loc[table.index[north][0], "bag_minutes"] = 2
    table[north].to_csv(source.parent / "readings.csv", index=False)
    content = drawn_round.content(drawn_round.drawn(4, 1))
    folder = round_folder("Two Sheds", dt.date(2026, 7, 13))
    folder.mkdir(parents=True)
    write_csv(round_table(content), folder / "round.csv")
    found = wants(source)
    short = table[north]["tree_id"].iloc[0]
    planned = {stop.tree_id for stop in content.planned.stops}
    assert short in found.left_out
    assert found.left_out == {short} | (planned - set(table[north]["tree_id"]))
    today = wants(source, dt.date(2026, 7, 14), pd.Timestamp("2026-07-14 15:00", tz=CLOSES.tz))
    assert today.read_today == set(table[north]["tree_id"])


def test_trees_known_and_sick_ones(source: Path) -> None:
    table = small_ranch.readings().assign(note="")
    table.loc[0, "note"] = "sick tree; few leaves"
    again = table.head(3).assign(time="2026-07-07 13:30", note="")
    pd.concat([table, again]).to_csv(source.parent / "readings.csv", index=False)
    found = {tree.tree_id: tree for tree in trees(source)}
    assert len(found) == len(table)
    assert (found["T1"].visits, found["T1"].at_last, found["T1"].cautions) == (2, True, ("sick_tree",))
    assert (found["T9"].visits, found["T9"].cautions) == (1, ())


def test_trees_that_are_young_in_an_old_block_are_told(source: Path) -> None:
    table = small_ranch.readings().assign(note="")
    table.loc[[0, 1, 2], "note"] = ["Árbol joven", "replanted 2024", "planted 1999"]
    later = table.head(1).assign(time="2026-07-07 13:30", note="")  # told once is enough
    pd.concat([table, later]).to_csv(source.parent / "readings.csv", index=False)
    inputs, _ = load_inputs(source).value
    named = named_readings(inputs.readings, inputs.settings, inputs.blocks, inputs.valves)
    visit = (dt.date(2026, 7, 14), dt.date(2026, 7, 14))
    for planted, young in ((1998.0, {"T1", "T2"}), (2023.0, set()), (float("nan"), {"T1", "T2"})):
        found = standing_trees(named, visit, inputs.blocks.assign(planted=planted))
        assert {tree.tree_id for tree in found if "young_tree" in tree.cautions} == young


def test_hours_rules_and_what_a_tree_as_wet_as_it_should_be_shows(source: Path) -> None:
    """The weather file ends days before: the same hour of the days that it has tells what is expected."""
    inputs, orchard = load_inputs(source).value
    hours = hours_of(ASKED, inputs.settings)
    assert f"{hours.earliest:%H:%M}" == "12:40"
    late = AskedRound(DAY, dt.time(13, 40), dt.time(15), 1, late=True)
    assert f"{hours_of(late, inputs.settings).earliest:%H:%M}" == "13:40"
    assert (rules_of(ASKED, inputs.settings, read=39).trees, rules_of(ASKED, inputs.settings).crews) == (1, 2)
    targets = hourly_targets(inputs, orchard, hours)
    assert targets is not None
    assert targets.minute.tolist() == [0, 15, 30, 45, 60, 75, 90, 105, 120]
    # drier air later in the afternoon: a tree at its target shows more tension
    assert (targets.bar[:, -1] > targets.bar[:, 0]).all()
    assert ((targets.bar > 8) & (targets.bar < 25)).all()


def test_crews_start_at_a_place_or_at_a_point_by_name(source: Path) -> None:
    lon, lat = small_ranch.readings()[["lon", "lat"]].median()
    shapes = {"Shop": [lon, lat], "gate east": [lon + 0.001, lat]}
    features = [
        {"type": "Feature", "properties": {"name": name}, "geometry": {"type": "Point", "coordinates": at}}
        for name, at in shapes.items()
    ]
    line = {"type": "LineString", "coordinates": list(shapes.values())}
    features.append({"type": "Feature", "properties": {}, "geometry": line})
    roads = {"type": "FeatureCollection", "features": features}
    (source.parent / "roads.geojson").write_text(json.dumps(roads), encoding="utf-8")
    text = source.read_text(encoding="utf-8").replace("[files]", '[files]\nroads = "roads.geojson"')

    def start(written: str) -> tuple[float, float] | None:
        source.write_text(f"{text}\n[round]\nstart = {written}\n", encoding="utf-8")
        return start_of(load_inputs(source).value[0])

    assert start('"shop"') == pytest.approx(start(f"[{lon}, {lat}]"), abs=0.01)
    with pytest.raises(SettingsError, match=r"no point in \[files\] roads is called 'Barn'. Write .*'Shop'"):
        start('"Barn"')
    with pytest.raises(SettingsError, match=r"start: \[37.0, -80.0\] is .* km from every block. Write"):
        start("[37.0, -80.0]")
    with pytest.raises(SettingsError, match=r"\[37.0\] is no place. Write"):
        start("[37.0]")
    gates = [point for point in load_road_points(source) if point.gate]
    assert [point.name for point in gates] == ["gate east"]


def load_road_points(source: Path) -> tuple[RoadPoint, ...]:
    source.write_text(source.read_text(encoding="utf-8").replace("start = [37.0]", ""), encoding="utf-8")
    return load_inputs(source).value[0].road_points


def test_a_visit_that_has_only_begun_is_passed_over_where_it_tells_nothing(source: Path) -> None:
    table = small_ranch.readings()
    today = table.head(2).assign(time=f"{DAY} 13:10", bag_minutes=2)
    pd.concat([table, today]).to_csv(source.parent / "readings.csv", index=False)
    inputs, orchard = load_inputs(source).value
    before = (dt.date(2026, 7, 14), dt.date(2026, 7, 14))
    assert mapped_visit(inputs, orchard, DAY).value.visit == before  # its bags were too short
    today = today.assign(bag_minutes=15)
    pd.concat([table, today]).to_csv(source.parent / "readings.csv", index=False)
    inputs, orchard = load_inputs(source).value
    assert mapped_visit(inputs, orchard, DAY).value.visit == (DAY, DAY)
    source.write_text(source.read_text(encoding="utf-8") + "\n[memory]\nvisits = 0\n", encoding="utf-8")
    inputs, orchard = load_inputs(source).value
    assert mapped_visit(inputs, orchard, DAY).value.visit == before
    assert mapped_visit(inputs, orchard, dt.date(2026, 7, 16)).value.visit == before
