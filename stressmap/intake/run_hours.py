"""How long a valve ran and how deep, as people write it: ``15 hrs``, ``1:30``, ``2 1/2``, ``12 mm``."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

from stressmap.core.text import without_accents
from stressmap.core.units import MM_PER_INCH
from stressmap.intake.numbers import NOTHING, parse_numbers

_FRACTIONS = {"\u00bd": " 1/2", "\u00bc": " 1/4", "\u00be": " 3/4", "\u2153": " 1/3", "\u2154": " 2/3"}
_ABOUT = re.compile(r"^(?:~|\u2248|approx\.?|about|aprox\.?|ca\.?|como|unas?)\s*")
_FIGURE = r"\d+(?:[.,]\d+)?"
_HOURS = r"h(?:rs?|ours?|oras?|s)?\.?"
_MINUTES = r"m(?:in(?:ute|uto)?s?)?\.?|'"
_CLOCK = re.compile(r"(?:(\d+) days?, )?(\d{1,3}):(\d{2})(?::(\d{2}))?\s*(?:h(?:rs?|oras?)?\.?)?")
_SPOKEN = re.compile(
    rf"(?:(?P<h>{_FIGURE})\s*(?:{_HOURS})\s*(?:y|and|,)?\s*)?(?:(?P<m>{_FIGURE})\s*(?:{_MINUTES}))?"
)
_JOINED = re.compile(r"(\d{1,3})\s*h\s*(\d{1,2})")
_MIXED = re.compile(
    rf"(?:(?P<whole>\d+)\s+(?:y\s+|and\s+)?)?(?P<top>\d)\s*[/\u2044]\s*(?P<under>[2348])\s*(?:{_HOURS})?"
)
_HALF = re.compile(rf"(\d+)\s*(?:{_HOURS})?\s*(?:y media|and a half)\s*(?:{_HOURS})?")
_DEPTH = re.compile(rf"(?P<figure>-?{_FIGURE})\s*(?P<unit>mm|in|inch|inches|pulg|pulgadas?|\")\.?")


def read_hours(cells: pd.Series, *, unit: str | None) -> tuple[pd.Series, pd.Series]:
    """Read run times.

    Parameters
    ----------
    cells : Series of str or None
        As written.
    unit : str or None
        What the heading states for bare figures: ``"min"``, else hours.

    Returns
    -------
    hours : Series of float
        [h]; NaN where there is none.
    bad : Series of bool
        Where there is text that is no run time.

    Examples
    --------
    >>> hours, bad = read_hours(pd.Series(["15 hrs", "1:30", "2 1/2", "1,5", "all night", None]), unit=None)
    >>> hours.tolist(), bad.tolist()
    ([15.0, 1.5, 2.5, 1.5, nan, nan], [False, False, False, False, True, False])
    """
    text = cells.fillna("").astype(str)
    per_hour = 60.0 if unit == "min" else 1.0
    hours = text.map({cell: _hours(cell, per_hour) for cell in text.unique()}).astype(float)
    return hours, hours.isna() & ~text.str.lower().isin([*NOTHING, ""])


def read_depths(cells: pd.Series, *, unit: str | None) -> tuple[pd.Series, pd.Series]:
    """Read depths of water.

    Parameters
    ----------
    cells : Series of str or None
        As written, with or without a unit.
    unit : str or None
        What the heading states for bare figures: ``"in"``, else millimetres.

    Returns
    -------
    mm : Series of float
        [mm]; NaN where there is none.
    bad : Series of bool
        Where there is text that is no depth, or a negative one.
    """
    text = cells.fillna("").astype(str).str.lower()
    stated = text.str.extract(re.compile(rf"^{_DEPTH.pattern}$"))
    bare = text.where(stated["figure"].isna(), stated["figure"])
    figure, bad = parse_numbers(bare, comma=True)
    inches = stated["unit"].where(stated["unit"].notna(), unit).isin(["in", "inch", "inches", '"'])
    inches |= stated["unit"].fillna("").str.startswith("pulg")
    wrong = bad | (figure < 0.0)
    return (figure * np.where(inches, MM_PER_INCH, 1.0)).mask(wrong), wrong


def is_about(cell: str) -> bool:
    """Tell whether a run time is written as a rough one, as ``~8`` or ``about 10``.

    Parameters
    ----------
    cell : str
        As written.

    Returns
    -------
    bool
    """
    return _ABOUT.match(without_accents(cell.strip().lower())) is not None


def _hours(cell: str, per_hour: float) -> float:
    for sign, spelled in _FRACTIONS.items():
        cell = cell.replace(sign, spelled)
    plain = _ABOUT.sub("", without_accents(cell.strip().lower())).strip()
    if whole := _CLOCK.fullmatch(plain):
        days, hours, minutes, seconds = (float(part or 0) for part in whole.groups())
        return days * 24 + hours + minutes / 60 + seconds / 3600 if minutes < 60 else np.nan
    if joined := _JOINED.fullmatch(plain):
        return float(joined[1]) + float(joined[2]) / 60
    if half := _HALF.fullmatch(plain):
        return float(half[1]) + 0.5
    if mixed := _MIXED.fullmatch(plain):
        return float(mixed["whole"] or 0) + float(mixed["top"]) / float(mixed["under"])
    spoken = _SPOKEN.fullmatch(plain)
    if spoken and (spoken["h"] or spoken["m"]):
        return _figure(spoken["h"]) + _figure(spoken["m"]) / 60
    value, _ = parse_numbers(pd.Series([plain]), comma=True)
    return float(value.iloc[0]) / per_hour


def _figure(text: str | None) -> float:
    return float(text.replace(",", ".")) if text else 0.0
