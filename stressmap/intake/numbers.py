"""Text -> numbers: decimal point or comma, thousands, and the marks people leave for nothing."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

_NOTHING = """
- -- --- \u2013 \u2014 . .. ? ?? * na n/a n.a. n.a nan nd n/d n.d. s/d sd null none nil nulo ninguno missing
faltante falta #n/a #na #value! #valor! #¡valor! #div/0! #¡div/0! #ref! #¡ref! #name? #¿nombre? #num! #¡num!
#null! #####
"""
NOTHING = frozenset(_NOTHING.split())
"""What people and spreadsheets write where there is no value, lower-case."""

LARGEST, SMALLEST = 1e12, 1e-12
"""No figure of a ranch is larger, nor smaller but for nought; sums and squares of such are still numbers."""

_COMMA_DECIMAL = re.compile(r"[+-]?(?:\d{1,3}(?:[. ]\d{3})+|\d*),\d+(?:[eE][+-]?\d+)?")
_POINT_THOUSANDS = re.compile(r"[+-]?\d{1,3}(?:[, ]\d{3})+(?:\.\d*)?")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_MINUS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u2014": "-", "\u00a0": " ", "\u202f": " ", "'": " "})


def is_nothing(text: pd.Series) -> pd.Series:
    """Tell which cells hold no value.

    Parameters
    ----------
    text : Series of str
        Cells.

    Returns
    -------
    Series of bool

    Examples
    --------
    >>> is_nothing(pd.Series(["", "n/a", "0"])).tolist()
    [True, True, False]
    """
    return text.eq("") | text.str.lower().isin(NOTHING)


def parse_numbers(text: pd.Series, *, comma: bool = False) -> tuple[pd.Series, pd.Series]:
    """Read cells as numbers.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells, stripped.
    comma : bool
        Whether ``1,234`` is one and a bit where nothing in the column itself tells; the table's separator
        and its other columns do.

    Returns
    -------
    value : Series of float, shape (n,)
        NaN where there is none.
    bad : Series of bool, shape (n,)
        Where there is text that is no number of a bearable size.

    Examples
    --------
    >>> value, bad = parse_numbers(pd.Series(["12.5", "12,5", "1.234,5", "", "x7"]))
    >>> value.tolist(), bad.tolist()
    ([12.5, 12.5, 1234.5, nan, nan], [False, False, False, False, True])
    """
    code, distinct = pd.factorize(text)
    value, bad = _parse_distinct(pd.Series(distinct, dtype=object), comma=comma)
    return (
        pd.Series(value.to_numpy()[code], index=text.index),
        pd.Series(bad.to_numpy()[code], index=text.index),
    )


def _parse_distinct(text: pd.Series, *, comma: bool) -> tuple[pd.Series, pd.Series]:
    value = pd.to_numeric(text, errors="coerce").astype(float)
    # to_numeric also takes "inf" and "1_000"; a person who wrote these meant no reading
    value = value.where((value.abs() < LARGEST) & ~text.str.contains("_", regex=False))
    left = text[value.isna()]
    left = left[~is_nothing(left)]
    if left.empty:
        return value.mask(value.abs() < SMALLEST, 0.0), pd.Series(False, index=text.index)  # noqa: FBT003 - a value, not an option
    tidy = left.str.translate(_MINUS).str.replace(r"^([+-]) +", r"\1", regex=True).str.strip()
    comma = comma or bool((tidy.str.fullmatch(_COMMA_DECIMAL) & ~tidy.str.fullmatch(_EITHER)).any())
    value = value.copy()
    value.loc[left.index] = tidy.map(lambda cell: _one(cell, comma=comma)).astype(float)
    bad = value.isna() & ~is_nothing(text)
    return value.mask(value.abs() < SMALLEST, 0.0), bad


def _one(cell: str, *, comma: bool) -> float:
    if _COMMA_DECIMAL.fullmatch(cell) and (comma or not _EITHER.fullmatch(cell)):
        return float(cell.replace(".", "").replace(" ", "").replace(",", "."))
    if _POINT_THOUSANDS.fullmatch(cell):
        return float(cell.replace(",", "").replace(" ", ""))
    try:
        number = float(cell) if "_" not in cell else np.nan
    except ValueError:
        return np.nan
    return number if abs(number) < LARGEST else np.nan


def writes_comma(text: pd.Series) -> bool:
    """Tell whether a column has numbers that only a decimal comma explains.

    Parameters
    ----------
    text : Series of str
        Cells.

    Returns
    -------
    bool

    Examples
    --------
    >>> writes_comma(pd.Series(["12,5", "7"])), writes_comma(pd.Series(["1,234", "7"]))
    (True, False)
    """
    some = [cell for cell in text if "," in cell]
    return any(_COMMA_DECIMAL.fullmatch(cell) and not _EITHER.fullmatch(cell) for cell in some)
