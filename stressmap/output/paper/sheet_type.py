"""The crews' paper and type: what is written on it fits its box, and equal runs give equal bytes."""

from __future__ import annotations

import datetime as dt
from typing import Any, NamedTuple

from fpdf import FPDF, ViewerPreferences

from stressmap.core.settings import Ranch
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.fonts import drawable, font_file

MARGIN = 8.5
"""On all sides [mm]."""

NARROW = 0.8
"""How narrow the typeface is set before it is set smaller: a wide one stays easy to read at that."""

LEADING = 0.45
"""Height of a line [mm] for each point of its type."""


class SheetLine(NamedTuple):
    """A line of type as it fits into its box.

    Parameters
    ----------
    size : float
        Of the type [points].
    wide : float
        Its width as a share of the typeface's own.
    indent : float
        From the left edge of the box [mm].
    shown : str
        What it says.
    """

    size: float
    wide: float
    indent: float
    shown: str


class PaperSheet(FPDF):
    """A4 or letter paper with our typeface and a fixed date, so that equal runs give equal bytes."""

    def __init__(self, ranch: Ranch, day: dt.date) -> None:
        super().__init__(orientation="portrait", unit="mm", format=_paper(ranch.units))
        self.lines: dict[tuple[object, ...], SheetLine] = {}
        self.words = [Words(language, ranch.units) for language in ranch.languages]
        self.set_auto_page_break(auto=False)
        self.set_margins(MARGIN, MARGIN)
        self.add_font("sheet", "", font_file())
        self.add_font("sheet", "B", font_file(bold=True))
        self.set_creation_date(dt.datetime.combine(day, dt.time(), dt.UTC))
        self.set_lang(ranch.languages[0])
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)

    def name(self, title: str, subject: str, keywords: str) -> None:
        """Say in the file what it is."""
        self.set_title(drawable(title))
        self.set_subject(drawable(subject))
        self.set_keywords(drawable(keywords))

    def put(self, x: float, y: float, text: object, *, size: float, bold: bool = False, **box: Any) -> None:
        """Write one line whose top left corner is x, y [mm].

        With ``width`` the type is set narrower, down to :data:`NARROW`, and then smaller, until it fits.
        """
        key = (text, size, bold, box.get("width"), box.get("align"))
        self.set_font("sheet", "B" if bold else "", size)
        if key not in self.lines:
            self.lines[key] = self._fitted(drawable(text), size, **box)
        line = self.lines[key]
        if not line.shown:
            return
        self.set_font_size(line.size)
        if line.wide < 1:
            self.set_stretching(100 * line.wide)
        self.text(x + line.indent, y + 0.5 * size * LEADING + 0.3 * self.font_size, line.shown)
        if line.wide < 1:
            self.set_stretching(100)

    def _fitted(self, line: str, size: float, *, width: float | None = None, align: str = "L") -> SheetLine:
        """Fit a line into its box; most lines of a sheet come again on every row, so each is fitted once."""
        long = self.get_string_width(line)
        share = 1.0 if width is None else min(1.0, (width - 2 * self.c_margin) / max(long, 1e-9))
        wide = max(share, NARROW)
        smaller = min(1.0, share / wide)
        room = 0.0 if width is None else width - long * wide * smaller
        indent = {"L": self.c_margin, "C": room / 2, "R": room - self.c_margin}[align]
        return SheetLine(size * smaller, wide, indent, line)

    def least_width(self, text: object, size: float, *, bold: bool = False) -> float:
        """Give the width that a line takes at its narrowest without becoming smaller [mm]."""
        self.set_font("sheet", "B" if bold else "", size)
        return self.get_string_width(drawable(text)) * NARROW + 2 * self.c_margin

    def broken(self, text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
        """Break a sentence into lines; a word that is too long for a line is broken too.

        Parameters
        ----------
        text : str
            The sentence.
        size : float
            Of the type [points].
        width : float
            Of the lines [mm].
        bold : bool
            The bold cut.

        Returns
        -------
        list of str
        """
        self.set_font("sheet", "B" if bold else "", size)
        room, lines = width - 2 * self.c_margin, [""]
        for word in drawable(text, most=20_000).split():
            longer = f"{lines[-1]} {word}".lstrip()
            if self.get_string_width(longer) <= room:
                lines[-1] = longer
                continue
            lines += [] if not lines[-1] else [""]
            for letter in word:
                lines += [""] if self.get_string_width(lines[-1] + letter) > room and lines[-1] else []
                lines[-1] += letter
        return lines


class CrewSheet(PaperSheet):
    """The irrigation crew's paper."""

    def __init__(self, content: Content) -> None:
        super().__init__(content.ranch, content.visit[1])
        self.content = content
        title = f"{self.said('sheet.title')}, {content.ranch.name}"
        self.name(title, self.said("sheet.subject"), self.said("sheet.keywords"))

    def said(self, key: str, **values: object) -> str:
        """Say something in every language of the sheet, one after the other."""
        return " / ".join(dict.fromkeys(words(key, **values) for words in self.words))


def _paper(units: str) -> str:
    return "letter" if units == "us" else "A4"
