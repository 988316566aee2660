"""Fixtures of whole runs."""

import os
import subprocess
import sys

import pytest
from helpers.command import Command
from helpers.paths import DEMO, REPOSITORY


@pytest.fixture
def stressmap(monkeypatch, capsys):
    return Command(monkeypatch, capsys)


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """Run the demo once, as a process of its own, from a folder of its own."""
    folder = tmp_path_factory.mktemp("demo")
    command = [sys.executable, "-m", "stressmap.cli", "run", str(DEMO), "--out", str(folder / "out")]
    here = os.environ | {"PYTHONPATH": str(REPOSITORY)}  # the copy under test, whatever is installed
    done = subprocess.run(command, cwd=folder, env=here, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    (folder / "printed.txt").write_text(done.stdout)
    return folder / "out"
