"""Every stage of a run tells as many steps as it announced; piped, nothing of it is seen."""

import os
import subprocess
import sys

import pytest
import small_ranch
from conftest import REPOSITORY

from stressmap import pipeline, preparing

COUNTED = {"Reading files", "Mapping blocks", "Writing files"}


class Heard:
    def __init__(self) -> None:
        self.stages: list[list] = []

    def stage(self, name: str, steps: int | None = None) -> None:
        self.stages.append([name, steps, 0])

    def step(self) -> None:
        self.stages[-1][2] += 1


@pytest.fixture
def source(tmp_path):
    return small_ranch.write(tmp_path / "ranch")


def test_a_run_tells_its_stages_and_takes_every_step_announced(source, tmp_path):
    heard = Heard()
    pipeline.run(source, out=tmp_path / "out", progress=heard)
    assert [name for name, _, _ in heard.stages] == [
        "Reading files", "Checking readings", "Fitting", "Mapping blocks",
        "Choosing where to look again", "Writing files", "Writing the report",
    ]  # fmt: skip
    for name, announced, taken in heard.stages:
        assert announced == (taken if name in COUNTED else None), name
    written = next(taken for name, _, taken in heard.stages if name == "Writing files")
    assert written == len(
        [p for p in (tmp_path / "out").iterdir() if p.name not in {"report.html", "run.json"}]
    )


def test_a_check_tells_them_too(source):
    heard = Heard()
    preparing.check(source, heard)
    assert [name for name, _, _ in heard.stages] == ["Reading files", "Checking readings"]


def test_a_piped_check_prints_nothing_on_stderr_even_where_colour_is_forced(source):
    command = [sys.executable, "-m", "stressmap.cli", "check", str(source)]
    here = os.environ | {"PYTHONPATH": str(REPOSITORY), "FORCE_COLOR": "1", "TTY_COMPATIBLE": "1"}
    done = subprocess.run(command, env=here, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
