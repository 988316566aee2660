"""``crew_sheet.pdf``: what the crew carries; the ranch on a page, then its valves by the clock."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from stressmap.output.paper.sheet_columns import Piece, Placed, in_columns
from stressmap.output.paper.sheet_groups import GroupWriter
from stressmap.output.paper.sheet_overview import LINE, TextLine, overview, write_lines
from stressmap.output.paper.sheet_parts import A_PAGE, draw_parts, map_pages, parts_of
from stressmap.output.paper.sheet_rows import TROUBLES, TYPE, RowWriter
from stressmap.output.paper.sheet_type import MARGIN, CrewSheet
from stressmap.output.view.clock_events import by_clock
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn, turns
from stressmap.output.view.where_to_open import opening_places

HEAD, GAP = 6.6, 1.2
"""Heights [mm] of the head of a page, and above its foot."""
LONG = 150
"""With more sets, those of a moment share a heading and every set has one line."""
FULL = (1, 2)
"""Priorities that have lines to write on where there is no plan."""


def write_crew_sheet(content: Content, path: Path) -> None:
    """Write the sheet.

    Parameters
    ----------
    content : Content
        The finished run; with a timetable the valves are in the order of the clock, by day and pump,
        otherwise in order of rank with lines to write on.
    path : Path
        PDF to write; the same content gives the same bytes.
    """
    sheet = CrewSheet(content)
    order, places = turns(content), opening_places(content)
    many = sum(len(turn.sets) for turn in order) > LONG
    rows = GroupWriter(sheet, places) if many else RowWriter(sheet, places)
    pieces = _by_the_clock(rows, order) or _by_rank(rows, order)
    foot = _foot_lines(sheet) if pieces else []
    top, bottom = MARGIN + HEAD, sheet.h - MARGIN - LINE * len(foot) - GAP
    sheet.add_page()
    later = overview(sheet, order, places)
    parts, first = _text_pages(later, top, bottom)
    pages = in_columns(sheet, pieces, top, bottom, first) if pieces else []
    maps = parts_of(content)
    shared = 1 if parts and pages and first > top else 0
    whole = 1 + len(parts) + len(pages) - shared + map_pages(maps)
    paper = Paper(top, first, whole, foot)
    _number(sheet, 1, whole)
    _write(sheet, parts, pages, paper)
    for number, at in enumerate(range(0, len(maps), A_PAGE), whole - map_pages(maps) + 1):
        sheet.add_page()
        _page_head(sheet, number, paper)
        draw_parts(sheet, maps[at : at + A_PAGE], order, (top, bottom))
    sheet.output(str(path))


class Paper(NamedTuple):
    """The pages after the first: top of columns, and on the first of them [mm]; pages in all; their foot."""

    top: float
    first: float
    whole: int
    foot: list[str]


def _write(sheet: CrewSheet, parts: list[list[TextLine]], pages: list[list[Placed]], paper: Paper) -> None:
    """Write the pages after the first: text that found no room there, and the columns."""
    shared = bool(parts) and paper.first > paper.top
    last = 1 + len(parts) + len(pages) - (1 if shared and pages else 0)
    for number in range(2, last + 1):
        sheet.add_page()
        _page_head(sheet, number, paper)
        at = number - 2
        if at < len(parts):
            write_lines(sheet, parts[at], paper.top)
        column = at - len(parts) + (1 if shared else 0)
        if 0 <= column < len(pages):
            for one in pages[column]:
                one.piece.draw(one.left, one.top)


def _text_pages(lines: list[TextLine], top: float, bottom: float) -> tuple[list[list[TextLine]], float]:
    """Share lines out to pages; give where the columns start on the last of these [mm]."""
    most = int((bottom - top) // LINE)
    parts = [lines[at : at + most] for at in range(0, len(lines), most)]
    if not parts:
        return [], top
    end = top + LINE * len(parts[-1]) + 2.0
    return parts, end if bottom - end > 0.25 * (bottom - top) else top


def _by_the_clock(rows: RowWriter, order: list[Turn]) -> list[Piece]:
    return [piece for day in by_clock(order) for piece in (rows.day(day), *rows.events(day.events))]


def _by_rank(rows: RowWriter, order: list[Turn]) -> list[Piece]:
    """List the valves in order of rank: those that are urgent with lines to write on, the rest by name."""
    said = rows.sheet.said
    opened = [turn for turn in order if turn.hours is None or turn.hours > 0]
    past = [turn for turn in opened if turn.past_limit]
    full = [turn for turn in opened if not turn.past_limit and (turn.hours or turn.priority in FULL)]
    rest = [turn for turn in opened if not turn.past_limit and not (turn.hours or turn.priority in FULL)]
    groups: list[tuple[str, list[Turn], Callable[[Turn], Piece]]] = [
        (said("past.heading"), past, rows.blank),
        (said("past.others") if past else said("sheet.in_order"), full, rows.blank),
        (said("sheet.rest"), rest, rows.listed),
    ]
    return [
        piece
        for title, group, row in groups
        if group
        for piece in (rows.heading(title, "sheet.since"), *map(row, group))
    ]


def _page_head(sheet: CrewSheet, number: int, paper: Paper) -> None:
    said = f"{sheet.content.ranch.name} · {sheet.said('sheet.title')}"
    sheet.put(MARGIN, MARGIN, said, size=TYPE + 1, bold=True, width=sheet.epw - 92)
    x = sheet.w - MARGIN - 90
    sheet.put(x, MARGIN + 0.2, sheet.said("sheet.crew"), size=TYPE, width=24)
    sheet.set_line_width(0.25)
    sheet.line(x + 24, MARGIN + 4.4, x + 46, MARGIN + 4.4)
    _number(sheet, number, paper.whole)
    top = sheet.h - MARGIN - LINE * len(paper.foot)
    for place, line in enumerate(paper.foot):
        sheet.put(MARGIN, top + LINE * place, line, size=TYPE, width=sheet.epw)


def _number(sheet: CrewSheet, number: int, whole: int) -> None:
    said = sheet.said("sheet.page", page=number, pages=whole)
    if number == 1:
        sheet.put(sheet.w - MARGIN - 80, MARGIN + 14.6, said, size=TYPE, width=80, align="R")
        return
    sheet.put(sheet.w - MARGIN - 44, MARGIN + 0.2, said, size=TYPE, width=44, align="R")


def _foot_lines(sheet: CrewSheet) -> list[str]:
    """Explain the boxes of troubles, on every page."""
    troubles = [f"{n} {sheet.said(f'sheet.{name}')}" for n, name in enumerate(TROUBLES, 1)]
    said = f"{sheet.said('sheet.trouble')}: {' · '.join(troubles)}. {sheet.said('sheet.write_number')}"
    return sheet.broken(said, TYPE, sheet.epw)
