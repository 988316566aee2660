"""How long 60,000 readings take to be added to a record, again, and to be read by a check; by hand.

``python tests/benchmarks/record.py [ROWS] [server]``: with ``server`` in PostgreSQL, on a server of its own
that waits for the disk.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
from helpers import small_ranch
from helpers.postgres_server import programs, started

from stressmap.jobs.add import add
from stressmap.jobs.assess_visit import load_inputs


def drawn(rows: int) -> pd.DataFrame:
    """Readings of a small ranch over years: 300 trees, a visit a week."""
    base = small_ranch.readings(300)
    times = pd.to_datetime(base["time"])
    weeks = -(-rows // len(base))
    parts = [
        base.assign(time=(times - pd.Timedelta(weeks=n)).dt.strftime("%Y-%m-%d %H:%M")) for n in range(weeks)
    ]
    every = pd.concat(parts, ignore_index=True).head(rows)
    noise = np.random.default_rng(7).normal(0.0, 0.5, len(every))
    return every.assign(pressure_bar=(every["pressure_bar"] + noise).round(1))


def timed(what: str, work: Callable[[], object]) -> None:
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    print(f"{what}: {time.perf_counter() - wall:.2f} s wall, {time.process_time() - cpu:.2f} s processor")


def main(rows: int, url: str | None = None) -> None:
    with tempfile.TemporaryDirectory() as folder:
        more = "" if url is None else f'[store]\nurl = "{url}"\n'
        ranch = small_ranch.write(Path(folder) / "ranch", small_ranch.SETTINGS + more)
        table = drawn(rows)
        file, other = Path(folder) / "years.csv", Path(folder) / "corrected.csv"
        table.to_csv(file, index=False)
        table.loc[table.index[:50], "pressure_bar"] += 1.0
        table.to_csv(other, index=False)
        add(ranch, [ranch.parent / "irrigation.csv"], dry=True)  # libraries are loaded
        timed(f"{rows:,} rows added", lambda: add(ranch, [file]))
        timed("the same file again", lambda: add(ranch, [file]))
        timed(
            "the same rows in another file, 50 corrected",
            lambda: print(add(ranch, [other]).files[0].added.count("corrected")),
        )
        timed("files and record read", lambda: load_inputs(ranch))
        if url is None:
            print(f"{(ranch.parent / 'ranch.sqlite').stat().st_size / 1e6:.1f} MB")


if __name__ == "__main__":
    words = sys.argv[1:]
    count = int(next(filter(str.isdigit, words), 60_000))
    if "server" in words:
        tools = programs()
        assert tools is not None, "PostgreSQL with PostGIS is not installed"
        with started(tools, durable=True) as server:
            main(count, server.new())
    else:
        main(count)
