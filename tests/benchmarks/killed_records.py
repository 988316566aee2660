"""A hundred adders killed alone, and a hundred times one of four at once, in both kinds of record; by hand.

``python tests/benchmarks/killed_records.py [KILLS] [SEED]``
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time

from helpers.paths import REPOSITORY
from helpers.postgres_server import programs, started


def killed(what: str, place: str, count: str, seed: str) -> None:
    began = time.perf_counter()
    script = REPOSITORY / "tests" / "helpers" / "killing_records.py"
    done = subprocess.run(
        [sys.executable, script, place, count, count, seed], capture_output=True, text=True, check=True
    )
    print(f"{what}: {done.stdout.strip()} in {time.perf_counter() - began:.0f} s", flush=True)


def main(count: str, seed: str) -> None:
    with tempfile.TemporaryDirectory() as folder:
        killed("SQLite", folder, count, seed)
    tools = programs()
    assert tools is not None, "PostgreSQL with PostGIS is not installed"
    with started(tools, durable=True) as server:
        killed("PostgreSQL", server.new(), count, seed)


if __name__ == "__main__":
    main(*(sys.argv[1:] + ["100", "1"][len(sys.argv) - 1 :]))
