"""Many ranches at once by the real command: processor time and peak memory of workers, and by address.

Run by hand: ``python tests/benchmarks/district.py WHAT [--workers 2] [--keep FOLDER]``. WHAT is ``ranches``
(2, 8 and 32 of four blocks), ``blocks`` (250 to 10,000, in ranches of 250), ``one`` (2,500 in one ranch),
``cells`` (250 blocks at 2 m, a fortieth of 400 million), ``address`` (two schedulers, workers in network
namespaces of their own, one of whose cables is pulled; needs root) or a number of ranches of 250 blocks.
Prints a row a case as docs/benchmarks.md has them.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from drawn_district import draw_district
from network_namespaces import HERE, cut, inside, namespaces
from watched_processes import Watch

REPOSITORY = Path(__file__).parents[2]
sys.path.insert(0, str(REPOSITORY / "tests"))
from helpers.killing import whole  # noqa: E402

ENVIRONMENT = os.environ | {"PYTHONPATH": str(REPOSITORY)}
STRESSMAP = [sys.executable, "-m", "stressmap.cli"]
SCHEDULER = [sys.executable, "-m", "distributed.cli.dask_scheduler", "--no-dashboard"]
WORKER = [sys.executable, "-m", "distributed.cli.dask_worker", "--no-dashboard", "--nthreads", "1"]
PORTS = (8786, 8796)  # 8787 is where the first tells about itself


@dataclass(frozen=True)
class Case:
    """A district to draw: ``ranches`` of ``blocks`` each, cells of ``cell_m``."""

    ranches: int
    blocks: int
    cell_m: float = 5.0

    @property
    def cells(self) -> float:
        """[million], a block being 16 ha."""
        return self.ranches * self.blocks * 0.16 / self.cell_m**2

    @property
    def words(self) -> str:
        of = f"{self.ranches} of {self.blocks:,} blocks"
        readings = 6 * self.ranches * self.blocks
        return f"{of}, {readings:,} readings, {self.cells:.3g} M cells of {self.cell_m:g} m"


CASES = {
    "ranches": [Case(2, 4), Case(8, 4), Case(32, 4)],
    "blocks": [Case(1, 250), Case(4, 250), Case(10, 250), Case(40, 250)],
    "one": [Case(1, 2500)],
    "cells": [Case(1, 250, 2.0)],
}


def draw(case: Case, folder: Path, workers: int) -> Path:
    more = f"\n[workers]\ncount = {workers}\nmemory_gb = 3\n"
    return draw_district(folder, ranches=case.ranches, blocks=case.blocks, cell_m=case.cell_m, more=more)


def measured(case: Case, folder: Path, workers: int) -> tuple[float, float]:
    """Run a district twice, print its row, and give processor seconds of all and peak MB of a worker."""
    district, out = draw(case, folder / "drawn", workers), folder / "out"
    with Watch() as first:
        ended(first.start([*STRESSMAP, "district", district, "--out", out, "--quiet"], env=ENVIRONMENT))
    with Watch() as again:
        ended(again.start([*STRESSMAP, "district", district, "--out", out, "--quiet"], env=ENVIRONMENT))
    done = sum(path.is_file() for path in out.glob("*/run.json"))
    sizes = ", ".join(
        f"{p.name} {p.stat().st_size / 1e6:.1f} MB" for p in sorted(out.glob("district.*")) if p.is_file()
    )
    print(
        f"| {case.words} | {done} | {first.cpu_s('worker'):.0f} | {first.cpu_s('driver'):.0f} "
        f"| {first.peak_mb('worker'):.0f} | {first.peak_mb('driver'):.0f} | {first.seconds:.0f} "
        f"| {again.cpu_s('driver') + again.cpu_s('worker'):.0f} |",
        f"({first.count('worker')} workers; {sizes}; load {os.getloadavg()[0]:.1f})",
        flush=True,
    )
    return first.cpu_s("worker") + first.cpu_s("driver"), first.peak_mb("worker")


def ended(running: subprocess.Popen[str]) -> None:
    if running.wait():
        sys.exit(f"{running.args} ended with {running.returncode}")


def growth(cases: Iterable[Case], folder: Path, workers: int) -> None:
    print("| district | mapped | workers s | driver s | MB of a worker | of the driver | wall s | again s |")
    sizes, cpu = [], []
    for case in cases:
        place = folder / f"{case.ranches}x{case.blocks}"
        cpu.append(measured(case, place, workers)[0])
        sizes.append(case.ranches * case.blocks)
        shutil.rmtree(place)
    if len(sizes) > 1:
        upper = math.log(cpu[-1] / cpu[-2]) / math.log(sizes[-1] / sizes[-2])
        slope = np.polyfit(np.log(sizes), np.log(cpu), 1)[0]
        print(f"processor time grows with the power {slope:.2f} over all, {upper:.2f} over the last step")


@contextlib.contextmanager
def clusters(watch: Watch, folder: Path) -> Iterator[list[list[subprocess.Popen[str]]]]:
    """Start two schedulers on this machine, each with a worker in each of two namespaces."""
    started, by_scheduler = [], []
    log = (folder / "clusters.log").open("w")
    try:
        for port in PORTS:
            words = [*SCHEDULER, "--host", HERE, "--port", port]
            started.append(watch.start(words, env=ENVIRONMENT, stderr=log, stdout=log))
            workers = []
            for k in (1, 2):
                own = folder / f"scratch{port}_{k}"
                words = [*inside(k), *WORKER, f"tcp://{HERE}:{port}", "--memory-limit", "3GB",
                         "--local-directory", own]  # fmt: skip
                workers.append(watch.start(words, env=ENVIRONMENT, stderr=log, stdout=log))
            by_scheduler.append(workers)
            started += workers
        yield by_scheduler
    finally:
        for process in reversed(started):
            process.terminate()
        for process in started:
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(10)
            process.kill()
        log.close()


def by_address(folder: Path, ranches: int) -> None:
    """Two districts at once, by two schedulers; then one of them again while a namespace loses its cable."""
    folder.mkdir(parents=True, exist_ok=True)
    first = draw(Case(ranches, 4), folder / "drawn1", 2)
    shutil.copytree(folder / "drawn1", folder / "drawn2")  # drawn again, a GeoPackage would tell another time
    districts = [first, folder / "drawn2" / first.name]
    alone = folder / "alone"
    for ranch in sorted((folder / "drawn1").glob("*/ranch.toml")):
        out = alone / ranch.parent.name
        subprocess.run(
            [*map(str, STRESSMAP), "run", ranch, "--out", out, "--quiet"], env=ENVIRONMENT, check=True
        )
    expected = sorted(whole(out) for out in alone.iterdir())
    with namespaces(2) as addresses, Watch() as watch, clusters(watch, folder):
        running = [
            watch.start(
                [*STRESSMAP, "district", district, "--scheduler", f"tcp://{HERE}:{port}", "--out",
                 folder / f"out{port}", "--quiet"],
                env=ENVIRONMENT,
            )
            for district, port in zip(districts, PORTS, strict=True)
        ]  # fmt: skip
        for one in running:
            ended(one)
        for port in PORTS:
            same = sorted(whole(p.parent) for p in (folder / f"out{port}").glob("*/run.json")) == expected
            print(
                f"scheduler {HERE}:{port}, workers at {addresses}: the bytes of each ranch's own run: {same}"
            )
        print(
            f"workers {watch.cpu_s('worker'):.0f} s, peak {watch.peak_mb('worker'):.0f} MB of one", flush=True
        )
        out = folder / "cut"
        words = [
            *STRESSMAP,
            "district",
            districts[0],
            "--scheduler",
            f"tcp://{HERE}:{PORTS[0]}",
            "--out",
            out,
        ]
        last = watch.start([*words, "--quiet"], env=ENVIRONMENT)
        while last.poll() is None and not any(out.glob("*/run.json")):
            time.sleep(0.2)
        cut(2)
        began = time.perf_counter()
        ended(last)
        same = sorted(whole(p.parent) for p in out.glob("*/run.json")) == expected
        print(
            f"cable of {addresses[1]} pulled while at work: whole {same}, "
            f"{time.perf_counter() - began:.0f} s later"
        )


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("what", help=", ".join([*CASES, "address"]) + " or ranches of 250 blocks")
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--ranches", type=int, default=8, help="of each district reached by address")
    asked.add_argument("--keep", type=Path, help="work in this folder and leave it")
    chosen = asked.parse_args()
    folder = chosen.keep or Path(tempfile.mkdtemp(prefix="district-"))
    print(json.dumps({"load": os.getloadavg()[0], "cores": os.cpu_count(), "workers": chosen.workers}))
    try:
        if chosen.what == "address":
            by_address(folder, chosen.ranches)
        else:
            cases = CASES.get(chosen.what) or [Case(int(chosen.what), 250)]
            growth(cases, folder, chosen.workers)
    finally:
        if not chosen.keep:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
