"""How the trees of a visit were chosen: trees picked because they look bad tell nothing of the others.

Such a choice shifts the level of a whole map, and no interpolation takes that out, because nothing in the
readings tells it from a dry ranch. So people are asked; and trees read again are compared with those that
were not, by what both showed at earlier visits.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.core.notes import Note
from stressmap.core.settings import Reading
from stressmap.quality.checks import usable

LEAST_AGAIN = 6
"""With fewer trees read again nothing is said of them."""
PLANNED = 0.5
"""With so large a share of stops of a round the trees of a visit were chosen by plan: a judgement."""
MOST_BY_CHANCE = 3.0
"""Standard errors over which the choice is no chance: one visit in some 700."""


def remarks(assessed: gpd.GeoDataFrame, reading: Reading) -> tuple[Note, ...]:
    """Say so where trees were chosen by eye, or where those read again were the dry ones of earlier visits.

    Parameters
    ----------
    assessed : GeoDataFrame
        From :func:`stressmap.quality.checks.assess`, all visits.
    reading : settings.Reading
        ``chosen`` and ``keep``.

    Returns
    -------
    tuple of Note
    """
    if reading.chosen == "by eye":
        return (Note.of("trees_chosen_by_eye", "warning"),)
    found = dry_side(assessed, reading.keep)
    if found is None:
        return ()
    trees, drier_bar = found
    return (Note.of("trees_on_dry_side", "warning", trees=trees, bar=drier_bar),)


def question(reading: Reading, *, planned_share: float = 0.0) -> tuple[Note, ...]:
    """Ask how the trees were chosen, where neither the settings nor the record say it.

    Parameters
    ----------
    reading : settings.Reading
        ``chosen``.
    planned_share : float
        Share of the visit's readings that are stops of a round, as the record has it.

    Returns
    -------
    tuple of Note
    """
    return () if reading.chosen or planned_share >= PLANNED else (Note.of("trees_chosen_unknown"),)


def dry_side(assessed: gpd.GeoDataFrame, keep: tuple[str, ...]) -> tuple[int, float] | None:
    """Tell whether the trees read again are those that were drier than the rest of their blocks before.

    Each block's trees of the earlier visits are a population of which some were read again; the mean of a
    sample drawn without a look at the trees departs from theirs by its sampling error only. (Stratified
    sampling without replacement: "Sampling Techniques", 3rd edition, 1977, section 5.3, from memory.)

    Parameters
    ----------
    assessed : GeoDataFrame
        ``flags``, ``used``, ``block``, ``tree``, ``swp_bar``, ``time``.
    keep : tuple of str
        ``[reading] keep``.

    Returns
    -------
    tuple of int and float, or None
        How many trees were read again, and by how much they were drier on average [bar]; None where that
        may be chance, or where too few were.
    """
    trees = _departures(assessed, keep)
    if trees.empty:
        return None
    of = trees.groupby("block")
    count, again = of["drier"].transform("size"), of["again"].transform("sum")
    chosen = trees[trees["again"] & (again < count)]
    if len(chosen) < LEAST_AGAIN:
        return None
    share = (1 - again / count).loc[chosen.index]
    spread = float((of["drier"].transform("var").loc[chosen.index] * share).sum())
    total = float(chosen["drier"].sum())
    if spread <= 0 or total <= MOST_BY_CHANCE * np.sqrt(spread):
        return None
    return len(chosen), total / len(chosen)


def _departures(assessed: gpd.GeoDataFrame, keep: tuple[str, ...]) -> pd.DataFrame:
    """Give each tree of earlier visits: its block, how much drier than it, and if read again."""
    now = assessed[assessed["used"].astype(bool)]
    other = np.array(["outside_visit" in codes for codes in assessed["flags"]], dtype=bool)
    mine = [tuple(code for code in codes if code != "outside_visit") for codes in assessed["flags"]]
    sound = usable(mine, assessed["block"], keep) & assessed["swp_bar"].notna().to_numpy()
    earlier = assessed[other & sound & (assessed["time"] < now["time"].min()).to_numpy(bool)]
    table = pd.DataFrame(
        {
            "block": earlier["block"],
            "tree": earlier["tree"],
            "day": earlier["time"].dt.date,
            "bar": -earlier["swp_bar"].astype(float),
        }
    )
    table["drier"] = table["bar"] - table.groupby(["block", "day"])["bar"].transform("mean")
    trees = table.groupby("tree").agg(block=("block", "first"), drier=("drier", "mean"))
    level = trees.groupby("block")["drier"].transform("mean")
    return trees.assign(drier=trees["drier"] - level, again=trees.index.isin(now["tree"]))
