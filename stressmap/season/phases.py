"""At which phase of its turn a visit sees a valve zone: a weekly visit on a weekly turn sees always one."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats

LAST_VISITS = 3
SAME_DAYS = 1.25
"""Days since water of the last visits that differ by no more are one phase."""
SHORTEST_TURN = 4.0
"""Days; over shorter turns every visit sees much the same."""
COLUMNS = ("valve", "block", "seen_days", "interval_days", "move_days")


def same_phases(since_water: Floats, interval: Floats, facts: pd.DataFrame) -> pd.DataFrame:
    """Find the valve zones of which the last visits saw one phase only.

    Parameters
    ----------
    since_water : array of float, shape (V, Z)
        Days since water at the visits.
    interval : array of float, shape (Z,)
        Usual days of a turn.
    facts : DataFrame, Z rows
        ``valve`` and ``block``.

    Returns
    -------
    DataFrame
        :data:`COLUMNS`; ``seen_days`` since water, ``move_days`` by which the next visit would show the other
        side: later for zones seen soon after their water, earlier for those seen just before it.

    Examples
    --------
    >>> facts = pd.DataFrame({"valve": ["A", "B"], "block": ["X", "X"]})
    >>> since = np.array([[1.0, 2.0], [1.2, 5.0], [0.8, 3.0]])
    >>> same_phases(since, np.array([7.0, 7.0]), facts)[["valve", "move_days"]].to_numpy().tolist()
    [['A', 5.0]]
    """
    last = since_water[-LAST_VISITS:]
    if len(last) < LAST_VISITS:
        return pd.DataFrame(columns=list(COLUMNS))
    spread, middle = last.max(axis=0) - last.min(axis=0), np.median(last, axis=0)
    with np.errstate(invalid="ignore"):
        same = (spread <= SAME_DAYS) & (interval >= SHORTEST_TURN) & (middle <= interval + SAME_DAYS)
        # readings two days after the water and one before the next show the two sides
        soon = middle < interval / 2.0
        move = np.where(soon, interval - 1.0 - middle, -(middle - 2.0))
    found = facts[["valve", "block"]].assign(
        seen_days=middle, interval_days=interval, move_days=np.round(move)
    )
    told: pd.DataFrame = found[same & (np.abs(np.nan_to_num(move)) >= 1.0)].reset_index(drop=True)
    return told
