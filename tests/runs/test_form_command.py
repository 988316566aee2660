"""``stressmap form``: the folder of a ranch's field form."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from helpers import small_ranch
from helpers.node_runs import run_node
from helpers.paths import REPOSITORY
from PIL import Image
from typer.testing import CliRunner

from stressmap.cli import app
from stressmap.output.web.form_page import FORM_FILES


@pytest.fixture(scope="module")
def ranch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return small_ranch.write(tmp_path_factory.mktemp("ranch"))


def form(ranch: Path, out: Path, *more: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, ["form", str(ranch), "--out", str(out), *more])
    return done.exit_code, done.output


def test_the_form_knows_the_trees_of_earlier_readings_and_is_the_same_each_time(
    ranch: Path, tmp_path: Path
) -> None:
    assert form(ranch, tmp_path / "a")[0] == 0
    code, said = form(ranch, tmp_path / "a")
    assert code == 0
    assert "24 trees known, 0 stops of a round, 0 sets planned" in said
    assert form(ranch, tmp_path / "b")[0] == 0
    for name in FORM_FILES | {"run.json"}:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name
    data = json.loads((tmp_path / "a" / "data.json").read_text(encoding="utf-8"))
    read = small_ranch.readings().set_index("tree_id")
    for tree in data["trees"]:
        assert tree["last"] == read.loc[tree["tree_id"], "pressure_bar"]
        assert tree["lon"] == read.loc[tree["tree_id"], "lon"]
        assert tree["valve"][0] == tree["block"][0]
    assert [valve["name"] for valve in data["valves"]] == ["N1", "N2", "S1", "S2"]


def test_a_ranch_whose_readings_are_still_empty_has_a_form(tmp_path: Path) -> None:
    fresh = small_ranch.write(tmp_path / "fresh")
    (fresh.parent / "readings.csv").write_text("tree_id,time,lon,lat,pressure_bar\n", encoding="utf-8")
    code, said = form(fresh, tmp_path / "out")
    assert (code, "0 trees known" in said) == (0, True)


def test_round_and_timetable_are_filled_in_and_never_written_over(ranch: Path, tmp_path: Path) -> None:
    folder = tmp_path / "form"
    folder.mkdir()
    stops, sets = tmp_path / "round.csv", tmp_path / "plan.csv"
    stops.write_text("action,clock,tree_id,block\nbag,12:40,T1,North Shed\nread,13:00,T1,North Shed\n")
    sets.write_text("valve,start,end\nN1,2026-07-16 20:00,2026-07-17 06:00\n")
    code, said = form(ranch, folder, "--round", str(stops), "--timetable", str(sets))
    assert code == 0
    assert "1 stop of a round, 1 set planned" in said
    mine = folder / "data.json"
    assert form(ranch, folder, "--round", str(mine))[0] == 4
    missing = form(ranch, folder, "--round", str(tmp_path / "none.csv"))
    assert missing == (3, f"error: {tmp_path / 'none.csv'}: there is no such file. Correct the path.\n")


def test_a_folder_of_something_else_is_left_as_it_is(ranch: Path, tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "index.html").write_text("my own page")
    code, said = form(ranch, mine)
    assert code == 4
    assert "it holds index.html, not written by an earlier run" in said
    result = tmp_path / "result"
    result.mkdir()
    (result / "run.json").write_text('{"job": "run", "files": ["run.json"], "versions": {"stressmap": "1"}}')
    assert "it holds the result of a run (run.json)" in form(ranch, result)[1]
    formed = tmp_path / "formed"
    assert form(ranch, formed)[0] == 0
    done = CliRunner().invoke(app, ["run", str(ranch), "--out", str(formed)])
    assert (done.exit_code, "it holds a field form" in done.output) == (4, True)
    assert {path.name for path in formed.iterdir()} == FORM_FILES | {"run.json"}


def test_what_phones_handed_over_comes_back_as_trees_and_by_photographs_once(tmp_path: Path) -> None:
    """Files of two phones, a photograph of the first one's code: once each, trees in the next form."""
    source = small_ranch.write(tmp_path / "ranch")
    place = small_ranch.readings().iloc[0]
    done = run_node("tests/js/handed_over.mjs", str(place["lon"]), str(place["lat"]), folder=REPOSITORY)
    assert done.returncode == 0, done.stderr
    made = json.loads(done.stdout)
    one, two, times, photo = (tmp_path / name for name in ("one.csv", "two.csv", "times.csv", "code.png"))
    one.write_text(made["first"], encoding="utf-8")
    two.write_text(made["second"], encoding="utf-8")
    times.write_text(made["valves"], encoding="utf-8")
    light = np.pad(255 * (1 - np.array(made["code"], np.uint8)), 4, constant_values=255)
    Image.fromarray(light.repeat(5, 0).repeat(5, 1)).save(photo)

    def add(*files: Path) -> list[str]:
        told = CliRunner().invoke(app, ["add", str(source), *map(str, files)])
        assert told.exit_code == 0, told.output
        return [line.removeprefix(f"{tmp_path}/") for line in told.output.splitlines() if ": " in line]

    said = add(photo, two, times)
    assert said[0] == "code.png:1: 1 reading new, 0 corrected, 0 there already."
    assert "two.csv: 1 reading new, 0 corrected, 0 there already." in said
    assert "times.csv: 1 set new, 0 corrected, 0 there already, 0 not filled in yet." in said
    assert add(one)[0].startswith("one.csv: added already on ")
    assert form(source, tmp_path / "form")[0] == 0
    data = json.loads((tmp_path / "form" / "data.json").read_text(encoding="utf-8"))
    last = {tree["tree_id"]: (tree["last"], tree["lastDay"]) for tree in data["trees"]}
    assert (last["P1"], last["P2"]) == ((14.5, "2026-07-21"), (12.0, "2026-07-21"))
