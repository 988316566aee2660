"""A run killed, stopped, starved of disk or raced leaves the earlier result whole, and the next run works."""

import json
import os
import resource
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from helpers import small_ranch
from helpers.killing import left_over, whole
from helpers.paths import REPOSITORY

from stressmap.output import outputs
from stressmap.output.staging.output_folder import staged

HERE = REPOSITORY / "tests"
ENVIRONMENT = os.environ | {"PYTHONPATH": f"{REPOSITORY}{os.pathsep}{HERE}"}
linux = pytest.mark.skipif(sys.platform != "linux", reason="forks, limits and signals as Linux has them")


def script(name, *words):
    command = [sys.executable, str(HERE / "helpers" / name), *map(str, words)]
    done = subprocess.run(command, env=ENVIRONMENT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def start(*words, **options):
    command = [sys.executable, "-m", "stressmap.cli", *map(str, words)]
    return subprocess.Popen(
        command, env=ENVIRONMENT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **options
    )


@pytest.fixture
def ranch(tmp_path):
    return small_ranch.write(tmp_path / "ranch")


@linux
def test_putting_results_in_place_may_end_or_fail_at_any_step(tmp_path):
    found = script("crashing.py", tmp_path / "steps")
    assert found["broken"] == []
    assert len(found["tried"]) == 8
    assert min(found["tried"].values()) > 8


@linux
def test_runs_killed_at_random_moments_break_nothing(tmp_path):
    found = script("killing.py", tmp_path / "kills", 12, 20260714)
    assert found["broken"] == []
    assert found["killed"] >= 6
    assert found["raced"] == 2


@linux
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_stopping_a_run_clears_up_and_says_so(ranch, tmp_path, number):
    out = tmp_path / "results" / "out"
    out.parent.mkdir()
    running = start("run", ranch, "--out", out, "--jobs", 2, start_new_session=True)
    while running.poll() is None and not left_over(out):
        time.sleep(0.005)
    running.send_signal(number)
    printed, said = running.communicate()
    assert running.returncode == 128 + number
    assert printed == ""
    how = "by the keyboard" if number == signal.SIGINT else "from outside"
    assert said == f"error: stopped {how}: nothing was written. Run it again.\n"
    assert list(out.parent.iterdir()) == []
    with pytest.raises(ProcessLookupError):
        os.killpg(running.pid, 0)


DEEP = """
import os, signal, sqlite3, threading
from stressmap.core import interrupts

endless = "WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n LIMIT 1e11) SELECT count(*) FROM n"
with interrupts.prompt():
    threading.Timer(0.5, os.kill, (os.getpid(), signal.SIGINT)).start()
    sqlite3.connect(":memory:").execute(endless).fetchall()
"""


@linux
def test_a_run_deep_in_a_compiled_routine_ends_too():
    command = [sys.executable, "-c", DEEP]
    done = subprocess.run(command, env=ENVIRONMENT, capture_output=True, text=True, check=False)
    assert done.stderr == "error: stopped by the keyboard: nothing was written. Run it again.\n"
    assert done.returncode == 130


@linux
def test_a_disk_that_fills_up_is_said_and_leaves_the_earlier_result(stressmap, ranch, tmp_path):
    """A limit on the size of files stands for the full disk: the same refusal, whatever library writes."""
    out = tmp_path / "results" / "out"
    assert stressmap("run", ranch, "--out", out).code == 0
    before = whole(out)
    sizes = sorted({p.stat().st_size for p in out.iterdir()})
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    for most in (sizes[len(sizes) // 2], sizes[-1] - 1):
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, limits[1]))
        answer = stressmap("run", ranch, "--out", out)
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        assert answer.code == 4, answer.err
        (line,) = answer.errors
        assert line.startswith(f"error: {out}: the output cannot be written (")
        assert line.endswith("). Give a folder that can be written with --out.")
        assert whole(out) == before
        assert left_over(out) == []


def test_an_input_that_vanishes_is_said_before_anything_is_written(stressmap, ranch, tmp_path, monkeypatch):
    from stressmap.jobs import run

    read = run.load_inputs

    def read_and_lose(*asked):
        loaded = read(*asked)
        loaded.value[0].settings.files.weather.unlink()
        return loaded

    monkeypatch.setattr(run, "load_inputs", read_and_lose)
    answer = stressmap("run", ranch, "--out", tmp_path / "out")
    assert answer.code == 3
    assert answer.errors == [
        f"error: {ranch.parent}/weather.csv: it could be read, and then no more (No such file or directory). "
        "Put it back and run again."
    ]
    assert not (tmp_path / "out").exists()


def test_a_folder_that_cannot_be_written_is_said_before_the_long_work(
    stressmap, ranch, tmp_path, monkeypatch
):
    from stressmap.jobs import map_visit

    monkeypatch.setattr(map_visit, "fit", lambda *_: pytest.fail("the work began"))
    target = tmp_path / "file"
    target.write_text("mine")
    assert stressmap("run", ranch, "--out", target).code == 4
    assert stressmap("run", ranch, "--out", "/proc/none/x").code == 4


def write(target, *names):
    with staged(target, outputs.files_of("run")) as folder:
        for name in names:
            (folder / name).write_text("new")
        page = {"files": [*names, "run.json"], "versions": {"stressmap": "1"}}
        (folder / "run.json").write_text(json.dumps(page))


def test_a_result_reached_by_a_link_is_replaced_where_it_is(tmp_path):
    real, link = tmp_path / "disk" / "real", tmp_path / "link"
    real.mkdir(parents=True)
    link.symlink_to(real)
    write(link, "map.html")
    assert link.is_symlink()
    assert (real / "run.json").exists()


def test_what_an_earlier_result_had_and_the_new_one_has_not_goes(tmp_path):
    write(tmp_path / "out", "map.html", "water_plan.csv")
    (tmp_path / "out" / "mine.txt").write_text("mine")
    write(tmp_path / "out", "map.html")
    assert {p.name for p in (tmp_path / "out").iterdir()} == {"map.html", "run.json", "mine.txt"}


def test_a_run_from_inside_its_own_results_leaves_the_shell_where_it_is(tmp_path, monkeypatch):
    out = tmp_path / "out"
    write(out, "map.html", "water_plan.csv")
    inode = out.stat().st_ino
    monkeypatch.chdir(out)
    write(Path(), "map.html")
    assert out.stat().st_ino == inode
    assert {p.name for p in Path().iterdir()} == {"map.html", "run.json"}


def test_what_belongs_to_others_is_not_cleared_away(tmp_path):
    mine = tmp_path / ".out.abcdefgh.partial"
    mine.mkdir()
    (mine / "film.part").write_text("mine")
    write(tmp_path / "out", "map.html")
    assert (mine / "film.part").read_text() == "mine"
