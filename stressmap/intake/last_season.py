"""What the season before taught of each block, from its ``season_blocks.csv``."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

import numpy as np

from stressmap.intake.columns import match, recogniser
from stressmap.intake.heading_recognition import Field
from stressmap.intake.table_files import read_sheet

Z_90 = 1.645
LAST_SEASON: Mapping[str, Field] = MappingProxyType(
    {name: Field(()) for name in ("block", "mm_per_bar", "mm_per_bar_low", "mm_per_bar_high", "cycles_seen")}
)
"""Columns that are taken from it."""


def read_last_season(path: Path) -> dict[str, tuple[float, float]]:
    """Read the water per bar of blocks.

    Parameters
    ----------
    path : Path
        ``season_blocks.csv`` of the season before.

    Returns
    -------
    dict of str to (float, float)
        By block: water per bar [mm] and the standard error of its logarithm, from its 90 % interval.

    Raises
    ------
    DataError
        If it is no such table, or a figure is none.
    """
    sheet = read_sheet(path, recogniser(LAST_SEASON, {})).value
    table = match(
        sheet, LAST_SEASON, {}, required=("block", "mm_per_bar", "mm_per_bar_low", "mm_per_bar_high")
    )
    names = table.text("block")
    mm, low, high = (
        table.numbers(name).to_numpy(float) for name in ("mm_per_bar", "mm_per_bar_low", "mm_per_bar_high")
    )
    found = {}
    for name, one, least, most in zip(names, mm, low, high, strict=True):
        if isinstance(name, str) and np.isfinite([one, least, most]).all() and 0 < least < most and one > 0:
            found[name.strip()] = float(one), math.log(most / least) / (2.0 * Z_90)
    return found
