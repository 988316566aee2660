"""Tables as CSV: plain UTF-8, decimal point, nothing that a spreadsheet would run as a formula."""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.settings import Spreadsheet

DECIMALS = {"_bar": 3, "_kpa": 3, "_ha": 4, "p_first": 4, "confidence": 4, "z_score": 3, "lon": 7, "lat": 7}
"""Decimals written, by the end of a column's name."""

_OPENERS = ("=", "+", "-", "@", "\u2212", "\u2010", "\u2011")
_BREAKS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
"""Control characters; whatever some reader takes for the end of a line is among them."""
_AFTER_SEPARATOR = re.compile(r"([;,|]\s*)([=@\uff1d\uff20\ufe66\ufe6b])")


def tidy(table: pd.DataFrame) -> pd.DataFrame:
    """Round figures, write times as ISO 8601 with offset and flags joined by ``;``, the same everywhere.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
        With the column names of ``core.schemas``.

    Returns
    -------
    DataFrame or GeoDataFrame
        A copy holding only numbers, text, booleans and None (and geometry).
    """
    neat = table.copy()
    for name in [c for c in neat.columns if c != "geometry"]:
        column = neat[name]
        places = next((d for end, d in DECIMALS.items() if name.endswith(end)), None)
        if pd.api.types.is_float_dtype(column):
            rounded = column.round(places if places is not None else 3) + 0.0
            neat[name] = rounded
        elif not pd.api.types.is_bool_dtype(column) and not pd.api.types.is_integer_dtype(column):
            cells = column.to_numpy(dtype=object).tolist()
            neat[name] = pd.Series([_plain(v) for v in cells], index=neat.index, dtype=object)
    return neat


def _plain(value: Any) -> Any:
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, tuple | list):
        return ";".join(str(v) for v in value)
    if pd.isna(value):
        return None
    if isinstance(value, dt.datetime):
        return value.isoformat(timespec="seconds")
    return value if isinstance(value, int | float | bool) else str(value)


def defuse(value: Any) -> Any:
    r"""Write text on one line, with an apostrophe wherever a spreadsheet might find the start of a formula.

    Parameters
    ----------
    value : object
        A cell.

    Returns
    -------
    object
        In text every control character and line break has become a space. An apostrophe stands before text
        whose first visible character is ``= + - @``, half or full width, and before ``= @`` that follow a
        separator of cells, which a spreadsheet of another locale would cut there. Anything else stays.

    Examples
    --------
    >>> defuse("=1+1"), defuse("two\r\nlines"), defuse("a;=b"), defuse(-1.5)
    ("'=1+1", 'two lines', "a;'=b", -1.5)
    """
    return _defused(value) if isinstance(value, str) else value


@lru_cache(maxsize=4096)
def _defused(value: str) -> str:
    """Write one text; tables of a season repeat names tens of thousands of times."""
    text = _BREAKS.sub(" ", value)
    text = _AFTER_SEPARATOR.sub(r"\1'\2", text)
    seen = next((c for c in text if not _unseen(c)), "")
    return f"'{text}" if _plain_form(seen).startswith(_OPENERS) else text


def _unseen(char: str) -> bool:
    """Tell whether a character leaves no mark: white space, or one that steers others, such as zero width."""
    return char.isspace() or unicodedata.category(char) in {"Cf", "Cc", "Cs", "Co", "Cn", "Mn", "Me"}


def _plain_form(char: str) -> str:
    """Give a character as a spreadsheet may read it: full width, small and raised forms as the usual ones."""
    return unicodedata.normalize("NFKC", char)


def write_csv(table: pd.DataFrame, path: Path, form: Spreadsheet = "plain") -> None:
    """Write a table.

    Parameters
    ----------
    table : DataFrame or GeoDataFrame
        Geometry is left out.
    path : Path
        File to write.
    form : {"plain", "en", "es"}
        ``plain`` for programs: commas, decimal points, UTF-8. ``en`` adds the byte-order mark without which a
        spreadsheet takes accents for something else; ``es`` also writes semicolons and decimal commas, as a
        spreadsheet in a Spanish locale expects on a double click.
    """
    neat = pd.DataFrame(tidy(table)).drop(columns="geometry", errors="ignore")
    for name in neat.columns:
        if neat[name].dtype == object:
            neat[name] = pd.Series([_cell(v) for v in neat[name]], index=neat.index, dtype=object)
        elif pd.api.types.is_bool_dtype(neat[name]):
            neat[name] = np.where(neat[name], "true", "false")
    sep, decimal = (";", ",") if form == "es" else (",", ".")
    encoding = "utf-8" if form == "plain" else "utf-8-sig"
    neat.to_csv(path, index=False, encoding=encoding, lineterminator="\n", sep=sep, decimal=decimal)


def _cell(value: Any) -> Any:
    return str(value).lower() if isinstance(value, bool) else defuse(value)
