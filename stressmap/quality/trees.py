"""Which readings are of one tree."""

from __future__ import annotations

import pandas as pd

from stressmap.intake.units_of import normal


def tree_codes(assessed: pd.DataFrame) -> pd.Series:
    """Give the readings of one tree one code.

    A tree is its name within its block; without a name, its exact place (7 decimals); without both, every
    reading is a tree of its own.

    Parameters
    ----------
    assessed : DataFrame
        With ``tree_id``, ``block``, ``lon``, ``lat``.

    Returns
    -------
    Series of int
        Codes from 0, indexed like the input.

    Examples
    --------
    >>> table = pd.DataFrame({"tree_id": ["T1", "t1 ", "T1", None], "block": ["A", "A", "B", "A"]})
    >>> tree_codes(table.assign(lon=-121.0, lat=38.0)).tolist()
    [0, 0, 1, 2]
    """
    block = assessed["block"].fillna("").astype(str)
    named = assessed["tree_id"].notna()
    name = assessed["tree_id"].fillna("").astype(str)
    spelled = {text: normal(text) or text for text in name.unique()}
    place = assessed["lon"].round(7).astype(str) + " " + assessed["lat"].round(7).astype(str)
    alone = pd.Series([f"row {i}" for i in range(len(assessed))], index=assessed.index)
    nameless = ("@ " + place).where(assessed["lon"].notna() & assessed["lat"].notna(), alone)
    key = (block + " | " + name.map(spelled)).where(named, nameless)
    return pd.Series(pd.factorize(key)[0], index=assessed.index)
