"""The cells of a table of blocks or valve zones: names, figures, days, distances and the bearing of rows."""

from __future__ import annotations

import dataclasses
import re

import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.core.text import without_accents
from stressmap.core.units import M_PER_FOOT, parse_month_day
from stressmap.intake.columns import Table

MOST_SPACING_M = 30.0
"""Rows and trees stand closer than this [m]; common practice, no source."""
_POINTS = {"n": 0.0, "ne": 45.0, "e": 90.0, "se": 135.0, "s": 180.0, "sw": 225.0, "w": 270.0, "nw": 315.0}
_WORDS = {
    "north": "n", "norte": "n", "south": "s", "sur": "s", "east": "e", "este": "e", "oriente": "e",
    "west": "w", "oeste": "w", "poniente": "w", "o": "w", "no": "nw", "so": "sw",
    "northeast": "ne", "noreste": "ne", "nororiente": "ne", "northwest": "nw", "noroeste": "nw",
    "norponiente": "nw", "southeast": "se", "sureste": "se", "suroriente": "se", "southwest": "sw",
    "suroeste": "sw", "surponiente": "sw",
}  # fmt: skip


def names_of(table: Table, column: str, *, unique: bool = False, folded: bool = False) -> list[str]:
    """Read a column of names that no row may lack.

    Parameters
    ----------
    table : Table
        As read.
    column : str
        Our name.
    unique : bool
        Whether no two rows may bear one.
    folded : bool
        Whether names that differ only in capital letters are the same.

    Returns
    -------
    list of str
        Blanks folded.

    Raises
    ------
    DataError
        Where one is empty or stands twice.
    """
    problems, seen = [], dict[str, tuple[int, str]]()
    heading = table.headings[column]
    found = [None if text is None else " ".join(text.split()) for text in table.text(column)]
    for row, name in zip(table.index.tolist(), found, strict=True):
        key = str(name).casefold() if folded else str(name)
        if name is None:
            problems.append(Problem(table.where, f"the {column} is empty", "Name it", row, heading))
        elif unique and (again := seen.get(key)) is not None:
            row_before, before = again
            what = f"{name!r} stands in row {row_before} too"
            if before != name:
                what = f"{name!r} differs from {before!r} in row {row_before} only in capital letters"
            problems.append(Problem(table.where, what, f"Give each {column} its own name", row, heading))
        else:
            seen.setdefault(key, (row, name))
    if problems:
        raise DataError(problems)
    return [str(name) for name in found]


def positive(table: Table, column: str) -> pd.Series:
    """Read a column of positive numbers, NaN where empty."""
    value = table.numbers(column, wanted="it as a positive number")
    wrong = (value < 0) | ((value == 0) & (column == "weight"))
    table.refuse(column, wrong, "is not a positive number", "Correct it")
    return value


def share(table: Table, column: str) -> pd.Series:
    """Read a column of shares of the ground, NaN where empty."""
    value = table.numbers(column, wanted="it as a share, over 0 to 1")
    value *= 0.01 if table.unit(column) == "%" else 1.0
    wrong = (value <= 0) | (value > 1)
    table.refuse(column, wrong, "is not a share of the ground", "Write it as 0.35, over 0 to 1")
    return value


def spacing(table: Table, column: str) -> pd.Series:
    """Read a column of distances between rows or trees [m], NaN where empty; a heading may say feet."""
    value = table.numbers(column, wanted="it in metres as a number")
    value *= M_PER_FOOT if table.unit(column) == "ft" else 1.0
    wrong = (value <= 0) | (value >= MOST_SPACING_M)
    remedy = f"Write it in metres, over 0 and under {MOST_SPACING_M:g}, or in feet with ft in the heading"
    table.refuse(column, wrong, "is no distance between rows or trees", remedy)
    return value


def bearing(table: Table, column: str) -> pd.Series:
    """Read a column of bearings of rows [degrees from north, clockwise], NaN where empty.

    Points of the compass are taken too, in English and Spanish, of two the first: ``N-S``, ``noreste``.

    Raises
    ------
    DataError
        Where it is neither a point nor a number of 0 to 360.
    """
    text = table.text(column)
    points = text.map(_point, na_action="ignore").astype(float)
    others = text.where(points.isna(), "").fillna("").astype(str)
    bare = dataclasses.replace(table, columns={column: others})
    value = bare.numbers(column, wanted="it as degrees from north, as 15, or as N-S")
    wrong = (value < 0) | (value > 360)
    table.refuse(column, wrong, "is no bearing", "Write degrees from north, clockwise, 0 to 360")
    return points.where(points.notna(), value)


def _point(cell: object) -> float | None:
    """Give the bearing of a point of the compass, or of the first of two."""
    words = re.findall(r"[a-z]+", without_accents(str(cell).casefold()))
    points = [_POINTS.get(_WORDS.get(word, word)) for word in words if word not in {"to", "a", "al", "y"}]
    return points[0] if points and None not in points else None


def years(table: Table) -> pd.Series:
    """Read ``planted`` as a year, from a year or a date."""
    text = table.text("planted")
    year = pd.to_numeric(text.astype(str).str.extract(r"\b(\d{4})\b")[0], errors="coerce").astype(float)
    year = year.where(year.between(1900, 2100))
    table.refuse("planted", text.notna() & year.isna(), "is not a year", "Write the year of planting")
    return year


def days(table: Table, column: str) -> pd.Series:
    """Read days of the year, ``MM-DD``, from such or from dates."""
    text = table.text(column)
    day = text.astype(object).where(
        text.isna(), text.astype(str).str.extract(r"(\d{2}-\d{2})(?:[T ].*)?$")[0]
    )

    def wrong(value: object) -> bool:
        try:
            parse_month_day(str(value))
        except ValueError:
            return True
        return False

    bad = text.notna() & day.map(wrong).astype(bool)
    table.refuse(column, bad, "is not a day of the year", "Write month and day as 08-15")
    return day.where(text.notna(), None)
