"""Nothing that a user handed in, or keeps in an output folder, is ever written over: it is refused early."""

import json
import os
import sys

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from helpers import small_ranch
from rasterio.transform import from_origin

WATER = '\n[water]\navailable = "2000 m3"\npump = "240 m3/h"\nfrom = 2026-07-16\n'


@pytest.fixture
def ranch(tmp_path):
    return small_ranch.write(tmp_path / "ranch")


@pytest.fixture
def no_work(monkeypatch):
    """Let any reading of inputs fail: what is refused must be refused before."""
    from stressmap.jobs import check, plan_ground, run

    for job in (check, run, plan_ground):
        monkeypatch.setattr(job, "load_inputs", lambda *_: pytest.fail("the work began"))


def contents(folder):
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir()) if p.is_file()}


def named(ranch, key, old, new):
    """Rename an input and say so in the settings."""
    (ranch.parent / old).rename(ranch.parent / new)
    text = ranch.read_text().replace(f'{key} = "{old}"', f'{key} = "{new}"')
    ranch.write_text(text)


def covariate(path):
    grid = np.ones((8, 8), dtype="float32")
    place = from_origin(small_ranch.WEST - 100, small_ranch.SOUTH + 500, 100, 100)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=8,
        height=8,
        count=1,
        dtype="float32",
        crs=small_ranch.CRS,
        transform=place,
    ) as opened:
        opened.write(grid, 1)


def refused(answer, out, file):
    assert answer.code == 4
    assert answer.errors == [
        f"error: {out}: the input {file} lies in it and would be written over. "
        "Give another folder with --out."
    ]


@pytest.mark.usefixtures("no_work")
def test_a_run_over_its_covariate_is_refused(stressmap, ranch):
    covariate(ranch.parent / "stress.tif")
    ranch.write_text(ranch.read_text() + 'covariate = "stress.tif"\n')
    before = contents(ranch.parent)
    (ranch.parent / "readings.csv").rename(ranch.parent / "leaves.csv")
    ranch.write_text(ranch.read_text().replace("readings.csv", "leaves.csv"))
    before = contents(ranch.parent)
    refused(stressmap("run", ranch, "--out", ranch.parent), ranch.parent, "stress.tif")
    assert contents(ranch.parent) == before


@pytest.mark.usefixtures("no_work")
def test_a_water_plan_over_the_irrigation_log_is_refused(stressmap, ranch):
    named(ranch, "irrigation", "irrigation.csv", "timetable.csv")
    ranch.write_text(ranch.read_text() + WATER)
    before = contents(ranch.parent)
    refused(stressmap("water", ranch, "--out", ranch.parent), ranch.parent, "timetable.csv")
    assert contents(ranch.parent) == before


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize("command", ["run", "water"])
@pytest.mark.parametrize(
    ("key", "file"),
    [("blocks", "blocks.geojson"), ("weather", "weather.csv"), ("irrigation", "irrigation.csv")],
)
@pytest.mark.parametrize("how", ["link", "hard link", "other case"])
def test_a_link_to_an_input_counts_and_so_does_another_case(
    stressmap, ranch, tmp_path, command, key, file, how
):
    out = tmp_path / "out"
    out.mkdir()
    given = ranch.parent / file
    if how == "link":
        (out / "water_plan.csv").symlink_to(given)
    elif how == "hard link":
        os.link(given, out / "water_plan.csv")
    else:
        (out / "Water_Plan.CSV").write_bytes(given.read_bytes())
        ranch.write_text(ranch.read_text().replace(f'"{file}"', '"../out/Water_Plan.CSV"'))
        file = "Water_Plan.CSV"
    before = contents(out)
    refused(stressmap(command, ranch, "--out", out), out, file)
    assert contents(out) == before
    assert key in ranch.read_text()


@pytest.mark.usefixtures("no_work")
def test_every_file_of_a_shapefile_counts(stressmap, ranch, tmp_path):
    shapes = tmp_path / "shapes"
    shapes.mkdir()
    small_ranch.blocks().to_file(shapes / "blocks.shp")
    ranch.write_text(ranch.read_text().replace('"blocks.geojson"', '"../shapes/blocks.shp"'))
    for part in ("blocks.dbf", "blocks.shx", "blocks.prj", "blocks.cpg"):
        out = tmp_path / f"out {part}"
        out.mkdir()
        (out / "zones.geojson").symlink_to(shapes / part)
        refused(stressmap("run", ranch, "--out", out), out, part)


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize("command", ["run", "water"])
def test_the_settings_count_however_they_are_reached(stressmap, ranch, tmp_path, command):
    out, settings = tmp_path / "out", ranch.parent / "ranch.toml"
    out.mkdir()
    (out / "run.json").symlink_to(settings)
    inside = ranch.read_text()
    for name in ("readings.csv", "blocks.geojson", "valves.gpkg", "weather.csv", "irrigation.csv"):
        inside = inside.replace(f'"{name}"', f'"{(ranch.parent / name).as_posix()}"')
    ranch.write_text(inside)
    refused(stressmap(command, out / "run.json", "--out", out), out, "run.json")
    refused(stressmap(command, settings, "--out", out), out, "ranch.toml")


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize(
    ("command", "names"), [("run", ["readings.csv", "report.html"]), ("water", ["timetable.csv"])]
)
def test_the_users_own_files_in_the_output_folder_are_refused(stressmap, ranch, tmp_path, command, names):
    out = tmp_path / "out"
    out.mkdir()
    for name in names:
        (out / name).write_text("of last year")
    (out / "notes.txt").write_text("mine")
    before = contents(out)
    answer = stressmap(command, ranch, "--out", out)
    assert answer.code == 4
    assert answer.errors == [
        f"error: {out}: it holds {', '.join(names)}, not written by an earlier run, which would be replaced. "
        "Move what is yours elsewhere, or give another folder with --out."
    ]
    assert contents(out) == before


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize(
    "page", ["{}", "[]", "mine", '{"files": ["map.html"], "versions": {}}', "[" * 100_000]
)
def test_a_record_that_is_not_ours_makes_no_result(stressmap, ranch, tmp_path, page):
    out = tmp_path / "out"
    out.mkdir()
    (out / "map.html").write_text("mine")
    (out / "run.json").write_text(page)
    answer = stressmap("run", ranch, "--out", out)
    assert answer.code == 4
    assert answer.errors[0].startswith(
        f"error: {out}: it holds map.html, run.json, not written by an earlier run"
    )
    assert (out / "map.html").read_text() == "mine"


def test_a_plan_goes_over_a_plan_and_never_into_a_run(stressmap, ranch, tmp_path):
    ranch.write_text(ranch.read_text() + WATER)
    out = tmp_path / "plan"
    assert stressmap("water", ranch, "--curve", "--out", out, "--quiet").code == 0
    (out / "notes.txt").write_text("mine")
    assert stressmap("water", ranch, "--out", out, "--quiet").code == 0
    assert {p.name for p in out.iterdir()} == {
        "water_plan.csv", "timetable.csv", "valve_times.xlsx", "water_plan.txt", "run.json", "notes.txt",
    }  # fmt: skip
    whole = tmp_path / "whole"
    whole.mkdir()
    page = {"job": "run", "files": ["report.html", "run.json"], "versions": {"stressmap": "1"}}
    (whole / "run.json").write_text(json.dumps(page))
    (whole / "report.html").write_text("a report")
    before = contents(whole)
    answer = stressmap("water", ranch, "--out", whole)
    assert answer.code == 4
    assert answer.errors == [
        f"error: {whole}: it holds the result of a whole run (run.json), whose report and maps tell of "
        "another plan. Give another folder with --out."
    ]
    assert contents(whole) == before


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize("command", ["run", "water", "check"])
def test_an_unwritable_place_is_found_before_the_work(stressmap, ranch, tmp_path, command):
    (tmp_path / "file").write_text("mine")
    for place in (
        tmp_path / "file" / "under",
        "/proc/none/x" if sys.platform == "linux" else tmp_path / "file",
    ):
        answer = stressmap(command, ranch, "--out", place)
        assert answer.code == 4
        assert len(answer.errors) == 1
        assert "the output cannot be written (" in answer.errors[0]
    assert (tmp_path / "file").read_text() == "mine"


@pytest.mark.usefixtures("no_work")
def test_a_list_to_mend_replaces_nothing_but_such_a_list(stressmap, ranch, tmp_path):
    diary = tmp_path / "diary.csv"
    diary.write_text("day,what\n1,pruned\n")
    answer = stressmap("check", ranch, "--out", diary)
    assert answer.code == 4
    assert answer.errors == [
        f"error: {diary}: it is there already, and is no earlier list of readings to mend. "
        "Move it away, or give another file with --out."
    ]
    assert diary.read_text() == "day,what\n1,pruned\n"


def test_an_earlier_list_to_mend_is_replaced(stressmap, ranch, tmp_path):
    for place in (tmp_path / "mend.csv", tmp_path / "lists"):
        assert stressmap("check", ranch, "--out", place).code == 0
        assert stressmap("check", ranch, "--out", place).code == 0


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize("file", ["weather.csv", "ranch.toml", "blocks.geojson"])
def test_a_list_to_mend_over_a_link_to_an_input_is_refused(stressmap, ranch, tmp_path, file):
    link = tmp_path / "list.csv"
    link.symlink_to(ranch.parent / file)
    before = contents(ranch.parent)
    answer = stressmap("check", ranch, "--out", link)
    assert answer.code == 4
    assert answer.errors == [
        f"error: {link}: it is an input of the ranch and is not written over. Give another file with --out."
    ]
    assert contents(ranch.parent) == before


@pytest.mark.parametrize("name", ["readings.csv", "ranch.toml", "Ranch.TOML"])
@pytest.mark.parametrize("how", ["file", "link", "link to nowhere"])
def test_start_writes_over_nothing_and_through_no_link(stressmap, ranch, tmp_path, name, how):
    made, target = tmp_path / "made", tmp_path / "target"
    made.mkdir()
    if how == "file":
        (made / name).write_text("mine")
    else:
        (made / name).symlink_to(target)
        if how == "link":
            target.write_text("mine")
    answer = stressmap("start", made, "--blocks", ranch.parent / "blocks.geojson")
    assert answer.code == 4
    assert answer.errors == [f"error: {made}: it holds {name} already. Name a new folder, or move them away."]
    assert [p.name for p in made.iterdir()] == [name]
    assert target.exists() == (how == "link")


def test_start_without_room_leaves_nothing_that_blocks_the_next(stressmap, ranch, tmp_path, monkeypatch):
    made = tmp_path / "made"
    with monkeypatch.context() as full:

        def no_room(_):
            raise OSError(28, "No space left on device")

        full.setattr(os, "fsync", no_room)
        answer = stressmap("start", made, "--blocks", ranch.parent / "blocks.geojson")
    assert answer.code == 4
    assert answer.errors == [
        f"error: {made}: it cannot be written (No space left on device). Name a folder that can be written."
    ]
    assert list(made.iterdir()) == []
    assert stressmap("start", made, "--blocks", ranch.parent / "blocks.geojson").code == 0
    assert sorted(p.name for p in made.iterdir()) == ["ranch.schema.json", "ranch.toml", "readings"]
    assert len(gpd.read_file(ranch.parent / "blocks.geojson")) == 2


def test_a_default_folder_with_another_ranchs_result_is_refused(stressmap, ranch, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "outputs" / "two-sheds" / "2026-07-14"
    folder.mkdir(parents=True)
    page = {
        "files": ["run.json"],
        "versions": {"stressmap": "1"},
        "settings": {"ranch": {"name": "Two; sheds"}},
    }
    (folder / "run.json").write_text(json.dumps(page))
    answer = stressmap("run", ranch)
    assert answer.code == 4
    assert answer.errors == [
        "error: outputs/two-sheds/2026-07-14: it holds the result of another ranch, 'Two; sheds'. "
        "Give another folder with --out."
    ]
    assert contents(folder) == {"run.json": json.dumps(page).encode()}


@pytest.mark.usefixtures("no_work")
@pytest.mark.parametrize(
    ("command", "name"),
    [("run", ""), ("water", ""), ("check", ""), ("check", "more.csv")],
)
def test_nothing_is_written_into_a_folder_of_inputs(stressmap, ranch, command, name):
    visits = ranch.parent / "visits"
    visits.mkdir()
    (ranch.parent / "readings.csv").rename(visits / "july.csv")
    text = ranch.read_text().replace('"readings.csv"', '"visits"') + WATER
    ranch.write_text(text.replace('"irrigation.csv"', '["irrigation.csv", "visits"]'))
    before = contents(visits)
    target = visits / name
    answer = stressmap(command, ranch, "--out", target)
    what = "the list" if command == "check" else "the results"
    shown = target / "to_mend.csv" if command == "check" and target == visits else target
    assert answer.code == 4
    assert answer.errors == [
        f"error: {shown}: every file in visits is read as an input, and so would {what} be. "
        f"Give another {'file' if command == 'check' else 'folder'} with --out."
    ]
    assert contents(visits) == before


@pytest.mark.usefixtures("no_work")
def test_every_file_of_a_list_counts(stressmap, ranch):
    (ranch.parent / "timetable.csv").write_bytes((ranch.parent / "irrigation.csv").read_bytes())
    text = ranch.read_text().replace('"irrigation.csv"', '["irrigation.csv", "timetable.csv"]')
    ranch.write_text(text + WATER)
    refused(stressmap("water", ranch, "--out", ranch.parent), ranch.parent, "timetable.csv")
