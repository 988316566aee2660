"""Real districts whose workers and commands are killed at random moments; by hand.

``python tests/benchmarks/killed_districts.py [KILLS] [SEED]``: three small ranches on two workers. In half of
the turns a worker is killed with SIGKILL, and the call must come to its end; in the others the command,
of which no process may be left, and the next call must do what is missing. Each ranch must have the bytes of
its own run or not be there.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
sys.path.insert(0, str(REPOSITORY / "tests"))
from helpers import small_ranch  # noqa: E402
from helpers.killing import whole  # noqa: E402
from watched_processes import descendants, kind_of  # noqa: E402

from stressmap.jobs.run import run  # noqa: E402

NAMES = ("Low Weir", "Tall Poplar", "Two Wells")
DISTRICT = """
[district]
name = "Killed"
ranches = ["low-weir", "tall-poplar", "two-wells"]

[workers]
count = 2
memory_gb = 2
"""
GONE_S = 5.0


def call(listed: Path, out: Path) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "stressmap.cli", "district", str(listed), "--out", str(out), "--quiet"]
    environment = os.environ | {"PYTHONPATH": str(REPOSITORY)}
    return subprocess.Popen(command, env=environment, stderr=subprocess.PIPE, text=True)


def workers_of(driver: int) -> list[int]:
    found = []
    for pid in descendants([driver]):
        try:
            words = Path(f"/proc/{pid}/cmdline").read_bytes()
        except OSError:
            continue
        if kind_of(words) == "worker":
            found.append(pid)
    return found


def alive(pids: list[int]) -> list[int]:
    left = []
    for pid in pids:
        try:
            if Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z":
                left.append(pid)
        except OSError:
            continue
    return left


def after(driver: subprocess.Popen[str], seconds: float) -> bool:
    """Wait so long; tell whether the driver is still at work."""
    try:
        driver.wait(seconds)
    except subprocess.TimeoutExpired:
        return True
    return False


def broken_in(out: Path, expected: dict[str, str], *, complete: bool) -> list[str]:
    found = (
        {p.name: whole(p) for p in out.iterdir() if p.is_dir() and p.name[0] != "."} if out.exists() else {}
    )
    broken = [f"{name} is not whole" for name, text in found.items() if expected.get(name) != text]
    if complete:
        broken += [f"{name} is missing" for name in expected.keys() - found.keys()]
        broken += [f"{p.name} is left over" for p in out.iterdir() if p.name[0] == "."]
    return broken


def turn(
    listed: Path, out: Path, expected: dict[str, str], kind: str, wait_s: float
) -> tuple[bool, list[str]]:
    """Kill once; tell whether there was still something to kill, and what is broken."""
    driver = call(listed, out)
    if not after(driver, wait_s):
        return False, broken_in(out, expected, complete=True)
    everyone = descendants([driver.pid])
    victims = workers_of(driver.pid) if kind == "worker" else [driver.pid]
    if not victims:  # none begun yet
        victims = [driver.pid]
    os.kill(random.choice(victims), signal.SIGKILL)
    told = driver.communicate()[1]
    broken = []
    if victims != [driver.pid]:
        broken += [f"ended with {driver.returncode}: {told}"] if driver.returncode else []
        return True, broken + broken_in(out, expected, complete=True)
    time.sleep(GONE_S)
    broken += [f"process {pid} is left" for pid in alive(everyone)] + broken_in(out, expected, complete=False)
    again = call(listed, out)
    told = again.communicate()[1]
    broken += [f"the next call ended with {again.returncode}: {told}"] if again.returncode else []
    return True, broken + broken_in(out, expected, complete=True)


def main(kills: int, seed: int) -> None:
    random.seed(seed)
    folder, count = Path(tempfile.mkdtemp(prefix="killed-districts-")), Counter[str]()
    try:
        expected, listed, out = {}, folder / "district.toml", folder / "out"
        listed.write_text(DISTRICT)
        for name in NAMES:
            slug = name.lower().replace(" ", "-")
            settings = small_ranch.SETTINGS.replace("Two Sheds", name).replace("cell_m = 10", "cell_m = 25")
            run(small_ranch.write(folder / slug, settings), out=folder / "alone" / slug)
            expected[slug] = whole(folder / "alone" / slug)
        began = time.perf_counter()
        assert call(listed, out).wait() == 0
        seconds = time.perf_counter() - began
        for number in range(kills):
            shutil.rmtree(out)
            kind = ("worker", "command")[number % 2]
            killed, broken = turn(listed, out, expected, kind, random.uniform(0.1, 1.0) * seconds)
            count[f"{kind} killed" if killed else "came to its end first"] += 1
            for what in broken:
                print(f"turn {number}, {kind}: {what}", flush=True)
            count["broken"] += bool(broken)
        print(dict(count), f"{seconds:.0f} s a call undisturbed", flush=True)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40, int(sys.argv[2]) if len(sys.argv) > 2 else 1)
