"""Which readings are of one tree."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.intake.unit_headings import normal

SAME_TREE_M = 30.0
"""Readings of one name further apart than this are of two trees: crews number anew in each row or valve."""


def tree_codes(assessed: pd.DataFrame) -> pd.Series:
    """Give the readings of one tree one code.

    A tree is its name within its block, as far as GPS can tell; without a name, its exact place
    (7 decimals); without both, every reading is a tree of its own.

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
    key = pd.factorize((block + " | " + name.map(spelled)).where(named, nameless))[0]
    return pd.Series(_told_apart(key, _metres(assessed)), index=assessed.index)


def _metres(assessed: pd.DataFrame) -> NDArray[np.float64]:
    """Place readings on a plane that is true to some metres over a ranch."""
    lon, lat = assessed["lon"].to_numpy(float), assessed["lat"].to_numpy(float)
    middle = np.cos(np.radians(np.nanmedian(lat))) if np.isfinite(lat).any() else 1.0
    return np.column_stack([lon * middle, lat]) * 111_195.0


def _told_apart(key: NDArray[np.int64], xy: NDArray[np.float64]) -> NDArray[np.int64]:
    """Split names that stand at several places into one tree each."""
    groups = pd.DataFrame(xy).groupby(key)
    spread = (groups.max() - groups.min()).max(axis=1)
    code = key.copy()
    fresh = int(key.max()) + 1 if len(key) else 0
    for name in spread.index[spread > SAME_TREE_M]:
        rows = np.flatnonzero((key == name) & np.isfinite(xy).all(axis=1))
        seen = [rows[0]]
        for row in rows[1:]:
            away = np.hypot(*(xy[seen] - xy[row]).T)
            if away.min() <= SAME_TREE_M:
                code[row] = code[seen[int(away.argmin())]]
            else:
                code[row] = fresh
                fresh += 1
                seen.append(row)
    return code
