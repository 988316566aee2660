"""Sets of one valve that a log has twice or that overlap: told, and counted once."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

from stressmap.core.row_counts import ToldRow


class SetRow(NamedTuple):
    """One set of one valve, and the row that says it."""

    valve: str
    start: pd.Timestamp
    end: pd.Timestamp
    mm: float
    file: str
    row: int


@dataclass(frozen=True)
class OnceEach:
    """Sets, none of which overlaps another of its valve.

    Parameters
    ----------
    sets : tuple of SetRow
        By valve and start.
    repeats, overlaps : tuple of (str, ToldRow)
        File and row of what was there already, or was joined with another row.
    """

    sets: tuple[SetRow, ...]
    repeats: tuple[tuple[str, ToldRow], ...]
    overlaps: tuple[tuple[str, ToldRow], ...]


def once_each(sets: list[SetRow]) -> OnceEach:
    """Take the same set once, and join sets of a valve that overlap.

    The depth of a joined set is the mean rate of its parts over the hours of all of them together; unknown
    where one of them is.

    Parameters
    ----------
    sets : list of SetRow
        In the order of the files.

    Returns
    -------
    OnceEach
    """
    first: dict[tuple[str, pd.Timestamp, pd.Timestamp], SetRow] = {}
    repeats, overlaps = [], []
    for one in sets:
        key = one.valve, one.start, one.end
        before = first.get(key)
        if before is None:
            first[key] = one
            continue
        repeats.append((one.file, _repeat(one, before)))
        if np.isnan(before.mm):
            first[key] = before._replace(mm=one.mm)
    kept: list[SetRow] = []
    for one in sorted(first.values(), key=lambda s: (s.valve, s.start, s.end)):
        if kept and kept[-1].valve == one.valve and one.start < kept[-1].end:
            other = kept[-1]
            overlaps.append((one.file, _overlap(one, other)))
            kept[-1] = _joined(other, one)
        else:
            kept.append(one)
    return OnceEach(tuple(kept), tuple(repeats), tuple(overlaps))


def _repeat(one: SetRow, before: SetRow) -> ToldRow:
    if one.file != before.file:
        return ToldRow.of(one.row, "log_in_two_files", file=Path(before.file).name)
    return ToldRow.of(one.row, "log_repeats", other=before.row, valve=one.valve)


def _overlap(one: SetRow, other: SetRow) -> ToldRow:
    elsewhere = "" if one.file == other.file else f" ({Path(other.file).name})"
    return ToldRow.of(one.row, "log_overlaps", other=f"{other.row}{elsewhere}", valve=one.valve)


def _joined(one: SetRow, other: SetRow) -> SetRow:
    end = max(one.end, other.end)
    hours = _hours(one) + _hours(other)
    mm = (one.mm + other.mm) / hours * ((end - one.start).total_seconds() / 3600.0)
    return one._replace(end=end, mm=mm)


def _hours(one: SetRow) -> float:
    return (one.end - one.start).total_seconds() / 3600.0
