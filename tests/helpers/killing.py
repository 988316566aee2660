"""Kill runs at random moments and look what is left; a process of its own, so that a test can start it.

``python tests/helpers/killing.py FOLDER KILLS [SEED]`` prints one line of JSON: how many runs were killed,
how many came to their end first, and everything that was found broken.
"""

from __future__ import annotations

import hashlib
import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from helpers import small_ranch
from stressmap.jobs import run

ONE = small_ranch.SETTINGS.replace("cell_m = 10", "cell_m = 20")
OTHER = small_ranch.SETTINGS.replace("cell_m = 10", "cell_m = 25")


def whole(folder: Path) -> str:
    """One fingerprint of a result, its timings aside; of nothing if there is none."""
    if not folder.exists():
        return ""
    page = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    del page["timings"]
    told = hashlib.sha256(json.dumps(page, sort_keys=True).encode())
    for file in sorted(p for p in folder.iterdir() if p.name != "run.json"):
        told.update(file.name.encode() + file.read_bytes())
    return told.hexdigest()


def running(ranch: Path, out: Path) -> int:
    """Begin a run in a process of its own."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            run.run(ranch, out=out)
            code = 0
        finally:
            os._exit(code)
    return child


def killed(ranch: Path, out: Path, after_s: float) -> bool:
    """Kill a run after a while; False if it was quicker."""
    child = running(ranch, out)
    time.sleep(after_s)
    os.kill(child, signal.SIGKILL)
    return os.WIFSIGNALED(os.waitpid(child, 0)[1])


def left_over(out: Path) -> list[str]:
    return [p.name for p in out.parent.iterdir() if p.name.startswith(f".{out.name}.")]


def main(folder: Path, kills: int, seed: int) -> None:
    chance = random.Random(seed)
    ranches = [small_ranch.write(folder / "one", ONE), small_ranch.write(folder / "other", OTHER)]
    out, broken, count = folder / "results" / "out", [], 0
    good, seconds = {}, 0.0
    for number, ranch in enumerate(ranches):
        began = time.perf_counter()
        run.run(ranch, out=out)
        seconds = time.perf_counter() - began
        good[whole(out)] = number
    for turn in range(kills):
        share = chance.uniform(0.7, 1.05) if turn % 2 else chance.uniform(0, 1)
        count += killed(ranches[turn % 2], out, share * seconds)
        try:
            if whole(out) not in good:
                broken.append(f"kill {turn}: a result that is neither the one nor the other")
        except (OSError, ValueError) as error:
            broken.append(f"kill {turn}: {error}")
    both = [running(ranch, out) for ranch in ranches]
    raced = sum(os.waitpid(child, 0)[1] == 0 for child in both)
    if whole(out) not in good:
        broken.append("two runs at once")
    run.run(ranches[0], out=out)
    if good.get(whole(out)) != 0:
        broken.append("the run after the kills")
    broken += [f"left over: {name}" for name in left_over(out)]
    told = {"killed": count, "finished": kills - count, "raced": raced, "broken": broken}
    sys.stdout.write(json.dumps(told | {"seconds": round(seconds, 2)}) + "\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]) if len(sys.argv) > 3 else 1)
