"""Plans of many random ranches before the independent checker of manners.

Run by hand: ``python tests/benchmarks/manners.py 500``. Prints every promise that a plan breaks.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from helpers.manners_cases import drawn_ranch
from helpers.manners_checker import bad_manners
from helpers.water_checker import violations

from stressmap.core.errors import SettingsError


def main(count: int) -> None:
    began, watered, sets_in_all, refused, broken = time.process_time(), 0, 0, 0, 0
    for seed in range(count):
        drawn = drawn_ranch(seed)
        try:
            plan, sets = drawn.tables()
        except SettingsError:
            refused += 1
            continue
        found = bad_manners(drawn.facts, plan, sets) + violations(drawn.limits(), plan, sets)
        broken += bool(found)
        watered, sets_in_all = watered + bool(sets), sets_in_all + len(sets)
        for line in found:
            print(seed, line)
    print(f"{count} ranches, {refused} refused, {watered} watered in {sets_in_all} sets")
    print(f"{broken} with something wrong")
    print(f"{time.process_time() - began:.0f} s of processor")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
