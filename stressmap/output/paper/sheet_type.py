"""The crew sheet's paper and type: what is written on it fits its box, and equal runs give equal bytes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any, NamedTuple

from fpdf import FPDF, ViewerPreferences

from stressmap.output.paper.fonts import drawable, font_file
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content

MARGIN = 11.0
"""On all sides [mm]."""

LEADING = 0.45
"""Height of a line [mm] for each point of its type."""


class SheetLine(NamedTuple):
    """A line of type as it fits into its box.

    Parameters
    ----------
    size : float
        Of the type [points].
    indent : float
        From the left edge of the box [mm].
    shown : str
        What it says.
    """

    size: float
    indent: float
    shown: str


class CrewSheet(FPDF):
    """A4 or letter paper with our typeface and a fixed date, so that equal runs give equal bytes."""

    def __init__(self, content: Content) -> None:
        super().__init__(orientation="portrait", unit="mm", format=_paper(content.ranch.units))
        self.content = content
        self.lines: dict[tuple[object, ...], SheetLine] = {}
        self.drawn: dict[str, bytes] = {}
        self.words = [Words(language, content.ranch.units) for language in content.ranch.languages]
        self.set_auto_page_break(auto=False)
        self.set_margins(MARGIN, MARGIN)
        self.add_font("sheet", "", font_file())
        self.add_font("sheet", "B", font_file(bold=True))
        self.set_creation_date(dt.datetime.combine(content.visit[1], dt.time(), dt.UTC))
        self.set_title(drawable(f"{self.said('sheet.title')}, {content.ranch.name}"))
        self.set_subject(drawable(self.said("sheet.subject")))
        self.set_keywords(drawable(self.said("sheet.keywords")))
        self.set_lang(content.ranch.languages[0])
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)

    def said(self, key: str, **values: object) -> str:
        """Say something in every language of the sheet, one after the other."""
        return " / ".join(dict.fromkeys(words(key, **values) for words in self.words))

    def put(self, x: float, y: float, text: object, *, size: float, bold: bool = False, **box: Any) -> None:
        """Write one line whose top left corner is x, y [mm]; ``width`` shrinks the type until it fits."""
        key = (text, size, bold, box.get("width"), box.get("align"))
        self.set_font("sheet", "B" if bold else "", size)
        if key not in self.lines:
            self.lines[key] = self._fitted(drawable(text), size, **box)
        line = self.lines[key]
        self.set_font_size(line.size)
        if line.shown:
            self.text(x + line.indent, y + 0.5 * size * LEADING + 0.3 * self.font_size, line.shown)

    def _fitted(self, line: str, size: float, *, width: float | None = None, align: str = "L") -> SheetLine:
        """Fit a line into its box; most lines of a sheet come again on every row, so each is fitted once."""
        wide = self.get_string_width(line)
        fits = size if width is None else fitting(wide + 2 * self.c_margin, size, width)
        room = 0.0 if width is None else width - wide * fits / size
        indent = {"L": self.c_margin, "C": room / 2, "R": room - self.c_margin}[align]
        return SheetLine(fits, indent, line)

    def alike(self, name: str, draw: Callable[[], None]) -> None:
        """Draw what all pages have alike: drawn on the first page, its strokes copied to the others.

        Parameters
        ----------
        name : str
            By which it is known again.
        draw : callable
            Draws shapes only; colours and widths are set before, since they are not copied.
        """
        page: Any = self.pages[self.page].contents
        if name in self.drawn:
            page.extend(self.drawn[name])
            return
        start = len(page)
        draw()
        self.drawn[name] = bytes(page[start:])


def _paper(units: str) -> str:
    return "letter" if units == "us" else "A4"


def fitting(needed: float, size: float, width: float) -> float:
    """Find the type size at which a line fits.

    Parameters
    ----------
    needed : float
        Width of the line with its margins at ``size`` [mm].
    size : float
        Largest size [points].
    width : float
        Room [mm].

    Returns
    -------
    float
        At most ``size`` [points].
    """
    return size if needed <= width else size * width / needed
