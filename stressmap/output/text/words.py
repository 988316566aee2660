"""Every word a crew reads, from ``text/en.toml`` and ``es.toml``, with its numbers and dates."""

from __future__ import annotations

import datetime as dt
import string
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from importlib.resources import files
from typing import Any, ClassVar, Literal, Protocol

Language = Literal["en", "es"]
MINUS = "\N{MINUS SIGN}"


class _Counting(string.Formatter):
    """Fills a text; ``{count:1 tree|{count} trees}`` is the first where the count is 1."""

    def format_field(self, value: Any, format_spec: str) -> str:
        if "|" in format_spec:
            one, many = format_spec.split("|", 1)
            return one if value == 1 else many
        return str(super().format_field(value, format_spec))


_FILLER = _Counting()


def filled(text: str, values: Mapping[str, object]) -> str:
    """Fill in a text; ``{count:1 tree|{count} trees}`` is the first where the count is 1.

    Parameters
    ----------
    text : str
        With values in braces.
    values : mapping of str to object
        What goes into the braces, as it is.

    Returns
    -------
    str

    Examples
    --------
    >>> filled("{count:1 tree|{count} trees}", {"count": 1})
    '1 tree'
    """
    return _FILLER.vformat(text, (), values) if values else text


@cache
def catalogue(name: str) -> dict[str, dict[str, str]]:
    """Read a file of texts.

    Parameters
    ----------
    name : str
        Without its ending: ``"en"``, ``"water_es"``.

    Returns
    -------
    dict
        Section -> name -> text.
    """
    text = files("stressmap.output.text").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def text_of(name: str, key: str, values: Mapping[str, object]) -> str:
    """Look up a text of a catalogue and fill it in.

    Parameters
    ----------
    name : str
        Of the catalogue.
    key : str
        ``"section.name"``.
    values : mapping of str to object
        What goes into the braces; text of files is put in as it is, unescaped.

    Returns
    -------
    str

    Raises
    ------
    KeyError
        If there is no such text.
    """
    section, _, entry = key.partition(".")
    return filled(catalogue(name)[section][entry], values)


class _Spoken(Protocol):
    """What can say texts of its own: they are about something, in a language."""

    about: ClassVar[str]

    @property
    def language(self) -> Language: ...


class OwnTexts:
    """Says the texts of files of its own, ``<about>_en.toml`` and its like; who takes it has a language."""

    about: ClassVar[str]

    def __call__(self: _Spoken, key: str, /, **values: object) -> str:
        """Look up a text, ``"section.name"``, and fill it in; text of files is put in as it is, unescaped."""
        return text_of(f"{self.about}_{self.language}", key, values)

    def table(self: _Spoken) -> dict[str, dict[str, str]]:
        """Return all texts, section by section; not to be changed."""
        return catalogue(f"{self.about}_{self.language}")


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
        return text_of(self.language, key, values)

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
        return catalogue(self.language)[section].get(str(name).replace(" ", "_"), str(name))

    def number(self, value: float | None, digits: int = 1) -> str:
        """Write a number, half rounded away from zero.

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
        shown = half_up(value, digits)
        text = f"{abs(shown):,}"
        text = text.translate(str.maketrans(",.", self("locale.thousands") + self("locale.decimal")))
        return f"{MINUS}{text}" if shown < 0 else text

    def moment(self, when: dt.datetime) -> str:
        """Write day, month and clock time.

        Examples
        --------
        >>> Words("en").moment(dt.datetime(2026, 7, 16, 20, 0))
        'Jul 16 20:00'
        """
        return f"{self.day(when)} {when:%H:%M}"

    def weekday(self, when: dt.datetime) -> str:
        """Write day of the week and of the month, and clock time.

        Examples
        --------
        >>> Words("es").weekday(dt.datetime(2026, 7, 16, 20, 0))
        'jue 16 20:00'
        """
        return f"{self('locale.weekdays').split()[when.weekday()]} {when:%d %H:%M}"

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
        """Write a visit: one day, or the first and the last.

        Examples
        --------
        >>> Words("es").days(dt.date(2026, 7, 22), dt.date(2026, 7, 28))
        'del 22 al 28 de julio de 2026'
        """
        if first == last:
            return self.date(first)
        if (first.year, first.month) == (last.year, last.month):
            month = self("locale.months_long").split()[first.month - 1]
            form = "locale.span_month" if self.units == "us" else "locale.span_month_metric"
            return self(form, first=first.day, last=last.day, month=month, year=first.year)
        return self("locale.span", first=self.date(first), last=self.date(last))

    def table(self) -> dict[str, dict[str, str]]:
        """Return all texts, section by section; not to be changed."""
        return catalogue(self.language)


def half_up(value: float, digits: int) -> Decimal:
    """Round as schoolbooks do, half away from zero, a number as it is written in decimals.

    Parameters
    ----------
    value : float
        Any number but NaN.
    digits : int
        Decimals.

    Returns
    -------
    Decimal

    Examples
    --------
    >>> half_up(2.5, 0), half_up(-0.25, 1), half_up(1.005, 2)
    (Decimal('3'), Decimal('-0.3'), Decimal('1.01'))
    """
    return Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-digits), ROUND_HALF_UP)


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
