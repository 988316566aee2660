"""A district of ranches made by a quick stand-in for ``run``, with workers that fail where they are told to.

``python -m helpers.faulty_district DISTRICT.toml --out FOLDER`` is the command ``district`` with the overview
left out. Driver, cluster, tasks and the putting in place of results are the real ones. ``FAULTS`` in the
environment is a list in JSON of faults with ``ranch``, ``at`` (``mapping``, ``writing``), ``do`` (``die``,
``hog``, ``hang``), ``times`` and ``flag``: each time it happens, a file of that name and a number is made.
With ``after``, such a file, a worker dies as it starts once that is there.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import signal
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from helpers.paths import REPOSITORY

DAY = dt.date(2026, 7, 14)
HELD: list[bytearray] = []


def environment(faults: Sequence[dict[str, Any]]) -> dict[str, str]:
    """Give what the command must find in its environment for its workers to be these."""
    return os.environ | {
        "PYTHONPATH": f"{REPOSITORY}{os.pathsep}{REPOSITORY / 'tests'}",
        "DASK_DISTRIBUTED__WORKER__PRELOAD": "['helpers.faulty_district']",
        "FAULTS": json.dumps(list(faults)),
    }


def dask_setup(_worker: object) -> None:
    """Put the stand-ins in; called by dask in a worker that starts."""
    from stressmap import __version__
    from stressmap.jobs import district_tasks, run

    for fault in json.loads(os.environ["FAULTS"]):
        if "after" in fault and Path(fault["after"]).exists() and again(fault):
            die()
    run.run = made  # type: ignore[assignment]
    district_tasks.warm = lambda _: district_tasks.Warmed(__version__, sees=True)


def made(source: Path, *, out: Path, **_: object) -> SimpleNamespace:
    """Make a result of two files, as whole and as true to its inputs as that of a run."""
    from stressmap.core import settings
    from stressmap.output import outputs
    from stressmap.output.staging import run_record
    from stressmap.output.staging.output_folder import staged

    chosen = settings.load(source, {})
    fail(chosen.ranch.name, "mapping")
    sha256 = run_record.fingerprints(source, chosen, None)
    with staged(out, outputs.files_of("run")) as folder:
        (folder / "valves.csv").write_text(hashlib.sha256(json.dumps(sha256).encode()).hexdigest())
        fail(chosen.ranch.name, "writing")
        page = {
            "job": "run",
            "visit": [DAY.isoformat()] * 2,
            "settings": run_record.settings_shown(chosen),
            "sha256": sha256,
            "versions": run_record.versions(),
            "timings": {},
            "files": ["run.json", "valves.csv"],
        }
        (folder / "run.json").write_text(json.dumps(page))
    return SimpleNamespace(content=SimpleNamespace(ranch=chosen.ranch, visit=(DAY, DAY)))


def fail(ranch: str, at: str) -> None:
    for fault in json.loads(os.environ.get("FAULTS", "[]")):
        if (fault.get("ranch"), fault.get("at")) == (ranch, at) and again(fault):
            DOES[fault["do"]]()


def again(fault: dict[str, Any]) -> bool:
    """Tell whether a fault has not yet happened so many times, and that it happens now."""
    for number in range(fault["times"]):
        try:
            Path(f"{fault['flag']} {number}").touch(exist_ok=False)
        except FileExistsError:
            continue
        return True
    return False


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def hog() -> None:
    while True:
        HELD.append(bytearray(b"1") * 20_000_000)
        time.sleep(0.01)


def hang() -> None:
    time.sleep(120)


DOES: dict[str, Callable[[], None]] = {"die": die, "hog": hog, "hang": hang}


def write_told(
    _district: object, results: Sequence[Any], _shared: object, folder: Path, _tell: object
) -> None:
    """Write what came of each ranch, in place of the overview."""
    told = {one.slug: [one.state, *map(str, one.problems)] for one in results}
    (folder / "told.json").write_text(json.dumps(told))


def main() -> None:
    from stressmap import cli
    from stressmap.output import district_outputs

    district_outputs.write_overview = write_told  # type: ignore[assignment]
    sys.argv = ["stressmap", "district", *sys.argv[1:], "--quiet"]
    cli.main()


if __name__ == "__main__":
    main()
