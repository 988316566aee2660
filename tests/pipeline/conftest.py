"""Fixtures of whole runs."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from command import Command

REPOSITORY = Path(__file__).parents[2]
DEMO = REPOSITORY / "config" / "demo_ranch.toml"


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
