"""Fixtures of whole runs."""

import fcntl
import os
import subprocess
import sys
from contextlib import contextmanager

import pytest
from helpers.command import Command
from helpers.paths import DEMO, REPOSITORY
from helpers.postgres_server import programs, started

from stressmap.core.record_place import RecordPlace


@pytest.fixture
def stressmap(monkeypatch, capsys):
    return Command(monkeypatch, capsys)


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """Run the demo once for all processes that test, as a process of its own, from a folder of its own."""
    own = tmp_path_factory.getbasetemp()
    folder = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "demo"
    with alone(folder.with_suffix(".lock")):
        if not (folder / "printed.txt").exists():
            folder.mkdir(exist_ok=True)
            run_demo(folder)
    return folder / "out"


def run_demo(folder):
    command = [sys.executable, "-m", "stressmap.cli", "run", str(DEMO), "--out", str(folder / "out")]
    here = os.environ | {"PYTHONPATH": str(REPOSITORY)}  # the copy under test, whatever is installed
    done = subprocess.run(command, cwd=folder, env=here, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    (folder / "printed.txt").write_text(done.stdout)


@contextmanager
def alone(lock):
    """Let one process in at a time."""
    with lock.open("w") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


@pytest.fixture(scope="session")
def postgres():
    """Start a server of PostgreSQL with PostGIS, for this process alone."""
    tools = programs()
    if tools is None:
        if os.environ.get("CI"):
            pytest.fail(
                "PostgreSQL with PostGIS is not installed; .ci/run installs it from Debian's packages"
            )
        pytest.skip("PostgreSQL with PostGIS is not installed")
    with started(tools) as server:
        yield server


@pytest.fixture(params=["sqlite", "postgresql"])
def record_place(request, tmp_path):
    """Give a place for a record, in a file and on a server."""
    if request.param == "sqlite":
        return RecordPlace(tmp_path / "ranch.sqlite")
    return RecordPlace(url=request.getfixturevalue("postgres").new())
