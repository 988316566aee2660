"""Kill what adds to a record at random moments, and let four add at once; a process of its own.

``python tests/helpers/killing_records.py FOLDER KILLS [SEED]`` prints one line of JSON: how many were killed,
and everything that was found broken.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

from stressmap.store.ranch_record import RanchRecord, SourceFile
from stressmap.store.row_versions import ArrivingRow

NOW = dt.datetime(2026, 7, 15)
ROWS = 200
WRITERS, FILES, EACH = 4, 4, 50


def rows(name: str, count: int) -> list[ArrivingRow]:
    return [
        ArrivingRow(f"{name} {n}", n + 2, {"tree_id": f"{name} {n}", "pressure_bar": n / 10})
        for n in range(count)
    ]


def added(place: Path, name: str, count: int) -> None:
    RanchRecord(place, "Two Sheds").add(SourceFile(name, name, "readings"), rows(name, count), NOW)


def child(work: Callable[[], None]) -> int:
    number = os.fork()
    if number == 0:
        code = 1
        try:
            work()
            code = 0
        finally:
            os._exit(code)
    return number


def kills(place: Path, count: int, chance: random.Random) -> tuple[int, list[str]]:
    """Kill adders; after each the file is there whole or not at all, and adding it again completes it."""
    killed, broken = 0, []
    added(place, "first", ROWS)
    began = time.perf_counter()
    added(place, "timed", ROWS)
    seconds = time.perf_counter() - began
    whole = {"first", "timed"}
    for turn in range(count):
        name = f"kill {turn}"
        number = child(lambda name=name: added(place, name, ROWS))
        time.sleep(chance.uniform(0.0, 1.2) * seconds)
        os.kill(number, signal.SIGKILL)
        killed += os.WIFSIGNALED(os.waitpid(number, 0)[1])
        there: dict[str, int] = {}
        for row in RanchRecord(place, "Two Sheds").rows("readings"):
            of = row["tree_id"].rsplit(" ", 1)[0]
            there[of] = there.get(of, 0) + 1
        lost = {name: count for name, count in there.items() if count != ROWS}
        broken += [f"{name}: {count} rows of {ROWS}" for name, count in lost.items()]
        broken += [f"{name} was lost" for name in whole - there.keys()]
        if turn % 4 == 0:
            added(place, name, ROWS)
            whole.add(name)
    return killed, broken


def at_once(place: Path) -> tuple[int, list[str]]:
    """Let four writers add files to a record that is not there yet; give how many rows are there then."""

    def work(writer: int) -> None:
        for file in range(FILES):
            added(place, f"writer {writer} file {file}", EACH)

    numbers = [child(lambda writer=writer: work(writer)) for writer in range(WRITERS)]
    failed = [str(number) for number in numbers if os.waitpid(number, 0)[1] != 0]
    trees = [row["tree_id"] for row in RanchRecord(place, "Two Sheds").rows("readings")]
    twice = len(trees) - len(set(trees))
    return len(trees), [f"writer {name} failed" for name in failed] + [f"{twice} twice"] * bool(twice)


def main(folder: Path, count: int, seed: int) -> None:
    killed, broken = kills(folder / "kills.sqlite", count, random.Random(seed))
    there, wrong = at_once(folder / "writers.sqlite")
    told = {"killed": killed, "broken": broken + wrong, "written": WRITERS * FILES * EACH, "there": there}
    sys.stdout.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 1)
