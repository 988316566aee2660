"""``crew_sheet.pdf``: what the crew carries; big type, black and white, a box to tick for each valve."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from shapely import box

from stressmap.output.paper.sheet_map import SHADE, double_frame, draw_stripes, plan_map
from stressmap.output.paper.sheet_notices import LOOK, NOTICE, look_mark, said_first, write_notices
from stressmap.output.paper.sheet_type import MARGIN, CrewSheet
from stressmap.output.text.words import Words
from stressmap.output.view.change_words import change_line
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, trees_words, turns
from stressmap.output.view.daily_sets import set_lines
from stressmap.output.view.quantities import duration, known

HEAD, MAP, TITLES, ROW, FOOT = 19.0, 59.0, 10.0, 17.5, 29.0
RANK, TIMES, DONE, PROBLEMS = 16.0, 52.0, 14.0, 52.0
"""Widths [mm]; what is left is for the valve's name and place."""

SETS_A_ROW, SET_LINE, MOST_LINES = 3, 3.3, 24
"""Lines of sets that a row of usual height holds, the height of one more [mm], and the most of a row."""
ONE_LINE = 32
"""Characters of a block's name on a line."""

CLOSED_HEAD, CLOSED_ROW, ACROSS = 8.0, 6.6, 3
"""Heights [mm] of the list of valves without water, and its columns."""

BAND = 6.5
"""Height [mm] of a heading between rows."""


class Page(NamedTuple):
    """The valve zones of a page: to open, a row each, and without water, listed below."""

    opened: list[Turn]
    closed: list[Turn]


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
    notices = said_first(sheet, order)
    pages = _pages(sheet, order, sheet.h - 2 * MARGIN - HEAD - MAP - FOOT, NOTICE * len(notices))
    for number, page in enumerate(pages, 1):
        sheet.add_page()
        _head(sheet, number, len(pages))
        picture.draw(sheet, page.opened, page.closed)
        top = MARGIN + HEAD + MAP
        if number == 1:
            top = write_notices(sheet, top, notices)
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
        named = f"{turn.row['valve']} {LOOK}" if turn.look_first else turn.row["valve"]
        sheet.put(left + 19, y + 1, named, size=10, bold=True, width=20)
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
    taken = look_mark(sheet, left + width, top + 1.6) if turn.look_first else 0.0
    sheet.put(left, top + 1.4, row["valve"], size=16, bold=True, width=width - taken)
    block = row["block"] or ""
    halves = [block] if len(block) <= ONE_LINE else [block[:ONE_LINE], block[ONE_LINE:]]
    for line, half in enumerate(halves):
        sheet.put(left, top + 7.3 + 2.2 * line, half, size=9 if len(halves) == 1 else 6.6, width=width)
    said = [f"{words(f'sheet.{turn.side}')} · {trees_words(turn, words)}" for words in sheet.words]
    said += [change_line(row, sheet.words[0], sheet.content.gauge_unit)]
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
        sheet.put(left + 28, top + 2.6, known(turn.m3, "volume", words), size=8.5, width=TIMES - 29)
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
