"""Every stage of a run tells as many steps as it announced; piped, nothing of it is seen."""

import os
import subprocess
import sys

import pytest
from helpers import small_ranch
from helpers.paths import REPOSITORY

from stressmap.jobs import check, run
from stressmap.jobs.water import plan_water

UNCOUNTED = {"Checking readings", "Choosing where to look again"}
"""Over within a second or so even on a large ranch."""
SEARCH = "Planning water, searching up to 30 s"
"""Says itself how long it may take."""
WATER = """
[water]
available = "2000 m3"
draws = 7
"""


class Heard:
    def __init__(self) -> None:
        self.stages: list[list] = []

    def stage(self, name: str, steps: int | None = None) -> None:
        self.stages.append([name, steps, 0])

    def step(self) -> None:
        self.stages[-1][2] += 1


def hold(heard: Heard) -> None:
    """Every stage takes the steps that it announced, and only short ones announce none."""
    for name, announced, taken in heard.stages:
        assert announced == (None if name in {*UNCOUNTED, SEARCH} else taken), name


@pytest.fixture
def source(tmp_path):
    return small_ranch.write(tmp_path / "ranch")


def test_a_run_tells_its_stages_and_takes_every_step_announced(source, tmp_path):
    heard = Heard()
    run.run(source, out=tmp_path / "out", progress=heard)
    assert [name for name, _, _ in heard.stages] == [
        "Reading files", "Checking readings", "Fitting", "Comparing methods", "Mapping blocks",
        "Choosing where to look again", "Following the season", "Writing files",
    ]  # fmt: skip
    hold(heard)
    written = next(taken for name, _, taken in heard.stages if name == "Writing files")
    assert written == len([p for p in (tmp_path / "out").iterdir() if p.name != "run.json"])


def test_the_stages_of_a_water_plan_are_told_too(source, tmp_path):
    source.write_text(source.read_text() + WATER)
    heard = Heard()
    run.run(source, out=tmp_path / "out", progress=heard)
    hold(heard)
    told = {name: steps for name, steps, _ in heard.stages}
    assert (told["Comparing valve zones"], told["Trying the plan on drawn stress"]) == (2, 7)
    heard = Heard()
    plan_water(source, with_curve=True, progress=heard)
    hold(heard)
    assert [name for name, _, _ in heard.stages] == [
        "Reading files", "Checking readings", "Fitting", "Following the season", "Comparing valve zones",
        SEARCH, "Trying the plan on drawn stress", "Planning with half and twice the water per bar",
        "Planning other amounts",
    ]  # fmt: skip


def test_a_check_tells_them_too(source):
    heard = Heard()
    check.check(source, heard)
    assert [name for name, _, _ in heard.stages] == ["Reading files", "Checking readings"]


def test_a_piped_check_prints_nothing_on_stderr_even_where_colour_is_forced(source):
    command = [sys.executable, "-m", "stressmap.cli", "check", str(source)]
    here = os.environ | {"PYTHONPATH": str(REPOSITORY), "FORCE_COLOR": "1", "TTY_COMPATIBLE": "1"}
    done = subprocess.run(command, env=here, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
