"""Draw states of the output folder and look what a run does to them, by hand.

``PYTHONPATH=tests python tests/benchmarks/fuzz_output_folder.py FOLDER [STATES] [SEED]`` prints what was
harmed and, last, how many states were drawn and how many harmed something.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from helpers.disordered_folders import one


def main(folder: Path, states: int = 10_000, seed: int = 0) -> None:
    os.fsync = lambda _: None
    harmed = 0
    for number in range(seed, seed + states):
        found = one(folder / str(number), number)
        harmed += bool(found)
        for line in found:
            sys.stdout.write(f"{line}\n")
    sys.stdout.write(f"{states} states drawn, {harmed} harmed\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:]))
