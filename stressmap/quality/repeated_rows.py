"""Rows that stand in a readings file twice, as they were or once more in another unit."""

from __future__ import annotations

from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.units import BAR_PER

UNIT_ROUNDING_BAR = 0.1
"""One pressure read off in two units: half a step each of 0.1 bar, 1 psi (0.07 bar) or 0.01 MPa."""
DETAILS = ("leaf", "chamber", "crew")


def entered_twice(key: pd.DataFrame, readings: pd.DataFrame) -> NDArray[np.bool_]:
    """Find rows whose key and details agree with those of a row above.

    Parameters
    ----------
    key : DataFrame
        ``tree`` (code), ``minute`` and ``pressure`` [bar] of the rows that can be compared; one that lacks
        any of these is a row of its own.
    readings : DataFrame, n rows
        As ``core.schemas.READINGS``.

    Returns
    -------
    array of bool, shape (n,)
        The first of several is not marked. What a row lacks of leaf, chamber and crew agrees with anything.
    """
    whole = key[key.notna().all(axis=1)]
    unit = readings["unit"].reindex(whole.index).fillna("bar")
    alike = whole.assign(pressure=_across_units(whole, unit))
    alike = alike[alike.duplicated(keep=False)]
    found = np.zeros(len(readings), dtype=bool)
    at = readings.index.get_indexer(alike.index)
    details = readings[list(DETAILS)].iloc[at]
    for rows in alike.groupby(list(alike)).indices.values():
        found[at[rows]] = _same_as_above(details.iloc[rows])
    return found


def _across_units(key: pd.DataFrame, unit: pd.Series) -> pd.Series:
    """Give what a tree showed in one minute the figure of the first unit, where several units agree."""
    pressure = key["pressure"].copy()
    units = [name for name in BAR_PER if (unit == name).any()]
    for number, name in enumerate(units[1:], start=1):
        mine, earlier = key[unit == name], key[unit.isin(units[:number])]
        known = earlier.assign(pressure=pressure[earlier.index]).sort_values("pressure", kind="stable")
        near = pd.merge_asof(
            mine.sort_values("pressure", kind="stable").reset_index(names="at"),
            known.assign(same=known["pressure"]),
            on="pressure",
            by=["tree", "minute"],
            direction="nearest",
        ).set_index("at")
        pressure.update(near["same"][(near["same"] - near["pressure"]).abs() <= UNIT_ROUNDING_BAR])
    return pressure


def _same_as_above(details: pd.DataFrame) -> list[bool]:
    """Mark rows whose every detail agrees with, or is missing in, one of the rows kept above."""
    blanks = list(product((False, True), repeat=details.shape[1]))
    kept: set[object] = set()
    marks = []
    for row in details.itertuples(index=False, name=None):
        own = tuple(value is None for value in row)
        same = any((other, own, _both(row, other, own)) in kept for other in blanks)
        marks.append(same)
        if not same:  # put down as a row of any pattern of blanks would look it up, so that time stays linear
            kept.update((own, other, _both(row, own, other)) for other in blanks)
    return marks


def _both(row: tuple[object, ...], one: tuple[bool, ...], other: tuple[bool, ...]) -> tuple[object, ...]:
    """Give the details that are blank in neither of two rows."""
    return tuple(None if a or b else value for value, a, b in zip(row, one, other, strict=True))
