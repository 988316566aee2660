"""Kill what adds to a record at random moments, alone and one of four at once; a process of its own.

``python tests/helpers/killing_records.py PLACE KILLS ROUNDS [SEED]``: PLACE is a folder for files of SQLite,
or the address of an empty database of PostgreSQL; KILLS adders are killed at work alone, and in ROUNDS four
write at once and one of them is killed at work. Prints one line of JSON: how many were killed, and everything
that was found broken.
"""

from __future__ import annotations

import datetime as dt
import json
import os
import random
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from stressmap.core.record_place import DRIVER, RecordPlace
from stressmap.store.ranch_record import RanchRecord, SourceFile
from stressmap.store.row_versions import ArrivingRow

NOW = dt.datetime(2026, 7, 15)
ROWS = 200
WRITERS, FILES, EACH = 4, 2, 50
MOST_TRIES = 5
"""So many times as often as killers are to hit they try."""


def rows(name: str, count: int) -> list[ArrivingRow]:
    return [
        ArrivingRow(f"{name} {n}", n + 2, {"tree_id": f"{name} {n}", "pressure_bar": n / 10})
        for n in range(count)
    ]


def added(record: RanchRecord, name: str, count: int) -> None:
    record.add(SourceFile(name, name, "readings"), rows(name, count), NOW)


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


def killed_after(number: int, seconds: float) -> bool:
    """Kill a child; tell whether it was still at work."""
    time.sleep(seconds)
    os.kill(number, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(number, 0)[1])


def there(record: RanchRecord) -> tuple[Counter[str], list[str]]:
    """Count the rows of each file, and name those that are there twice."""
    trees = Counter(row["tree_id"] for row in record.rows("readings"))
    files: Counter[str] = Counter(tree.rsplit(" ", 1)[0] for tree in trees)
    return files, [f"{tree} {count} times" for tree, count in trees.items() if count > 1]


class Moments:
    """Random moments within the time that the work takes, which is learnt from who was ready before."""

    def __init__(self, seconds: float, chance: random.Random) -> None:
        self._seconds, self._chance = seconds, chance

    def next(self) -> float:
        return self._chance.uniform(0.0, 1.0) * self._seconds

    def learn(self, *, killed: bool) -> None:
        self._seconds *= 1.05 if killed else 0.8


def kills(record: RanchRecord, count: int, chance: random.Random) -> tuple[int, list[str]]:
    """Kill adders; after each the file is there whole or not at all, and adding it again completes it."""
    killed, broken = 0, []
    added(record, "first", ROWS)
    began = time.perf_counter()
    added(record, "timed", ROWS)
    moments = Moments(time.perf_counter() - began, chance)
    whole = {"first", "timed"}
    for turn in range(MOST_TRIES * count):
        if killed == count:
            break
        name = f"kill {turn}"
        hit = killed_after(child(lambda name=name: added(record, name, ROWS)), moments.next())
        moments.learn(killed=hit)
        killed += hit
        files, twice = there(record)
        broken += twice
        broken += [f"{name}: {count} rows of {ROWS}" for name, count in files.items() if count != ROWS]
        broken += [f"{name} was lost" for name in whole - files.keys()]
        if turn % 4 == 0 or not hit:
            added(record, name, ROWS)
            whole.add(name)
    return killed, broken


def at_once(record: RanchRecord, turn: str, moments: Moments | None, chance: random.Random) -> bool:
    """Let four writers add files at once, kill one, which begins again; tell whether it was at work."""

    def work(writer: int) -> None:
        for file in range(FILES):
            added(record, f"{turn} writer {writer} file {file}", EACH)

    numbers = [child(lambda writer=writer: work(writer)) for writer in range(WRITERS)]
    killed = False
    if moments is not None:
        chosen = chance.randrange(WRITERS)
        killed = killed_after(numbers[chosen], moments.next())
        moments.learn(killed=killed)
        numbers[chosen] = child(lambda: work(chosen))
    failed = sum(os.waitpid(number, 0)[1] != 0 for number in numbers)
    if failed:
        msg = f"{failed} writers failed"
        raise RuntimeError(msg)
    return killed


def writers(record: RanchRecord, count: int, chance: random.Random) -> tuple[int, list[str]]:
    """Let four write at once into a record that is not there yet, then again with one of them killed."""
    began = time.perf_counter()
    at_once(record, "whole", None, chance)
    moments = Moments(time.perf_counter() - began, chance)
    names, killed = ["whole"], 0
    for turn in range(MOST_TRIES * count):
        if killed == count:
            break
        names.append(f"killed {turn}")
        killed += at_once(record, names[-1], moments, chance)
    files, broken = there(record)
    wanted = {f"{n} writer {w} file {f}" for n in names for w in range(WRITERS) for f in range(FILES)}
    broken += [f"{name}: {files[name]} rows of {EACH}" for name in wanted if files[name] != EACH]
    return killed, broken + [f"{name} is unknown" for name in files.keys() - wanted]


def main(place: str, count: int, rounds: int, seed: int) -> None:
    chance = random.Random(seed)
    if place.startswith(DRIVER):
        alone = together = RecordPlace(url=place)
    else:
        alone, together = (RecordPlace(Path(place) / name) for name in ("kills.sqlite", "writers.sqlite"))
    first, broken = writers(RanchRecord(together, "Four Hands"), rounds, chance)
    second, wrong = kills(RanchRecord(alone, "Two Sheds"), count, chance)
    told = {"killed_alone": second, "killed_of_four": first, "broken": broken + wrong}
    sys.stdout.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), int(sys.argv[4]) if len(sys.argv) > 4 else 1)
