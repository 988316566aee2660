"""A district of any size, drawn from a seed: ranches of so many blocks beside each other, each like no other.

By hand: ``python tests/benchmarks/drawn_district.py FOLDER --ranches 8 --blocks 4``. A block is 16 ha with
six valve zones, so 40 ranches of 250 blocks have 10,000 blocks, 60,000 valve zones and, with a tree in each
zone and one visit, 60,000 readings.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

from drawn_ranch import ROAD_M, ROW_OF_BLOCKS, SEED, SIDE_M, VISITS, Kind, draw

NAMES = (
    "Low Weir",
    "Tall Poplar",
    "Two Wells",
    "Grey Barn",
    "Long Bend",
    "Old Siphon",
    "Flat Iron",
    "Far Gate",
)
BETWEEN_M = 1_500.0
SETTINGS = """
[district]
name = "Drawn District"
ranches = [
{ranches}
]
"""


def draw_district(
    folder: Path, *, ranches: int, blocks: int, cell_m: float = 5.0, visits: int = 1, more: str = ""
) -> Path:
    """Write a district of ``ranches`` ranches of ``blocks`` blocks each and return its settings file."""
    wide = min(blocks, ROW_OF_BLOCKS) * (SIDE_M + ROAD_M) + BETWEEN_M
    tall = math.ceil(blocks / ROW_OF_BLOCKS) * (SIDE_M + ROAD_M) + BETWEEN_M + wide / 8
    columns = max(1, round(math.sqrt(ranches * tall / wide)))
    named = []
    for i in range(ranches):
        name = f"{NAMES[i % len(NAMES)]} {i // len(NAMES) + 1}"
        moved = (wide * (i % columns), tall * (i // columns))
        kind = Kind(name, SEED + i, moved, VISITS[-visits:])
        draw(folder / f"ranch{i + 1:02d}", blocks=blocks, cell_m=cell_m, kind=kind)
        named.append(f'    "ranch{i + 1:02d}/ranch.toml",')
    text = SETTINGS.format(ranches="\n".join(named)) + more
    (folder / "district.toml").write_text(text, encoding="utf-8")
    return folder / "district.toml"


def main() -> None:
    asked = argparse.ArgumentParser()
    asked.add_argument("folder", type=Path)
    asked.add_argument("--ranches", type=int, default=8)
    asked.add_argument("--blocks", type=int, default=4)
    asked.add_argument("--cell", type=float, default=5.0)
    asked.add_argument("--visits", type=int, default=1, choices=(1, 2))
    chosen = asked.parse_args()
    print(
        draw_district(
            chosen.folder,
            ranches=chosen.ranches,
            blocks=chosen.blocks,
            cell_m=chosen.cell,
            visits=chosen.visits,
        )
    )


if __name__ == "__main__":
    main()
