"""A helping process ends with the one it helps, even in a compiled routine that keeps Python from running."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from helpers.paths import REPOSITORY

HELPER = """
import ctypes, os, sys
from stressmap.core.bound_process import end_with_parent
end_with_parent(int(sys.argv[1]) if len(sys.argv) > 1 else os.getppid())
print(os.getpid(), flush=True)
ctypes.PyDLL(None).sleep(60)  # holds Python's lock, as a compiled routine can
"""
PARENT = "import subprocess, sys; subprocess.Popen([sys.executable, '-c', sys.argv[1]]).wait()"
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only Linux binds processes")


def ran(*words: str) -> "subprocess.Popen[str]":
    environment = os.environ | {"PYTHONPATH": str(REPOSITORY)}
    return subprocess.Popen(
        [sys.executable, "-c", *words],
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def test_a_helper_ends_when_its_parent_is_killed() -> None:
    with ran(PARENT, HELPER) as parent:
        assert parent.stdout is not None
        helper = int(parent.stdout.readline())
        parent.kill()
        assert parent.stdout.read() == ""  # returns once the helper, too, has let go of it
    for _ in range(200):  # an orphan is taken away by the system's first process, in its time
        if not alive(helper):
            break
        time.sleep(0.05)
    assert not alive(helper)


def alive(number: int) -> bool:
    try:
        stat = Path(f"/proc/{number}/stat").read_text(encoding="utf-8")
    except FileNotFoundError:
        return False
    return stat.rpartition(")")[2].split()[0] != "Z"


def test_one_whose_parent_is_gone_already_ends_at_once() -> None:
    with ran(HELPER, "1" if os.getpid() != 1 else "2") as helper:
        assert helper.communicate()[0] == ""
    assert helper.returncode == -signal.SIGKILL
