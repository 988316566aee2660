"""Killed, stopped or out of memory, a district leaves whole ranches only, and the next call completes it.

Its ranches are made by a quick stand-in (``helpers/faulty_district.py``); by hand,
``benchmarks/killed_districts.py`` kills real ones at random moments.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from helpers import faulty_district, small_ranch
from helpers.killing import whole

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="signals and processes as Linux has them")

NAMES, SLUGS = ("Low Weir", "Tall Poplar"), ("low-weir", "tall-poplar")
DISTRICT = """
[district]
name = "Two Ranches"
ranches = ["low", "tall"]

[workers]
count = 1
memory_gb = 0.5
failures = {failures}
"""


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Draw two ranches and make each by itself."""
    folder = tmp_path_factory.mktemp("district")
    for name, slug, where in zip(NAMES, SLUGS, ("low", "tall"), strict=True):
        ranch = small_ranch.write(folder / where, small_ranch.SETTINGS.replace("Two Sheds", name))
        faulty_district.made(ranch, out=folder / "alone" / slug)
    return folder


def start(
    place: Path, out: Path, *faults: dict[str, Any], failures: int = 3, more: str = ""
) -> subprocess.Popen[str]:
    listed = place / "district.toml"
    listed.write_text(DISTRICT.format(failures=failures) + more)
    return subprocess.Popen(
        [sys.executable, "-m", "helpers.faulty_district", str(listed), "--out", str(out)],
        env=faulty_district.environment(faults),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def fault(place: Path, number: int, at: str, do: str, times: int = 1) -> dict[str, Any]:
    return {"ranch": NAMES[number], "at": at, "do": do, "times": times, "flag": str(place / f"{do}{number}")}


def whole_ranches(place: Path, out: Path) -> list[str]:
    """Name the ranches that have the bytes of their own run; anything else in the folder is wrong."""
    found = [path.name for path in out.iterdir() if path.is_dir() and not path.name.startswith(".")]
    assert {name: whole(out / name) for name in found} == {
        name: whole(place / "alone" / name) for name in found
    }
    return sorted(found)


def helpers_of(driver: subprocess.Popen[str]) -> list[int]:
    """Give the processes in the session of a driver that it has started, or that are left of it."""
    found = []
    for entry in os.scandir("/proc"):
        if entry.name.isdigit() and int(entry.name) != driver.pid:
            try:
                fields = Path(entry.path, "stat").read_text().rpartition(")")[2].split()
            except OSError:
                continue
            if int(fields[3]) == driver.pid and fields[0] != "Z":
                found.append(int(entry.name))
    return found


def soon(happened: Callable[[], object]) -> bool:
    for _ in range(2_000):
        if happened():
            return True
        time.sleep(0.05)
    return False


def hidden(out: Path) -> list[str]:
    return [path.name for path in out.iterdir() if path.name.startswith(".")]


def test_after_killed_workers_and_a_killed_driver_the_next_call_does_and_sends_what_is_missing(
    place: Path, tmp_path: Path
) -> None:
    """Workers die mapping, starting anew and writing; then one hangs, and the driver is killed."""
    out = tmp_path / "out"
    faults = (
        fault(tmp_path, 0, "mapping", "die"),
        fault(tmp_path, 1, "writing", "die"),
        fault(tmp_path, 1, "writing", "hang"),
        {"after": str(tmp_path / "die0 0"), "flag": str(tmp_path / "start"), "times": 1},
    )
    running = start(place, out, *faults)
    assert soon((tmp_path / "hang1 0").exists), running.poll()
    assert len(helpers_of(running)) >= 1
    assert len(hidden(out)) >= 1
    assert (tmp_path / "start 0").exists()
    running.kill()
    running.communicate()
    assert soon(lambda: not helpers_of(running))
    assert whole_ranches(place, out) == [SLUGS[0]]
    first = (out / SLUGS[0] / "run.json").stat()
    store = tmp_path / "store"
    again = start(place, out, more=f'[results]\nurl = "file://{store}"\n')
    assert again.communicate() == ("", "")
    assert again.returncode == 0
    assert whole_ranches(place, out) == sorted(SLUGS)
    assert json.loads((out / "told.json").read_text()) == {SLUGS[0]: ["unchanged"], SLUGS[1]: ["mapped"]}
    assert (out / SLUGS[0] / "run.json").stat() == first
    assert hidden(out) == []
    sent = json.loads((store / "sent.json").read_text())
    assert (sent["whole"], len(sent["objects"])) == (True, 4)
    assert whole_ranches(place, store) == sorted(SLUGS)


def test_stopped_by_the_keyboard_it_says_so_and_nothing_goes_on(place: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    running = start(place, out, fault(tmp_path, 1, "writing", "hang"))
    assert soon((tmp_path / "hang1 0").exists), running.poll()
    running.send_signal(signal.SIGINT)
    assert running.communicate() == (
        "",
        "error: stopped by the keyboard: what is done of it stays, the rest was not written. Run it again.\n",
    )
    assert running.returncode == 128 + signal.SIGINT
    assert soon(lambda: not helpers_of(running))
    assert whole_ranches(place, out) == [SLUGS[0]]


def test_memory_over_the_limit_is_said_in_those_words_and_stops_no_other_ranch(
    place: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    running = start(place, out, fault(tmp_path, 0, "mapping", "hog", times=9), failures=1)
    assert running.communicate() == ("", "")
    told = json.loads((out / "told.json").read_text())
    assert told[SLUGS[1]] == ["mapped"]
    assert told[SLUGS[0]][0] == "failed"
    assert (
        "memory over the limit: a worker took over 0.5 GB for it and was ended, 2 times" in told[SLUGS[0]][1]
    )
    assert whole_ranches(place, out) == [SLUGS[1]]
