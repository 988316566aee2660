"""Many ranches at once: each as its own run makes it, errors as results, nothing done twice."""

from __future__ import annotations

import csv
import datetime as dt
import json
import socket
from pathlib import Path

import geopandas as gpd
import pytest
import shapely
from distributed import LocalCluster
from helpers import small_ranch
from helpers.command import Command

from stressmap.core.errors import SettingsError
from stressmap.jobs import district_ranches, district_workers
from stressmap.jobs.district import DistrictMade, run_district
from stressmap.jobs.run import run
from stressmap.output import district_outputs
from stressmap.output.view.next_round import NextRound

NOBODY = "tcp://127.0.0.1:9"
"""An address at which no scheduler answers: what is done all the same needs none."""
DISTRICT = """
[district]
name = "Two Creeks"
ranches = ["north", "south/ranch.toml", "dry"]

[shared.files]
weather = "station.csv"

[workers]
divide_over = 1
part_blocks = 1
"""


class Heard:
    """A progress that keeps what it is told: stages, steps expected, steps made."""

    def __init__(self) -> None:
        self.stages: list[tuple[str, int | None, int]] = []

    def stage(self, name: str, steps: int | None = None) -> None:
        self.stages.append((name, steps, 0))

    def step(self) -> None:
        name, steps, made = self.stages.pop()
        self.stages.append((name, steps, made + 1))


TOLD = Heard()


def write_ranch(folder: Path, name: str, *, weather: bool = True) -> None:
    settings = small_ranch.SETTINGS.replace("Two Sheds", name).replace("cell_m = 10", "cell_m = 25")
    small_ranch.write(folder, settings if weather else settings.replace('weather = "weather.csv"\n', ""))


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two ranches, the second without weather of its own, and one whose readings cannot be used."""
    folder = tmp_path_factory.mktemp("district")
    write_ranch(folder / "north", "North Creek")
    write_ranch(folder / "south", "South Creek", weather=False)
    write_ranch(folder / "dry", "Dry Creek")
    (folder / "dry" / "readings.csv").write_text("tree,colour\n1,red\n")
    small_ranch.weather().to_csv(folder / "station.csv", index=False)
    (folder / "district.toml").write_text(DISTRICT)
    return folder


@pytest.fixture(scope="module")
def made(place: Path) -> DistrictMade:
    """All of them on two workers that are reached by address, each ranch divided between both."""
    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        dashboard_address=None,
        scheduler_kwargs={"dashboard_address": "127.0.0.1:0"},
        host="127.0.0.1",
        memory_limit="3GB",
    ) as cluster:
        return run_district(
            place / "district.toml",
            scheduler=cluster.scheduler_address,
            out=place / "results",
            progress=TOLD,
        )


def contents(folder: Path) -> dict[str, object]:
    page = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    del page["timings"]
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.name != "run.json"} | {"run.json": page}


def test_a_ranch_has_the_bytes_of_its_own_run(made: DistrictMade, place: Path, tmp_path: Path) -> None:
    run(place / "north" / "ranch.toml", out=tmp_path / "alone")
    assert contents(made.folder / "north-creek") == contents(tmp_path / "alone")


def test_what_the_district_shares_is_read_where_a_ranch_has_none(made: DistrictMade) -> None:
    files = [
        json.loads((made.folder / slug / "run.json").read_text(encoding="utf-8"))["settings"]["files"]
        for slug in ("north-creek", "south-creek")
    ]
    assert [one["weather"] for one in files] == ["weather.csv", "../station.csv"]


def test_a_ranch_that_fails_stops_no_other_and_is_told_with_its_problems(made: DistrictMade) -> None:
    assert [one.state for one in made.results] == ["mapped", "mapped", "failed"]
    assert made.stop is None
    failed = made.results[2]
    assert (failed.name, failed.folder) == ("Dry Creek", None)
    with (made.folder / "problems.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert {row["ranch"] for row in rows} == {"Dry Creek"}
    assert len(rows) == len(failed.problems) > 0
    assert not (made.folder / "dry-creek").exists()


def test_each_ranch_done_is_told_so_that_the_time_left_can_be(made: DistrictMade) -> None:
    files = len(district_outputs.DISTRICT_FILES)
    assert made.stop is None
    assert TOLD.stages == [
        ("Looking at what has changed", 3, 3),
        ("Starting workers", None, 0),
        ("Mapping ranches", 3, 3),
        ("Writing the overview", files, files),
    ]


def test_a_worker_tells_what_a_ranch_took(made: DistrictMade) -> None:
    for one in made.results[:2]:
        assert one.seconds > 0
        assert 50 < one.peak_mb < 3000


def test_a_second_call_does_nothing_that_is_done(made: DistrictMade, place: Path, stressmap: Command) -> None:
    """But for the ranch that failed no scheduler is asked; that one is given what it lacked."""
    before = {one.slug: (made.folder / one.slug / "run.json").stat().st_mtime_ns for one in made.results[:2]}
    listed = place / "again.toml"
    listed.write_text(DISTRICT.replace(', "dry"', ""))
    told = stressmap("district", listed, "--out", made.folder, "--scheduler", NOBODY)
    assert (told.code, told.err) == (0, "")
    assert "2 ranches: 0 mapped now, 2 as they were, 0 failed" in told.out
    for slug, moment in before.items():
        assert (made.folder / slug / "run.json").stat().st_mtime_ns == moment


def changed(place: Path, made: DistrictMade) -> list[str]:
    """Name the ranches whose result does not stand any more."""
    from stressmap.core import district_settings
    from stressmap.jobs.district_ranches import listed_ranches, standing

    district = district_settings.load(place / "district.toml")
    return [
        ranch.slug
        for ranch in listed_ranches(district)
        if standing(ranch, district.handed_down(), made.folder / ranch.slug) is None
    ]


def test_only_a_ranch_whose_inputs_settings_or_result_changed_is_done_again(
    made: DistrictMade, place: Path
) -> None:
    assert changed(place, made) == ["dry-creek"]
    for path, old, new in (
        (place / "north" / "readings.csv", b"tree_id", b"tree id"),
        (place / "north" / "ranch.toml", b"cell_m = 25", b"cell_m = 24"),
        (made.folder / "north-creek" / "run.json", b'"stressmap": "', b'"stressmap": "9.'),
    ):
        before = path.read_bytes()
        assert old in before
        path.write_bytes(before.replace(old, new))
        assert changed(place, made) == ["north-creek", "dry-creek"]
        path.write_bytes(before)
    station = place / "station.csv"
    before = station.read_bytes()
    station.write_bytes(before + b"\n")
    assert changed(place, made) == ["south-creek", "dry-creek"]
    station.write_bytes(before)
    (made.folder / "north-creek" / "map.html").rename(place / "map.html")
    assert changed(place, made) == ["north-creek", "dry-creek"]
    (place / "map.html").rename(made.folder / "north-creek" / "map.html")
    assert changed(place, made) == ["dry-creek"]


def test_a_round_planned_since_then_changes_the_map(
    made: DistrictMade, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stops = gpd.GeoDataFrame({"stop": ["1"]}, geometry=[shapely.Point(-121.5, 37.0)], crs="EPSG:4326")
    planned = NextRound(dt.date(2026, 7, 21), stops)
    monkeypatch.setattr(district_ranches, "next_round", lambda *_: planned)
    assert changed(place, made) == ["north-creek", "south-creek", "dry-creek"]


def test_where_every_ranch_fails_their_problems_stop_the_command(place: Path, stressmap: Command) -> None:
    listed = place / "gone.toml"
    listed.write_text('[district]\nname = "Gone"\nranches = ["nowhere"]\n')
    told = stressmap("district", listed, "--out", place / "gone", "--scheduler", NOBODY, "--quiet")
    path = place / "nowhere" / "ranch.toml"
    assert (told.code, told.err) == (
        3,
        f"error: {path}: there is no such file. Give the path of a ranch.toml.\n",
    )
    assert (place / "gone" / "problems.csv").is_file()


def at(listener: socket.socket) -> str:
    return f"tcp://127.0.0.1:{listener.getsockname()[1]}"


def test_a_scheduler_that_does_not_answer_is_told_in_one_line(
    place: Path, stressmap: Command, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(district_workers, "CONNECT_S", 0.3)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        told = stressmap("district", place / "district.toml", "--out", tmp_path, "--scheduler", at(silent))
        assert (told.code, len(told.errors)) == (2, 1)
    for address in (NOBODY, "nonsense://there"):
        told = stressmap("district", place / "district.toml", "--out", tmp_path, "--scheduler", address)
        assert told.code == 2
        (line,) = told.errors
        assert line.startswith(f"error: --scheduler {address}: no Dask scheduler answers there (")
    assert list(tmp_path.iterdir()) == []


def test_without_the_extra_one_line_says_what_to_install(
    place: Path, stressmap: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(district_workers, "find_spec", lambda name: None if name == "distributed" else name)
    told = stressmap("district", place / "district.toml")
    assert told.code == 2
    assert told.errors == [
        "error: this computer: a district is worked on by Dask, and distributed is not installed. "
        'Install it: python -m pip install "stressmap[district]".'
    ]


def test_a_wrong_key_of_the_district_is_told_with_the_nearest_one(tmp_path: Path, stressmap: Command) -> None:
    listed = tmp_path / "district.toml"
    listed.write_text('[district]\nname = "X"\nranchs = ["a"]\n[workers]\nmemory_gb = "3"\n')
    told = stressmap("district", listed)
    assert told.code == 2
    assert [line.split(": ", 2)[2][:42] for line in told.errors] == [
        "the key 'district.ranches' is missing. Add",
        "unknown key 'district.ranchs'. Did you mea",
        "input should be a valid number (it is '3')",
    ]


def test_workers_that_die_as_they_start_are_begun_anew_until_it_is_of_no_use(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    begun: list[int] = []

    def begin(fails: int) -> str:
        begun.append(1)
        if len(begun) <= fails:
            why = "Nanny failed to start."
            raise RuntimeError(why)
        return "a cluster"

    monkeypatch.setattr("distributed.LocalCluster", begin)
    assert district_workers._begun(fails=district_workers.STARTS - 1) == "a cluster"
    begun.clear()
    with pytest.raises(SettingsError, match=r"no workers can be started \(Nanny failed to start"):
        district_workers._begun(fails=99)
    assert len(begun) == district_workers.STARTS


def test_own_workers_are_reached_over_loopback_and_with_keys_alone() -> None:
    with district_workers.own_cluster(0, 0.5) as cluster:
        assert cluster.scheduler_address.startswith("tls://127.0.0.1:")
        assert cluster.security.require_encryption
