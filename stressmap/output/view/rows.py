"""Tables as rows of plain Python values."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pandas as pd


def rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Turn a table into one dictionary a row.

    Parameters
    ----------
    table : DataFrame
        Any, with or without geometry.

    Returns
    -------
    list of dict
        Column name to value; whatever pandas counts as missing is ``None``.
    """
    names = [str(name) for name in table.columns]
    columns = [_cells(table.iloc[:, place]) for place in range(len(names))]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def _cells(column: pd.Series[Any]) -> list[Any]:
    """Turn a column into Python values; NumPy's whole numbers and booleans are never missing."""
    cells: list[Any] = column.to_numpy(dtype=object).tolist()
    whole = isinstance(column.dtype, np.dtype) and column.dtype.kind in "biu"
    return cells if whole else [plain(cell) for cell in cells]


def plain(value: Any) -> Any:
    """Return a cell as a Python value.

    Parameters
    ----------
    value : object
        A cell of a table.

    Returns
    -------
    object
        ``None`` for anything missing or infinite; NumPy scalars as Python numbers.

    Examples
    --------
    >>> plain(np.float64("nan")) is None, plain(np.int64(3)), plain("x")
    (True, 3, 'x')
    """
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return None if value is None or value is pd.NaT or value is pd.NA else value
