"""Node, which runs the map's scripts without a browser."""

import os
import shutil
import subprocess
from pathlib import Path

import pytest


def node() -> str:
    """Find the program; its absence skips, but fails where CI is set."""
    found = shutil.which("node")
    if found:
        return found
    reason = "node is not installed, so the map's scripts cannot be run without a browser"
    if os.environ.get("CI"):
        pytest.fail(reason)
    pytest.skip(reason)


def run_node(*arguments: str, folder: Path, given: str = "") -> subprocess.CompletedProcess[str]:
    """Run it in a folder, with text on its standard input."""
    plain = {name: value for name, value in os.environ.items() if name not in {"NODE_OPTIONS", "FORCE_COLOR"}}
    return subprocess.run(
        [node(), *arguments], cwd=folder, input=given, capture_output=True, encoding="utf-8", check=False,
        env=plain | {"NO_COLOR": "1"},
    )  # fmt: skip
