"""Texts of the water plan in one language, with quantities in the units that people see."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from stressmap.core.settings import Ranch
from stressmap.core.units import System
from stressmap.output.text.words import Language, OwnTexts, Words
from stressmap.output.view.quantities import Kind, known, quantity


@dataclass(frozen=True)
class WaterWords(OwnTexts):
    """One language, and the units that people see.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.
    units : str
        ``"us"`` or ``"metric"``.

    Examples
    --------
    >>> WaterWords("es", "us").quantity(1233.5, "volume")
    '1.00 acres-pie'
    >>> WaterWords("en", "metric").quantity(1233.5, "volume")
    '1,234 m³'
    """

    about = "water"
    language: Language = "en"
    units: System = "us"

    @property
    def plain(self) -> Words:
        """Numbers and dates of the language."""
        return Words(self.language, self.units)

    @property
    def large(self) -> str:
        """The unit of which one more is spoken of: ``"acre-ft"`` or ``"ML"``."""
        return "acre-ft" if self.units == "us" else "ML"

    def unit(self, name: str) -> str:
        """Name a unit."""
        return self.plain(f"unit.{name}")

    def quantity(self, value: float, kind: Kind) -> str:
        """Write a quantity in the units people see; see :func:`stressmap.output.view.quantities.quantity`."""
        return quantity(value, kind, self.plain)

    def known(self, value: float, kind: Kind) -> str:
        """Write a quantity to two digits; see :func:`stressmap.output.view.quantities.known`."""
        return known(value, kind, self.plain)

    def share(self, share: float) -> str:
        """Write a part of an amount [1] as per cent."""
        return quantity(share, "share", self.plain)

    def chance(self, chance: float) -> str:
        """Write a chance [1] as per cent."""
        return quantity(chance, "chance", self.plain)

    def weekday(self, day: dt.date) -> str:
        """Write the day of the week and the day."""
        return f"{self.plain('locale.weekdays').split()[day.weekday()]} {self.plain.date(day)}"

    def clock(self, moment: dt.datetime, day: dt.date) -> str:
        """Write the time of day; with the day of the week where it is of another day."""
        before = "" if moment.date() == day else self.plain("locale.weekdays").split()[moment.weekday()] + " "
        return f"{before}{moment:%H:%M}"

    def some(self, names: Iterable[str], most: int) -> str:
        """List names, at most so many and the count of the rest."""
        every = list(names)
        shown, more = ", ".join(every[:most]), len(every) - most
        return self("plan.and_more", valves=shown, count=more) if more > 0 else shown


@dataclass(frozen=True)
class Section:
    """A heading, a table where there is one, and sentences.

    Parameters
    ----------
    kind : str
        What it is about: ``"outline"``, ``"day"``, ``"dry"``, ``"binds"``, ``"assumed"``, ``"compare"``,
        ``"proof"`` or ``"caution"``.
    title : str
        Heading.
    lines : tuple of str
        Sentences; text of files is in them unescaped.
    heads : tuple of str
        Headings of the table that goes before them, if there is one.
    rows : tuple of tuple of str
        The table.
    words_first : int
        Columns of words at its left; the rest are figures.
    """

    kind: str
    title: str
    lines: tuple[str, ...] = ()
    heads: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    words_first: int = 1


def first_words(ranch: Ranch) -> WaterWords:
    """Give the words of a ranch's first language.

    Parameters
    ----------
    ranch : Ranch
        Languages and units.

    Returns
    -------
    WaterWords
    """
    return WaterWords(ranch.languages[0], ranch.units)


def as_text(sections: tuple[Section, ...]) -> str:
    """Set sections as plain text.

    Parameters
    ----------
    sections : tuple of Section
        In their order.

    Returns
    -------
    str
        Ends with a line break.
    """
    parts = ["\n".join([s.title, *_aligned(s), *(f"- {line}" for line in s.lines)]) for s in sections]
    return "\n\n".join(parts) + "\n"


def _aligned(section: Section) -> list[str]:
    """Return a section's table as lines of columns."""
    table = [section.heads, *section.rows] if section.heads else []
    widths = [max(len(cell) for cell in column) for column in zip(*table, strict=True)]
    return [
        "  ".join(
            cell.ljust(width) if k < section.words_first else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in table
    ]
