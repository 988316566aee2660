"""Real districts whose workers and commands are killed at random moments; by hand.

``python tests/benchmarks/killed_districts.py [KILLS] [SEED] [--quick] [--address]``: three small ranches on
two workers. In half of the turns a worker is killed with SIGKILL, and the call must come to its end; in the
others the command, of which no process may be left, and the next call must do what is missing. Each ranch
must have the bytes of its own run or not be there. With ``--quick`` ranches are made by the stand-in of the
tests: most of a call is beginning, writing and ending. With ``--address`` the workers are those of a cluster
that goes on: only the command is killed; they must be idle soon after, with nothing left in hidden folders.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

REPOSITORY = Path(__file__).parents[2]
sys.path.insert(0, str(REPOSITORY / "tests"))
from distributed import Client  # noqa: E402
from helpers import faulty_district, small_ranch  # noqa: E402
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
LEFT_S = 60.0
PORT = 8806


@dataclass(frozen=True)
class Calls:
    """How the command is called: the real one or its stand-in, by address or not."""

    listed: Path
    quick: bool = False
    scheduler: str | None = None

    @property
    def environment(self) -> dict[str, str]:
        real = os.environ | {"PYTHONPATH": str(REPOSITORY)}
        return faulty_district.environment([]) if self.quick else real

    def begin(self, out: Path) -> subprocess.Popen[str]:
        real = ["stressmap.cli", "district", "--quiet"]
        module, *words = ["helpers.faulty_district"] if self.quick else real
        words += [str(self.listed), "--out", str(out)]
        words += ["--scheduler", self.scheduler] if self.scheduler else []
        return subprocess.Popen(
            [sys.executable, "-m", module, *words],
            env=self.environment,
            stderr=subprocess.PIPE,
            text=True,
        )

    @contextmanager
    def cluster(self, folder: Path) -> Iterator[None]:
        """Begin a scheduler and two workers that outlive every call."""
        begun = []
        try:
            for name, *words in (
                ("scheduler", "--host", "127.0.0.1", "--port", str(PORT)),
                *[("worker", str(self.scheduler), "--nthreads", "1", "--local-directory", str(folder))] * 2,
            ):
                command = [sys.executable, "-m", f"distributed.cli.dask_{name}", "--no-dashboard", *words]
                quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
                begun.append(subprocess.Popen(command, env=self.environment, **quiet))
            yield
        finally:
            for process in reversed(begun):
                process.terminate()
                process.wait()


def idle_after(address: str) -> float:
    """Give the seconds until no worker of a cluster executes anything; over :data:`LEFT_S` if none came."""
    began = time.perf_counter()
    with Client(address, set_as_default=False) as client:
        while time.perf_counter() - began < LEFT_S:
            if not any(client.run(lambda dask_worker: dask_worker.state.executing_count).values()):
                break
            time.sleep(0.2)
    return time.perf_counter() - began


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
    there = list(out.iterdir()) if out.exists() else []
    found = {p.name: whole(p) for p in there if p.is_dir() and p.name[0] != "."}
    broken = [f"{name} is not whole" for name, text in found.items() if expected.get(name) != text]
    if complete:
        broken += [f"{name} is missing" for name in expected.keys() - found.keys()]
        broken += [f"{p.name} is left over" for p in there if p.name[0] == "."]
    return broken


def turn(
    calls: Calls, out: Path, expected: dict[str, str], kind: str, wait_s: float
) -> tuple[bool, list[str]]:
    """Kill once; tell whether there was still something to kill, and what is broken."""
    driver = calls.begin(out)
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
    if calls.scheduler:
        seconds = idle_after(calls.scheduler)
        broken += [f"a worker is at work after {seconds:.0f} s"] if seconds > LEFT_S else []
        print(f"idle {seconds:.1f} s after", hidden := [p.name for p in out.glob(".*.partial")], flush=True)
        broken += [f"{name} is left" for name in hidden]
    else:
        time.sleep(GONE_S)
    broken += [f"process {pid} is left" for pid in alive(everyone)] + broken_in(out, expected, complete=False)
    again = calls.begin(out)
    told = again.communicate()[1]
    broken += [f"the next call ended with {again.returncode}: {told}"] if again.returncode else []
    return True, broken + broken_in(out, expected, complete=True)


def draw(folder: Path, *, quick: bool) -> dict[str, str]:
    """Draw the ranches, make each by itself, and give what each must be."""
    expected = {}
    (folder / "district.toml").write_text(DISTRICT)
    for name in NAMES:
        slug = name.lower().replace(" ", "-")
        settings = small_ranch.SETTINGS.replace("Two Sheds", name).replace("cell_m = 10", "cell_m = 25")
        make = faulty_district.made if quick else run
        make(small_ranch.write(folder / slug, settings), out=folder / "alone" / slug)
        expected[slug] = whole(folder / "alone" / slug)
    return expected


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("kills", type=int, nargs="?", default=40)
    asked.add_argument("seed", type=int, nargs="?", default=1)
    asked.add_argument("--quick", action="store_true")
    asked.add_argument("--address", action="store_true")
    chosen = asked.parse_args()
    random.seed(chosen.seed)
    folder, count = Path(tempfile.mkdtemp(prefix="killed-districts-")), Counter[str]()
    kinds = ("command",) if chosen.address else ("worker", "command")
    scheduler = f"tcp://127.0.0.1:{PORT}" if chosen.address else None
    calls, out = Calls(folder / "district.toml", chosen.quick, scheduler), folder / "out"
    try:
        expected = draw(folder, quick=chosen.quick)
        with ExitStack() as left:
            if scheduler:
                left.enter_context(calls.cluster(folder))
            first = calls.begin(out)
            began = time.perf_counter()
            told = first.communicate()[1]
            assert first.returncode == 0, told
            seconds = time.perf_counter() - began
            for number in range(chosen.kills):
                shutil.rmtree(out, ignore_errors=True)
                kind = kinds[number % len(kinds)]
                killed, broken = turn(calls, out, expected, kind, random.uniform(0.1, 1.0) * seconds)
                count[f"{kind} killed" if killed else "came to its end first"] += 1
                for what in broken:
                    print(f"turn {number}, {kind}: {what}", flush=True)
                count["broken"] += bool(broken)
                print(dict(count), f"{seconds:.0f} s a call undisturbed", flush=True)
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
