"""Valves to look at before they are opened: where water is not what the trees lack, or does not arrive."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats

DRIER_BAR, DRIER_SE = 2.0, 2.0
"""Drier than the other valves of the block by so much, and by so many standard errors of the difference."""
APART_MM = 30.0
"""Trees and book further apart than this [mm] are not explained by the errors of either: a judgement."""
VALVES_TO_JUDGE_A_CROP = 5
"""Valves from which on what all of a crop are apart is taken for the crop's, and not for the valve's."""


def drier_than_block(valves: pd.DataFrame) -> list[bool]:
    """Tell which valve zones are clearly drier than the other valves of their block.

    Parameters
    ----------
    valves : DataFrame, n rows
        ``block``, ``stress_bar``, ``stress_se_bar``.

    Returns
    -------
    list of bool, length n
        The errors of zones of a block hang together, which is left out here: rather too few than too many.

    Examples
    --------
    >>> rows = pd.DataFrame({"block": "B", "stress_bar": [4.0, 1.0, 1.0], "stress_se_bar": 0.5})
    >>> drier_than_block(rows)
    [True, False, False]
    """
    found = np.zeros(len(valves), dtype=bool)
    groups: Any = valves.reset_index(drop=True).groupby("block").indices
    for at in groups.values():
        mean = valves["stress_bar"].to_numpy(np.float64)[at]
        variance = valves["stress_se_bar"].to_numpy(np.float64)[at] ** 2
        others = len(at) - 1
        if others:
            apart = mean - (mean.sum() - mean) / others
            se = np.sqrt(variance + (variance.sum() - variance) / others**2)
            found[at] = (apart > DRIER_BAR) & (apart > DRIER_SE * se)
    return [bool(one) for one in found]


def not_relieved(expected: tuple[float, float], seen: tuple[float, float]) -> bool:
    """Tell whether a valve ran enough to relieve its trees since the visit before, and they were not.

    Parameters
    ----------
    expected, seen : tuple of float
        Change of the trees by the book and by the readings, each with its standard error [bar]; positive is
        drier, NaN where it is not known.

    Returns
    -------
    bool

    Examples
    --------
    >>> not_relieved((-3.0, 0.8), (0.5, 0.6)), not_relieved((-3.0, 0.8), (-2.0, 0.6))
    (True, False)

    Trees that are no better at all need not miss as much as :data:`DRIER_BAR`:

    >>> not_relieved((-1.9, 0.4), (0.0, 0.5)), not_relieved((-1.9, 0.4), (-0.5, 0.5))
    (True, False)
    """
    (by_book, book_se), (by_trees, trees_se) = expected, seen
    if not np.isfinite([by_book, book_se, by_trees, trees_se]).all():
        return False
    missing = by_trees - by_book
    is_told = missing > DRIER_SE * float(np.hypot(book_se, trees_se))
    return by_book < 0 and is_told and (missing > DRIER_BAR or by_trees >= 0.0)


def apart_from_crop(gap_mm: Floats, crops: pd.Series) -> tuple[list[bool], dict[str, float]]:
    """Tell where book and trees are apart, and of which crops they are so in most valves.

    What the valves of a crop have in common is the crop's, told once, and not a fault of each of them: where
    the median of a crop is itself further than :data:`APART_MM` from zero, a valve is told by its distance
    to it.

    Parameters
    ----------
    gap_mm : array of float, shape (n,)
        Shortage by the book less that by the trees, below zero too; NaN where there is no book.
    crops : Series of str, n of them
        Crop of each valve.

    Returns
    -------
    tuple of (list of bool, dict of str to float)
        Of each valve; and the median of each crop that is told as a whole [mm].

    Examples
    --------
    >>> apart_from_crop(np.array([28.0, 28.0, 28.0, 28.0, 53.0]), pd.Series(["prune"] * 5))
    ([False, False, False, False, True], {})
    >>> apart_from_crop(np.array([45.0, 45.0, 45.0, 45.0, 53.0]), pd.Series(["prune"] * 5))
    ([False, False, False, False, False], {'prune': 45.0})
    """
    usual: dict[str, float] = {}
    rest = gap_mm.copy()
    for crop in sorted(crops.unique()):
        here = (crops == crop).to_numpy()
        known = gap_mm[here & np.isfinite(gap_mm)]
        median = float(np.median(known)) if len(known) >= VALVES_TO_JUDGE_A_CROP else 0.0
        if abs(median) > APART_MM:
            usual[crop] = median
            rest[here] -= median
    return [bool(abs(one) > APART_MM) for one in rest], usual


def is_checked(data: Mapping[str, Any] | pd.Series, since: dt.date) -> bool:
    """Tell whether flow or pressure of a valve were measured since a day.

    Parameters
    ----------
    data : Series
        The valve's row of :data:`stressmap.core.schemas.VALVES`.
    since : date
        First day of the visit.

    Returns
    -------
    bool
    """
    day = data.get("checked")
    return isinstance(day, str) and dt.date.fromisoformat(day) >= since
