"""Every word a crew reads, from ``text/en.toml`` and ``es.toml``, with its numbers and dates."""

from __future__ import annotations

import datetime as dt
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from stressmap.core.units import HA_PER_ACRE, M3_PER_GALLON, MM_PER_INCH

Language = Literal["en", "es"]
MINUS = "\N{MINUS SIGN}"


@cache
def _table(language: str) -> dict[str, dict[str, str]]:
    text = files("stressmap.output.text").joinpath(f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@dataclass(frozen=True)
class Words:
    """One language, and the units that people see.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.
    units : str
        ``"us"`` or ``"metric"``.

    Examples
    --------
    >>> words = Words("es", "us")
    >>> words("priority.p1")
    'regar primero'
    >>> words("list.block", block="B <2>")
    'Bloque B <2>'
    """

    language: Language
    units: Literal["us", "metric"] = "us"

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text and fill it in.

        Parameters
        ----------
        key : str
            ``"section.name"``.
        **values : object
            What goes into the braces; text of files is put in as it is, unescaped.

        Returns
        -------
        str

        Raises
        ------
        KeyError
            If there is no such text.
        """
        section, _, name = key.partition(".")
        text = _table(self.language)[section][name]
        return text.format(**values) if values else text

    def known(self, section: str, name: object) -> str:
        """Look up a word that may be missing: a crop, flag or method.

        Parameters
        ----------
        section : str
            ``"crop"``, ``"flag"`` or ``"method"``.
        name : object
            As the tables have it; spaces count as underscores.

        Returns
        -------
        str
            The word, or ``name`` itself.
        """
        return _table(self.language)[section].get(str(name).replace(" ", "_"), str(name))

    def number(self, value: float | None, digits: int = 1) -> str:
        """Write a number.

        Parameters
        ----------
        value : float
            NaN gives the word for "no data".
        digits : int
            Decimals.

        Returns
        -------
        str

        Examples
        --------
        >>> Words("en").number(1234.56)
        '1,234.6'
        """
        if value is None or value != value:  # noqa: PLR0124 - NaN is what differs from itself
            return self("measure.no_data")
        text = f"{abs(value):,.{digits}f}"
        text = text.translate(str.maketrans(",.", self("locale.thousands") + self("locale.decimal")))
        return f"{MINUS}{text}" if round(value, digits) < 0 else text

    def bar(self, value: float) -> str:
        """Write a pressure [bar], one decimal."""
        return self("card.bars", value=self.number(value))

    def percent(self, share: float | None) -> str:
        """Write a share of 1 as per cent; never 0 or 100 for what is not certain."""
        if share is None or share != share:  # noqa: PLR0124 - NaN is what differs from itself
            return self("measure.no_data")
        whole = round(100 * share)
        if whole == 0 < share:
            whole = 1
        if whole == 100 and share < 1:
            whole = 99
        return self("card.percent", value=whole)

    def area(self, hectares: float) -> str:
        """Write an area [ha] in the units people see."""
        if self.units == "us":
            return self("card.acres", value=self.number(hectares / HA_PER_ACRE))
        return self("card.hectares", value=self.number(hectares, 2))

    def depth(self, millimetres: float) -> str:
        """Write a depth of water [mm] in the units people see."""
        if self.units == "us":
            return self("card.inches", value=self.number(millimetres / MM_PER_INCH, 2))
        return self("card.mm", value=self.number(millimetres, 0))

    def duration(self, hours: float) -> str:
        """Write a length of time [h].

        Examples
        --------
        >>> Words("en").duration(10.5)
        '10 h 30 min'
        """
        minutes = round(hours * 60)
        return self("card.hours", hours=minutes // 60, minutes=f"{minutes % 60:02d}")

    def volume(self, cubic_metres: float) -> str:
        """Write a volume of water [m³] in the units people see."""
        if self.units == "us":
            return self("card.gallons", value=self.number(cubic_metres / M3_PER_GALLON, 0))
        return self("card.cubic_metres", value=self.number(cubic_metres, 0))

    def moment(self, when: dt.datetime) -> str:
        """Write day, month and clock time.

        Examples
        --------
        >>> Words("en").moment(dt.datetime(2026, 7, 16, 20, 0))
        'Jul 16 20:00'
        """
        return f"{self.day(when)} {when:%H:%M}"

    def day(self, when: dt.date) -> str:
        """Write day and month.

        Examples
        --------
        >>> Words("es").day(dt.date(2026, 7, 16))
        '16 jul'
        """
        month = self("locale.months").split()[when.month - 1]
        return self("locale.day_month", day=when.day, month=month)

    def date(self, day: dt.date) -> str:
        """Write a day.

        Examples
        --------
        >>> Words("en", "us").date(dt.date(2026, 7, 14))
        'Jul 14, 2026'
        >>> Words("es", "us").date(dt.date(2026, 7, 14))
        '14 jul 2026'
        """
        month = self("locale.months").split()[day.month - 1]
        form = "locale.date" if self.units == "us" else "locale.date_metric"
        return self(form, day=day.day, month=month, year=day.year)

    def days(self, first: dt.date, last: dt.date) -> str:
        """Write a visit: one day, or the first and the last."""
        if first == last:
            return self.date(first)
        return self("locale.span", first=self.date(first), last=self.date(last))

    def table(self) -> dict[str, dict[str, str]]:
        """Return all texts, section by section; not to be changed."""
        return _table(self.language)


def missing(one: dict[str, Any], other: dict[str, Any]) -> set[str]:
    """Name the texts that one table has and the other lacks.

    Parameters
    ----------
    one, other : dict
        Tables of texts, section by section.

    Returns
    -------
    set of str
        Keys as ``"section.name"``.
    """
    keys = [{f"{s}.{n}" for s, names in table.items() for n in names} for table in (one, other)]
    return keys[0] - keys[1]
