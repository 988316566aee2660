"""``crew_sheet.pdf``: what the crew carries; big type, black and white, a box to tick for each valve."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from fpdf import FPDF, ViewerPreferences
from shapely import box

from stressmap.output.paper.fonts import drawable, font_file
from stressmap.output.paper.sheet_map import SHADE, double_frame, draw_stripes, plan_map
from stressmap.output.text.words import Words
from stressmap.output.view.change_words import change_line
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, trees_words, turns
from stressmap.output.view.daily_sets import set_lines
from stressmap.output.view.first_look import first_look
from stressmap.output.view.quantities import duration, volume

MARGIN, HEAD, MAP, TITLES, ROW, FOOT = 11.0, 19.0, 59.0, 10.0, 17.5, 29.0
RANK, TIMES, DONE, PROBLEMS = 16.0, 52.0, 14.0, 52.0
"""Widths [mm]; what is left is for the valve's name and place."""

SETS_A_ROW, SET_LINE, MOST_LINES = 3, 3.3, 24
"""Lines of sets that a row of usual height holds, the height of one more [mm], and the most of a row."""
ONE_LINE = 32
"""Characters of a block's name on a line."""

CLOSED_HEAD, CLOSED_ROW, ACROSS = 8.0, 6.6, 3
"""Heights [mm] of the list of valves without water, and its columns."""

BAND, NOTICE = 6.5, 4.3
"""Heights [mm] of a heading between rows, and of a line of what must be said first."""
NOTICE_TYPE = 9.0
"""Its type [points]."""

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


class Page(NamedTuple):
    """The valve zones of a page: to open, a row each, and without water, listed below."""

    opened: list[Turn]
    closed: list[Turn]


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


def write_crew_sheet(content: Content, path: Path) -> None:
    """Write the sheet.

    Parameters
    ----------
    content : Content
        The finished run; with a water plan, hours and times are filled in, otherwise left to write.
    path : Path
        PDF to write; the same content gives the same bytes.
    """
    sheet = CrewSheet(content)
    picture = plan_map(content, (MARGIN, MARGIN + HEAD, sheet.epw, MAP - 2.6))
    order = turns(content)
    said = [line for words in sheet.words for line in first_look(content, order, words)]
    since = content.previous_visit
    if since is not None and "gauge_change_bar" in content.valves:
        said.append(sheet.words[0]("moved.on_sheet", date=sheet.words[0].day(since)))
    notices = [part for line in said for part in _wrapped(sheet, line)]
    pages = _pages(sheet, order, sheet.h - 2 * MARGIN - HEAD - MAP - FOOT, NOTICE * len(notices))
    for number, page in enumerate(pages, 1):
        sheet.add_page()
        _head(sheet, number, len(pages))
        picture.draw(sheet, page.opened, page.closed)
        top = MARGIN + HEAD + MAP
        if number == 1:
            top = _notices(sheet, top, notices)
        if page.opened or not page.closed:
            _titles(sheet, top)
            top += TITLES
        for before, turn in zip([None, *page.opened], page.opened, strict=False):
            top = _band(sheet, top, before, turn)
            _row(sheet, top, turn)
            top += _height(sheet, turn)
        if page.closed:
            _closed(sheet, top, page.closed)
        _foot(sheet)
    sheet.output(str(path))


def _pages(sheet: CrewSheet, order: list[Turn], room: float, taken: float) -> list[Page]:
    """Share the valves out to pages of a height [mm], some of the first page's taken.

    Those to open come first, then, closely, those without water.
    """
    closed = [turn for turn in order if turn.hours is not None and turn.hours <= 0]
    opened = [turn for turn in order if turn.hours is None or turn.hours > 0]
    pages, left = [Page([], [])], room - taken - TITLES * bool(opened)
    for turn in opened:
        before = pages[-1].opened[-1] if pages[-1].opened else None
        height = _height(sheet, turn) + BAND * _is_headed(before, turn)
        if before is not None and height > left:
            pages.append(Page([], []))
            left = room - TITLES
            height = _height(sheet, turn) + BAND * _is_headed(None, turn)
        pages[-1].opened.append(turn)
        left -= height
    while closed:
        lines = int((left - CLOSED_HEAD) // CLOSED_ROW)
        if lines > 0:
            pages[-1].closed.extend(closed[: lines * ACROSS])
            del closed[: lines * ACROSS]
        if closed:
            pages.append(Page([], []))
            left = room
    return pages


def _head(sheet: CrewSheet, page: int, pages: int) -> None:
    content = sheet.content
    right = sheet.w - MARGIN
    sheet.put(MARGIN, MARGIN, content.ranch.name, size=15, bold=True, width=118)
    sheet.put(MARGIN, MARGIN + 7.5, sheet.said("sheet.title"), size=12, bold=True, width=118)
    days = " / ".join(dict.fromkeys(words.days(*content.visit) for words in sheet.words))
    visit = f"{sheet.said('map.visit')}: {days}"
    sheet.put(MARGIN, MARGIN + 13.2, visit, size=9, width=118)
    sheet.put(
        right - 72, MARGIN, sheet.said("sheet.page", page=page, pages=pages), size=9, width=72, align="R"
    )
    for line, key in enumerate(("sheet.crew", "sheet.date")):
        y = MARGIN + 5.4 + line * 6.4
        sheet.put(right - 72, y, sheet.said(key), size=9, width=34)
        sheet.line(right - 38, y + 4.2, right, y + 4.2)


def _notices(sheet: CrewSheet, top: float, lines: list[str]) -> float:
    """Write what must be said first; return where the rest starts [mm]."""
    for place, line in enumerate(lines):
        sheet.put(MARGIN, top - 1.5 + NOTICE * place, line, size=NOTICE_TYPE, bold=True, width=sheet.epw)
    return top + NOTICE * len(lines)


def _wrapped(sheet: CrewSheet, text: str) -> list[str]:
    """Break a sentence into lines that go across the sheet."""
    sheet.set_font("sheet", "B", NOTICE_TYPE)
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".lstrip()
        if lines[-1] and sheet.get_string_width(drawable(longer)) > sheet.epw - 2 * sheet.c_margin:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines


def _is_headed(before: Turn | None, turn: Turn) -> bool:
    """Tell whether a heading stands over a row: where zones past what their crop bears start or end."""
    return turn.past_limit if before is None else before.past_limit != turn.past_limit


def _band(sheet: CrewSheet, top: float, before: Turn | None, turn: Turn) -> float:
    """Write the heading over a row, where it has one; return where the row starts [mm]."""
    if not _is_headed(before, turn):
        return top
    left = MARGIN
    if turn.past_limit:
        double_frame(sheet, (MARGIN + 1.5, top + 1.5, 8.0, BAND - 3.0))
        left += 12
    said = sheet.said("past.heading" if turn.past_limit else "past.others")
    sheet.put(left, top + 0.7, said, size=11, bold=True, width=sheet.epw - 12)
    sheet.set_line_width(0.6)
    sheet.line(MARGIN, top + BAND, MARGIN + sheet.epw, top + BAND)
    return top + BAND


def _columns(sheet: CrewSheet) -> list[float]:
    """Return the left edges of the columns and the right edge of the last [mm]."""
    name = sheet.epw - RANK - TIMES - DONE - PROBLEMS
    edges = [MARGIN]
    for width in (RANK, name, TIMES, DONE, PROBLEMS):
        edges.append(edges[-1] + width)
    return edges


def _titles(sheet: CrewSheet, top: float) -> None:
    edges = _columns(sheet)
    sheet.set_fill_color(20)
    sheet.rect(MARGIN, top, sheet.epw, TITLES - 1, style="F")
    sheet.set_text_color(255)
    for line, words in enumerate(sheet.words):
        name = f"{words('sheet.valve')} · {words('sheet.block')} · {words('sheet.where')}"
        times = f"{words('sheet.hours')} · {words('sheet.open')} · {words('sheet.close')}"
        titles = ("#" if line == 0 else "", name, times, words("sheet.done"), words("sheet.notes"))
        for left, right, title in zip(edges[:-1], edges[1:], titles, strict=True):
            sheet.put(left, top + 0.7 + 4.1 * line, title, size=9, bold=True, width=right - left)
    sheet.set_text_color(0)


def _height(sheet: CrewSheet, turn: Turn) -> float:
    """Give the height of a valve's row [mm]: taller where it has many sets."""
    return ROW + SET_LINE * max(0, len(_lines(sheet.words[0], turn)) - SETS_A_ROW)


def _row(sheet: CrewSheet, top: float, turn: Turn) -> None:
    edges = _columns(sheet)
    _rank(sheet, edges[0], top, turn)
    _name(sheet, edges[1], top, edges[2] - edges[1], turn)
    _times(sheet, edges[2], top, turn)
    sheet.set_line_width(0.6)
    sheet.rect(edges[3] + 2.2, top + 3.4, 9.6, 9.6)
    _problems(sheet, edges[4], top)
    sheet.set_line_width(0.3)
    bottom = top + _height(sheet, turn)
    sheet.line(MARGIN, bottom, MARGIN + sheet.epw, bottom)


def _closed(sheet: CrewSheet, top: float, part: list[Turn]) -> None:
    """List valves that get no water, in columns read downwards."""
    sheet.set_fill_color(20)
    sheet.rect(MARGIN, top + 1.5, sheet.epw, CLOSED_HEAD - 2, style="F")
    sheet.set_text_color(255)
    sheet.put(MARGIN, top + 1.7, sheet.said("sheet.no_water"), size=10, bold=True, width=sheet.epw)
    sheet.set_text_color(0)
    deep, wide = -(-len(part) // ACROSS), sheet.epw / ACROSS
    sheet.set_line_width(0.2)
    for place, turn in enumerate(part):
        column, line = divmod(place, deep)
        left, y = MARGIN + column * wide, top + CLOSED_HEAD + line * CLOSED_ROW
        short = "?" if turn.priority is None else sheet.words[0]("priority.short", number=turn.priority)
        if turn.past_limit:
            double_frame(sheet, (left + 1.9, y + 1.6, 7.2, CLOSED_ROW - 3.2))
        sheet.put(left, y + 1, turn.rank, size=10, bold=True, width=11, align="C")
        sheet.put(left + 11, y + 1, short, size=9, width=8)
        sheet.put(left + 19, y + 1, turn.row["valve"], size=10, bold=True, width=20)
        sheet.put(left + 39, y + 1, turn.row["block"] or "", size=8, width=wide - 40)
        sheet.line(left, y + CLOSED_ROW, left + wide - 2, y + CLOSED_ROW)


def _rank(sheet: CrewSheet, left: float, top: float, turn: Turn) -> None:
    shade, ink = SHADE[turn.priority]
    inset = 1.2 if turn.past_limit else 0.0
    sheet.set_fill_color(shade)
    frame = (left + 0.5 + inset, top + 1.2 + inset, RANK - 2 - 2 * inset, ROW - 2.4 - 2 * inset)
    sheet.set_line_width(0.4)
    sheet.rect(*frame)
    sheet.rect(frame[0], top + ROW - 7.2, frame[2], 6 - inset, style="DF")
    if turn.priority is None:
        draw_stripes(sheet, box(left + 0.5, top + ROW - 7.2, left + RANK - 1.5, top + ROW - 1.2))
    if turn.past_limit:
        double_frame(sheet, frame)
    sheet.put(left + 0.5, top + 2, turn.rank, size=17, bold=True, width=RANK - 2, align="C")
    short = "?" if turn.priority is None else sheet.words[0]("priority.short", number=turn.priority)
    sheet.set_text_color(ink)
    sheet.put(left + 0.5, top + ROW - 6.6, short, size=11, bold=True, width=RANK - 2, align="C")
    sheet.set_text_color(0)


def _name(sheet: CrewSheet, left: float, top: float, width: float, turn: Turn) -> None:
    row = turn.row
    sheet.put(left, top + 1.4, row["valve"], size=16, bold=True, width=width)
    block = row["block"] or ""
    halves = [block] if len(block) <= ONE_LINE else [block[:ONE_LINE], block[ONE_LINE:]]
    for line, half in enumerate(halves):
        sheet.put(left, top + 7.3 + 2.2 * line, half, size=9 if len(halves) == 1 else 6.6, width=width)
    said = [f"{words(f'sheet.{turn.side}')} · {trees_words(turn, words)}" for words in sheet.words]
    said += [change_line(row, sheet.words[0])]
    y, deep = (10.4, 2.2) if len(halves) == 1 else (11.6, 1.9)
    for line, text in enumerate(said):
        sheet.put(left, top + y + deep * line, text, size=6.4 if len(halves) == 1 else 5.6, width=width)


def _times(sheet: CrewSheet, left: float, top: float, turn: Turn) -> None:
    if turn.hours is None:
        sheet.set_line_width(0.3)
        for line, key in enumerate(("hours", "open", "close")):
            y = top + 1.6 + line * 5
            sheet.put(left, y, sheet.said(f"sheet.{key}"), size=7.5, width=22)
            sheet.line(left + 22, y + 3.8, left + TIMES - 3, y + 3.8)
        return
    words = sheet.words[0]
    sheet.put(left, top + 1.4, duration(turn.hours, words), size=14, bold=True, width=29)
    if turn.m3 is not None:
        sheet.put(left + 28, top + 2.6, volume(turn.m3, words), size=8.5, width=TIMES - 29)
    lines = _lines(words, turn)
    first, deep, size = (8.2, 4.2, 9.5) if len(lines) < SETS_A_ROW else (7.2, SET_LINE, 8)
    for place, text in enumerate(lines):
        sheet.put(left, top + first + deep * place, text, size=size, bold=True, width=TIMES - 1)


def _lines(words: Words, turn: Turn) -> list[str]:
    """Write a valve's sets, as many lines as a row holds."""
    lines = set_lines(turn.sets, words)
    left = len(lines) - MOST_LINES
    return lines if left <= 0 else [*lines[: MOST_LINES - 1], f"+{left + 1}"]


def _problems(sheet: CrewSheet, left: float, top: float) -> None:
    sheet.set_line_width(0.3)
    for line, key in enumerate(("leak", "clogged", "no_pressure")):
        y = top + 1.9 + line * 5
        sheet.rect(left, y, 3.4, 3.4)
        sheet.put(left + 4, y + 0.2, sheet.said(f"sheet.{key}"), size=7.2, width=27)
        sheet.line(left + 31, y + 3.6, left + PROBLEMS, y + 3.6)


def _foot(sheet: CrewSheet) -> None:
    top = sheet.h - MARGIN - FOOT + 3
    sheet.set_line_width(0.6)
    sheet.rect(MARGIN, top, sheet.epw, FOOT - 11)
    lines = [words(f"sheet.caution_{n}") for words in sheet.words for n in (1, 2)]
    for line, text in enumerate(lines):
        sheet.put(MARGIN + 1, top + 1.2 + line * 4, text, size=8.4, bold=line % 2 == 0, width=sheet.epw - 2)
    y = sheet.h - MARGIN - 5.5
    sheet.put(MARGIN, y, sheet.said("sheet.call"), size=11, bold=True, width=62)
    sheet.line(MARGIN + 62, y + 5, sheet.w - MARGIN, y + 5)
