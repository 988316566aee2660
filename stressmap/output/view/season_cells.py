"""Cells of the tables of a season in one language; a dash stands for what is not known."""

from __future__ import annotations

import math
from typing import Any

from stressmap.output.text.season_words import SeasonWords
from stressmap.output.view.quantities import SCALES, Kind, quantity


def missing(value: object) -> bool:
    """Tell whether a cell of a table holds nothing."""
    return value is None or (isinstance(value, float) and not math.isfinite(value)) or value != value  # noqa: PLR0124


def number(value: Any, digits: int, words: SeasonWords) -> str:
    """Write a number, a dash for none."""
    return words("form.unknown") if missing(value) else words.plain.number(value, digits)


def signed(value: float | None, words: SeasonWords) -> str:
    """Write a change with its sign."""
    if value is None or missing(value):
        return words("form.unknown")
    shown = words.plain.number(value)
    return f"+{shown}" if value > 0 and not shown.startswith("+") else shown


def day_of(day: Any, words: SeasonWords) -> str:
    """Write a day, a dash for none."""
    return words("form.unknown") if day is None or missing(day) else words.plain.day(day)


def range_of(low: float | None, high: float | None, words: SeasonWords, digits: int = 1) -> str:
    """Write a range: a dash where its lower end is not known, "or more" where the upper is not."""
    if missing(low):
        return words("form.unknown")
    if missing(high):
        return words("form.or_more", low=words.plain.number(low, digits))
    return words("form.range", low=words.plain.number(low, digits), high=words.plain.number(high, digits))


def amount(value: float | None, kind: Kind, words: SeasonWords) -> str:
    """Write a quantity in the ranch's units, a dash for none."""
    return words("form.unknown") if missing(value) else quantity(value, kind, words.plain)


def bare_amount(value: float | None, kind: Kind, words: SeasonWords) -> str:
    """Write a quantity in the ranch's units without saying the unit, a dash for none.

    Examples
    --------
    >>> from stressmap.output.text.words import Words
    >>> words = SeasonWords(Words("es", "us"))
    >>> bare_amount(38.1, "depth", words), unit_of("depth", words)
    ('1.50', 'pulg')
    """
    return amount(value, kind, words).rpartition(" ")[0] or words("form.unknown")


def unit_of(kind: Kind, words: SeasonWords) -> str:
    """Name the unit of a quantity that has one at every size, as a depth has."""
    return words.plain(f"unit.{SCALES[kind][words.plain.units][0].unit}")


def whole_days(low: float | None, high: float | None, words: SeasonWords) -> str:
    r"""Write days, or the first and last of them, short enough for a column.

    Examples
    --------
    >>> from stressmap.output.text.words import Words
    >>> words = SeasonWords(Words("en"))
    >>> ascii(whole_days(1.2, 6.9, words)), whole_days(2.0, 2.2, words)
    ("'1\\u20137'", '2')
    """
    if missing(low) or missing(high) or round(low or 0.0) == round(high or 0.0):
        return number(low, 0, words)
    return f"{words.plain.number(low, 0)}\N{EN DASH}{words.plain.number(high, 0)}"
