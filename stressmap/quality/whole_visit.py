"""What is wrong with the readings of a visit as a whole, although each alone might be right.

Thresholds are common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from stressmap.core.notes import NoteList
from stressmap.core.units import usual_unit

FEWEST = 5
"""Of fewer readings nothing is said."""
FINEST_COARSE = 3
"""Decimals of a degree; the third is about 100 m."""
M_PER_DEGREE = 111_195.0
MOST_LEAVES = 4
"""More readings without a tree's name on one spot are not leaves of one tree."""
WORTH_TELLING = 0.2
"""Share of the trees that stand on a spot with another."""


def remarks(used: pd.DataFrame) -> NoteList:
    """Say so when positions are too coarse or shared, or all figures are alike.

    Parameters
    ----------
    used : DataFrame
        The readings of the visit that may be used: ``row``, ``tree_id``, ``tree``, ``lon``, ``lat``,
        ``pressure_bar``, ``unit``.

    Returns
    -------
    NoteList
    """
    notes = NoteList()
    if len(used) < FEWEST:
        return notes
    bars = used["pressure_bar"].abs().round(3)
    if (bars == bars.iloc[0]).all():
        bar = bars.iloc[0]
        psi = [bar] if usual_unit(used["unit"]) == "psi" else []
        notes.say("figures_all_alike", "warning", count=len(used), bar=bar, psi=psi)
    degrees = used[["lon", "lat"]].to_numpy(float)
    decimals = next(
        (d for d in range(FINEST_COARSE + 1) if np.abs(degrees - degrees.round(d)).max() < 1e-9), None
    )
    if decimals is not None:
        notes.say("places_coarse", "warning", decimals=decimals, metres=M_PER_DEGREE / 10**decimals)
    shared = _shared_spots(used)
    if shared:
        trees, spots, rows = shared
        notes.say("trees_on_one_spot", "warning", trees=trees, spots=spots, rows=rows)
    return notes


def _shared_spots(used: pd.DataFrame) -> tuple[int, int, list[int]] | None:
    """Give trees, spots and rows where many trees stand on one spot; None where few or none do."""
    named = used["tree_id"].notna()
    tree = used["tree"].where(named, -1 - np.arange(len(used)))
    spot = pd.Series(used.groupby([used["lon"].round(7), used["lat"].round(7)]).ngroup(), index=used.index)
    trees = tree.groupby(spot).nunique()
    nameless = (~named).groupby(spot).sum()
    many = trees.index[((trees - nameless) > 1) | (nameless > MOST_LEAVES)]
    count = int(trees[many].sum())
    if count < WORTH_TELLING * tree.nunique() or count <= 2:
        return None
    return count, len(many), used.loc[spot.isin(many), "row"].tolist()
