"""Bad input: one clear line each, the exit code of docs/contract.md, an earlier result untouched."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest
import shapely
from helpers import small_ranch
from helpers.paths import REPOSITORY

from stressmap.core.settings import FLAG_CODES

EARLIER = "an earlier result"


@pytest.fixture
def ranch(tmp_path):
    return small_ranch.write(tmp_path / "ranch")


@pytest.fixture
def out(tmp_path):
    """Return a folder that holds an earlier result."""
    folder = tmp_path / "out"
    folder.mkdir()
    record = {"job": "run", "files": ["map.html", "run.json"], "versions": {"stressmap": "0.1.0"}}
    (folder / "run.json").write_text(json.dumps(record))
    (folder / "map.html").write_text(EARLIER)
    return folder


def fails(answer, code: int, *lines: str, out: Path | None = None) -> None:
    assert answer.errors == [f"error: {line}" for line in lines]
    assert answer.code == code
    if out is not None:
        assert (out / "map.html").read_text() == EARLIER
        assert {p.name for p in out.iterdir()} == {"run.json", "map.html"}
        assert not [p for p in out.parent.iterdir() if ".partial" in p.name or p.name.endswith(".old")]


def edit(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def test_no_such_settings_file(stressmap, tmp_path):
    file = tmp_path / "nowhere.toml"
    fails(stressmap("run", file), 2, f"{file}: there is no such file. Give the path of a ranch.toml.")


def test_settings_that_are_not_toml(stressmap, ranch):
    ranch.write_text("[ranch\nname = 1")
    answer = stressmap("run", ranch)
    assert answer.code == 2
    (line,) = answer.errors
    assert line.startswith(f"error: {ranch}: it is not TOML: ")
    assert line.endswith("Mend that line; text goes in quotes.")


def test_an_unknown_key_with_the_nearest_known_one(stressmap, ranch, out):
    edit(ranch, "cell_m = 10", "cel_m = 10")
    answer = stressmap("run", ranch, "--out", out)
    assert answer.code == 2
    (line,) = answer.errors
    assert line.startswith(f"error: {ranch}: unknown key 'map.cel_m'. Did you mean 'cell_m'? Known here: ")
    fails(answer, 2, line.removeprefix("error: "), out=out)


def test_several_wrong_settings_are_several_lines(stressmap, ranch):
    edit(ranch, 'timezone = "America/Los_Angeles"', 'timezone = "America/Los_Angles"\nunits = "imperial"')
    fails(
        stressmap("check", ranch),
        2,
        f"{ranch}, column ranch.timezone: 'America/Los_Angles' is not a time zone. "
        'Write an IANA name such as "America/Los_Angeles".',
        f"{ranch}, column ranch.units: input should be 'us' or 'metric' (it is 'imperial'). Correct it.",
    )


def test_a_missing_required_key(stressmap, ranch):
    edit(ranch, 'name = "Two Sheds"', "")
    fails(stressmap("run", ranch), 2, f"{ranch}: the key 'ranch.name' is missing. Add it; it is required.")


def test_an_unknown_option_of_the_command(stressmap, ranch):
    answer = stressmap("run", ranch, "--outt", "x")
    (line,) = answer.errors
    assert answer.code == 2
    assert line.startswith("error: command line: No such option: --outt")
    assert line.endswith("See stressmap --help.")


def test_a_day_that_is_no_date(stressmap, ranch):
    fails(
        stressmap("run", ranch, "--visit", "14.7."),
        2,
        "command line: Invalid value for --visit: '14.7.' is not a date; write it as 2026-07-14. "
        "See stressmap --help.",
    )


@pytest.mark.parametrize("name", ["readings.csv", "blocks.geojson", "valves.gpkg", "weather.csv"])
def test_a_missing_file(stressmap, ranch, out, name):
    file = ranch.parent / name
    file.unlink()
    answer = stressmap("run", ranch, "--out", out)
    fails(answer, 3, f"{file}: there is no such file. Correct the path.", out=out)


def test_two_missing_files_are_two_lines(stressmap, ranch, out):
    files = [ranch.parent / "blocks.geojson", ranch.parent / "readings.csv"]
    for file in files:
        file.unlink()
    lines = [f"{file}: there is no such file. Correct the path." for file in files]
    fails(stressmap("run", ranch, "--out", out), 3, *lines, out=out)


@pytest.mark.parametrize(
    ("name", "remedy"),
    [
        ("readings.csv", "Give a file with a header and a row per entry."),
        ("blocks.geojson", "Export the polygons again."),
        ("valves.gpkg", "Export the polygons again."),
        ("weather.csv", "Give a file with a header and a row per entry."),
    ],
)
def test_an_empty_file(stressmap, ranch, out, name, remedy):
    file = ranch.parent / name
    file.write_bytes(b"")
    fails(stressmap("run", ranch, "--out", out), 3, f"{file}: it is empty. {remedy}", out=out)


def test_a_polygon_file_without_a_crs(stressmap, ranch, out):
    file = ranch.parent / "blocks.shp"
    small_ranch.blocks().to_file(file)
    file.with_suffix(".prj").unlink()
    edit(ranch, "blocks.geojson", "blocks.shp")
    fails(
        stressmap("run", ranch, "--out", out),
        3,
        f"{file}: it has no coordinate reference system (CRS). "
        "Export it again with its CRS (a shapefile needs its .prj).",
        out=out,
    )


def test_a_self_crossing_polygon_is_mended_and_said(stressmap, ranch, out):
    table = small_ranch.blocks()
    west, south, east, north = table.geometry[0].bounds
    bow_tie = shapely.Polygon([(west, south), (east, north), (east, south), (west, north)])
    table.geometry = [bow_tie, table.geometry[1]]
    file = ranch.parent / "blocks.geojson"
    file.unlink()
    table.to_crs("EPSG:4326").to_file(file, driver="GeoJSON")
    answer = stressmap("run", ranch, "--out", out)
    assert (answer.code, answer.errors) == (0, [])
    said = json.loads((out / "run.json").read_text())["warnings"]
    mended = "blocks.geojson, row 2: block 'North Shed' crosses or touches itself (self-intersection); "
    assert mended + "its outline was mended." in said


def test_two_blocks_of_one_name(stressmap, ranch, out):
    file = ranch.parent / "blocks.geojson"
    edit(file, "South Shed", "North Shed")
    fails(
        stressmap("run", ranch, "--out", out),
        3,
        f"{file}, row 3, column block: 'North Shed' stands in row 2 too. Give each block its own name.",
        out=out,
    )


def test_readings_without_a_time_column(stressmap, ranch, out):
    file = ranch.parent / "readings.csv"
    small_ranch.readings().drop(columns="time").to_csv(file, index=False)
    fails(
        stressmap("run", ranch, "--out", out),
        3,
        f"{file}: no column is recognised as time (usual headings: time, datetime, timestamp, date, "
        'fecha, hora). Add it, or name it under [columns], "your heading" = "time".',
        out=out,
    )


def test_text_where_a_number_belongs(stressmap, ranch, out):
    file = ranch.parent / "readings.csv"
    table = small_ranch.readings().astype({"pressure_bar": object})
    table.loc[4, "pressure_bar"] = "twelve"
    table.to_csv(file, index=False)
    answer = stressmap("run", ranch, "--out", out)
    (line,) = answer.errors
    assert line.startswith(f"error: {file}, row 6, column pressure_bar: 'twelve' is not a number. ")
    fails(answer, 3, line.removeprefix("error: "), out=out)


def test_no_usable_reading(stressmap, ranch, out):
    table = small_ranch.readings().assign(time="2026-07-14 09:30")
    file = ranch.parent / "readings.csv"
    table.to_csv(file, index=False)
    fails(
        stressmap("run", ranch, "--out", out),
        3,
        f"{file}: no reading of the visit 2026-07-14 to 2026-07-14 can be used (outside_window 24). "
        "24 of 24 read outside the hours: 4 h later they would be inside; was the clock on another time zone "
        "than America/Los_Angeles? Correct the times, or write them with their offset.",
        out=out,
    )


def test_a_visit_that_is_not_in_the_readings(stressmap, ranch, out):
    fails(
        stressmap("run", ranch, "--out", out, "--visit", "2025-01-01"),
        2,
        "command line: --visit 2025-01-01: no reading was taken on that day. The readings hold 2026-07-14.",
        out=out,
    )


@pytest.mark.parametrize(
    ("days", "column", "span"),
    [
        ("from = 2026-08-01", "from", "from 2026-08-01 to the last"),
        ("to = 2026-07-01", "to", "from the first to 2026-07-01"),
    ],
)
def test_visit_days_without_a_reading(stressmap, ranch, out, days, column, span):
    edit(ranch, "[map]", f"[visit]\n{days}\n\n[map]")
    fails(
        stressmap("run", ranch, "--out", out),
        2,
        f"{ranch}, column visit.{column}: there is no reading in the visit {span}. "
        "The readings hold 2026-07-14.",
        out=out,
    )


def test_readings_without_any_time(stressmap, ranch, out):
    file = ranch.parent / "readings.csv"
    small_ranch.readings().assign(time="").to_csv(file, index=False)
    fails(
        stressmap("run", ranch, "--out", out),
        3,
        f"{file}: no reading has a time, so there is no visit to map. Write date and time of each reading.",
        out=out,
    )


def renamed(ranch: Path) -> Path:
    """Give the settings a name of the user's own, which messages must repeat."""
    return ranch.rename(ranch.with_name("two sheds.toml"))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('timezone =', 'crs = "EPSG:2226"\ntimezone =', "column ranch.crs: 'EPSG:2226' is not a "
         "projected CRS in metres. Leave it out, or name the UTM zone."),
        ("cell_m = 10", "cell_m = 0.01", "column map.cell_m: input should be greater than or equal to "
         "0.1 (it is 0.01). Correct it."),
        ("[map]", '[crops.prune]\nharvest = "05-01"\n[map]', "column crops.prune.harvest: harvest "
         "05-01 is not after the season's first point, 05-01. Write month and day of the harvest, MM-DD, "
         "after the first day of the crop's season_target."),
        ("[map]", '[reading]\nkeep = ["short_bags"]\n[map]', "column reading.keep: 'short_bags' is not "
         f"a flag code. Did you mean 'short_bag'? Known here: {', '.join(FLAG_CODES)}."),
    ],
)  # fmt: skip
def test_the_settings_are_named_as_the_user_named_them(stressmap, ranch, out, old, new, said):
    edit(ranch, old, new)
    named = renamed(ranch)
    fails(stressmap("run", named, "--out", out), 2, f"{named}, {said}", out=out)


@pytest.mark.parametrize(
    ("rank_by", "profile", "said"),
    [
        ("below_target", "edges.tension = [8, 12, 16]", "column crops.quince.season_target: the crop "
         "quince has no season target, and rank_by = 'below_target' needs one. Write "
         '[crops.quince] season_target = [["MM-DD", bar], ...] with your own days and '
         'targets, or [map] rank_by = "tension".'),
        ("tension", "", "column crops.quince.edges.tension: quince has no edges for rank_by = "
         "'tension'. Write [crops.quince] edges = { tension = [..., ..., ...] } or [map] "
         "edges_bar, three rising numbers in bar."),
    ],
)  # fmt: skip
def test_a_profile_that_lacks_what_the_ranking_needs(stressmap, ranch, out, rank_by, profile, said):
    edit(ranch, "[map]", f'[crops.quince]\n{profile}\n[map]\nrank_by = "{rank_by}"')
    edit(ranch.parent / "blocks.geojson", '"crop": "prune"', '"crop": "quince"')
    named = renamed(ranch)
    fails(stressmap("run", named, "--out", out), 2, f"{named}, {said}", out=out)


def test_a_valve_that_lies_in_no_block_is_said(stressmap, ranch, out):
    table = small_ranch.valves()
    table.loc[3, "block"] = None
    table.geometry = [*table.geometry[:3], shapely.affinity.translate(table.geometry[3], 5000, 0)]
    file = ranch.parent / "valves.gpkg"
    file.unlink()
    table.to_file(file, driver="GPKG")
    assert stressmap("run", ranch, "--out", out).code == 0
    assert "Valve 'S2' lies outside every block and is left out." in (out / "run.json").read_text()


@pytest.mark.parametrize(
    ("crop", "remedy"),
    [("quince", "Write a profile"), ("Plum", "Did you mean 'prune'? Otherwise write a profile")],
)
def test_a_crop_without_a_profile(stressmap, ranch, out, crop, remedy):
    file = ranch.parent / "blocks.geojson"
    edit(file, '"crop": "prune"', f'"crop": "{crop}"')
    fails(
        stressmap("run", ranch, "--out", out),
        3,
        f"{file}, column crop: block 'North Shed': no profile for the crop '{crop}'. {remedy} "
        f"[crops.{crop.lower()}] in the settings, or one of almond, cherry, olive, pistachio, "
        "prune, table grape, walnut.",
        out=out,
    )


def test_an_output_folder_that_cannot_be_made(stressmap, ranch):
    answer = stressmap("run", ranch, "--out", "/proc/none/x")
    assert answer.code == 4
    (line,) = answer.errors
    assert line.startswith("error: /proc/none/x: the output cannot be written (")


@pytest.mark.skipif(sys.platform != "linux", reason="rights as Linux has them")
def test_an_output_folder_that_cannot_be_written(ranch, tmp_path):
    """The superuser is made to heed rights too, by giving up the power to override them.

    Another user could not even start the interpreter where it lies in the superuser's own folder.
    """
    powers = "-dac_override,-dac_read_search"
    heeding = ["setpriv", f"--bounding-set={powers}", f"--inh-caps={powers}"] if os.geteuid() == 0 else []
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    command = [sys.executable, "-m", "stressmap.cli", "run", str(ranch), "--out", str(locked / "x")]
    here = os.environ | {"PYTHONPATH": str(REPOSITORY)}
    done = subprocess.run([*heeding, *command], env=here, capture_output=True, text=True, check=False)
    assert done.returncode == 4
    (line,) = done.stderr.splitlines()
    assert line.startswith(f"error: {locked / 'x'}: the output cannot be written (")
    assert not list(locked.iterdir())


def test_an_output_path_that_is_a_file(stressmap, ranch, tmp_path):
    target = tmp_path / "file"
    target.write_text("mine")
    fails(
        stressmap("run", ranch, "--out", target),
        4,
        f"{target}: the output cannot be written (it is not a folder that can be written). "
        "Give a folder that can be written with --out.",
    )
    assert target.read_text() == "mine"


def test_an_output_below_a_file(stressmap, ranch, tmp_path):
    (tmp_path / "file").write_text("mine")
    answer = stressmap("run", ranch, "--out", tmp_path / "file" / "x")
    assert answer.code == 4
    (line,) = answer.errors
    assert line.startswith(f"error: {tmp_path}/file/x: the output cannot be written (")


def test_a_defect_is_one_line_and_asks_for_debug(stressmap, ranch, monkeypatch):
    from stressmap.jobs import run

    def broken(*_args, **_options):
        msg = "two\nlines"
        raise ZeroDivisionError(msg)

    monkeypatch.setattr(run, "run", broken)
    fails(
        stressmap("run", ranch),
        1,
        "stressmap: a defect of the program (ZeroDivisionError: two lines). "
        "Run it again with --debug and report what it prints.",
    )


def test_start_writes_over_nothing(stressmap, ranch):
    blocks = ranch.parent / "blocks.geojson"
    fails(
        stressmap("start", ranch.parent, "--blocks", blocks),
        4,
        f"{ranch.parent}: it holds ranch.toml and readings.csv already. "
        "Name a new folder, or move them away.",
    )


def test_check_writes_nothing(stressmap, ranch):
    before = {p: p.stat().st_mtime_ns for p in ranch.parent.iterdir()}
    answer = stressmap("check", ranch)
    assert answer.code == 0
    assert "24 of 24 readings would be used" in answer.out
    assert {p: p.stat().st_mtime_ns for p in ranch.parent.iterdir()} == before


def test_rows_of_other_files_keep_their_numbers(stressmap, ranch):
    file = ranch.parent / "weather.csv"
    table = pd.read_csv(file).astype({"temp_c": object})
    table.loc[7, "temp_c"] = "hot"
    table.to_csv(file, index=False)
    answer = stressmap("check", ranch)
    assert answer.code == 3
    (line,) = answer.errors
    assert line.startswith(f"error: {file}, row 9, column temp_c: 'hot' is not a number")


@pytest.mark.parametrize("name", ["readings.csv", "blocks.geojson"])
def test_results_never_take_the_place_of_an_input(stressmap, ranch, name):
    if name == "blocks.geojson":
        (ranch.parent / name).rename(ranch.parent / "zones.geojson")
        edit(ranch, name, "zones.geojson")
        name = "zones.geojson"
        edit(ranch, '"readings.csv"', '"lecturas.csv"')
        (ranch.parent / "readings.csv").rename(ranch.parent / "lecturas.csv")
    before = {p.name: p.read_bytes() for p in ranch.parent.iterdir()}
    fails(
        stressmap("run", ranch, "--out", ranch.parent),
        4,
        f"{ranch.parent}: the input {name} lies in it and would be written over. "
        "Give another folder with --out.",
    )
    assert {p.name: p.read_bytes() for p in ranch.parent.iterdir()} == before
