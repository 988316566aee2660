"""``round.pdf``: what a measuring crew carries; its way on a map, then by the clock what to bag and to read.

One list and not two: bags and readings alternate, and a page turned with wet hands is a page lost.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import NamedTuple

from stressmap.output.paper.round_map import draw_round_map
from stressmap.output.paper.round_rows import HEADINGS, TYPE, RoundRows, Row
from stressmap.output.paper.round_sheet import RoundSheet
from stressmap.output.paper.sheet_type import LEADING, MARGIN
from stressmap.output.text.form_words import form_word
from stressmap.output.text.round_words import RoundWords
from stressmap.output.view.round_content import RoundContent

HEAD, TOP_LINES, FOOT, GAP = 7.2, 21.5, 8.4, 2.0
"""Heights [mm] of the head of a page, of the first page's, of its foot, and between parts."""
MAP = 112.0
"""Height of the map [mm], where rows follow below it."""
CAUTIONS = ("chamber", "heat", "pumps")
POINTS = ("n", "ne", "e", "se", "s", "sw", "w", "nw")
"""Of the compass, clockwise."""


class CrewPages(NamedTuple):
    """Rows of one crew by page; those of the first stand below its map, which is so high [mm]."""

    crew: int
    rows: list[list[Row]]
    high: float


def write_round_paper(content: RoundContent, path: Path) -> None:
    """Write the paper.

    Parameters
    ----------
    content : RoundContent
        The round; crew after crew, each with pages of its own.
    path : Path
        PDF to write; the same content gives the same bytes.
    """
    sheet = RoundSheet(content)
    for crew in content.crews:
        pages = _pages(sheet, crew)
        for number, rows in enumerate(pages.rows, 1):
            sheet.add_page()
            place = sheet.said("paper.page", page=number, pages=len(pages.rows))
            top = _first(sheet, pages, place) if number == 1 else _head(sheet, crew, place)
            if rows:
                RoundRows(sheet).headings(top)
            y = top + HEADINGS
            for row in rows:
                row.draw(y)
                y += row.height
            _foot(sheet)
    sheet.output(str(path))


def _pages(sheet: RoundSheet, crew: int) -> CrewPages:
    """Share a crew's rows out to pages."""
    made = RoundRows(sheet)
    rows = [made.row(action) for action in sheet.content.actions(crew)]
    bottom = sheet.h - MARGIN - FOOT
    top = MARGIN + TOP_LINES + MAP + GAP + _said_high(sheet) + GAP + HEADINGS
    pages: list[list[Row]] = [[]]
    y = top
    for row in rows:
        if y + row.height > bottom:
            pages.append([])
            y = MARGIN + HEAD + HEADINGS
        pages[-1].append(row)
        y += row.height
    return CrewPages(crew, pages, MAP)


def _first(sheet: RoundSheet, pages: CrewPages, place: str) -> float:
    """Draw all that stands above the rows of a crew's first page; return where these begin [mm]."""
    content, right = sheet.content, sheet.w - MARGIN
    days = " / ".join(dict.fromkeys(words.date(content.on) for words in sheet.words))
    sheet.put(MARGIN, MARGIN, content.ranch.name, size=15, bold=True, width=sheet.epw - 66)
    sheet.put(right - 66, MARGIN, _crew(sheet, pages.crew), size=13, bold=True, width=66, align="R")
    title = f"{sheet.said('paper.title')}: {days}"
    sheet.put(MARGIN, MARGIN + 7.2, title, size=11, bold=True, width=sheet.epw - 40)
    sheet.put(right - 40, MARGIN + 7.4, place, size=TYPE, width=40, align="R")
    _to_write(sheet, MARGIN, MARGIN + 13.0, "paper.who", 62.0)
    _to_write(sheet, MARGIN + 66.0, MARGIN + 13.0, "paper.chamber", 48.0)
    _in_short(sheet, pages.crew)
    top = MARGIN + TOP_LINES
    draw_round_map(sheet, pages.crew, (MARGIN, top, sheet.epw, pages.high))
    top += pages.high + GAP
    for line in _said(sheet):
        sheet.put(MARGIN, top, line, size=TYPE, width=sheet.epw)
        top += TYPE * LEADING
    return top + GAP


def _in_short(sheet: RoundSheet, crew: int) -> None:
    """Say when the crew begins and ends, beside the lines for its name."""
    content = sheet.content
    actions = content.actions(crew)
    opens, closes = (f"{moment:%H:%M}" for moment in content.hours)
    reads = [one for one in actions if one.kind == "read"]
    for line, words in enumerate(sheet.round_words):
        parts = [
            words("paper.window", opens=opens, closes=closes),
            words("paper.count", count=len(reads)),
            words("paper.first_bag", clock=actions[0].clock),
            words("paper.last_read", clock=reads[-1].clock),
        ]
        left = MARGIN + 118.0
        said = " · ".join(parts)
        wide = sheet.w - MARGIN - left
        sheet.put(left, MARGIN + 12.4 + 4.0 * line, said, size=TYPE, width=wide, align="R")


def _crew(sheet: RoundSheet, crew: int) -> str:
    return sheet.said("paper.crew_of", crew=crew, crews=len(sheet.content.crews))


def _to_write(sheet: RoundSheet, left: float, top: float, key: str, long: float) -> None:
    said = sheet.said(key)
    wide = sheet.least_width(said, 10) + 0.5
    sheet.put(left, top, said, size=10, width=wide)
    sheet.set_line_width(0.3)
    sheet.line(left + wide, top + 4.6, left + long, top + 4.6)


def _said(sheet: RoundSheet) -> list[str]:
    """Give the rules of the round and its cautions, in every language, broken into lines."""
    reading = sheet.content.reading
    lines = []
    for words, units in zip(sheet.round_words, sheet.words, strict=True):
        apart = f"{sheet.content.shown(reading.recheck_bar, units)} {reading.unit}"
        told = [
            words("paper.bagged", minutes=f"{reading.bag_minutes:g}"),
            words("paper.odd", apart=apart),
            words("paper.late"),
            words("paper.code"),
            *_counted(sheet, words),
            *(form_word(words.language, f"caution.{name}") for name in CAUTIONS),
        ]
        lines += sheet.broken(" ".join(told), TYPE, sheet.epw)
    return lines


def _counted(sheet: RoundSheet, words: RoundWords) -> list[str]:
    """Say from which side of a block rows and trees are counted, once where all blocks are alike."""
    alike: dict[tuple[str, str], list[str]] = {}
    for stop in sheet.content.planned.stops:
        if math.isfinite(stop.row_bearing):
            left, start = (POINTS[round((stop.row_bearing + turn) / 45.0) % 8] for turn in (-90.0, 180.0))
            alike.setdefault((left, start), []).append(stop.block)
    said = []
    for (left, start), blocks in alike.items():
        key = "paper.counted" if len(alike) == 1 else "paper.counted_in"
        sides = {"left": words(f"compass.{left}"), "start": words(f"compass.{start}")}
        said.append(words(key, **sides, blocks=", ".join(dict.fromkeys(blocks))))
    return said


def _said_high(sheet: RoundSheet) -> float:
    return TYPE * LEADING * len(_said(sheet))


def _head(sheet: RoundSheet, crew: int, place: str) -> float:
    """Head a page after the first; return where its rows begin [mm]."""
    content = sheet.content
    days = " / ".join(dict.fromkeys(words.date(content.on) for words in sheet.words))
    said = f"{content.ranch.name} · {sheet.said('paper.title')}: {days} · {_crew(sheet, crew)}"
    sheet.put(MARGIN, MARGIN, said, size=TYPE + 1, bold=True, width=sheet.epw - 42)
    sheet.put(sheet.w - MARGIN - 40, MARGIN, place, size=TYPE, width=40, align="R")
    return MARGIN + HEAD


def _foot(sheet: RoundSheet) -> None:
    """Explain the numbers of troubles, on every page."""
    top = sheet.h - MARGIN - FOOT + 1.0
    for line, words in enumerate(sheet.round_words):
        troubles = [f"{n} {words(f'paper.trouble_{name}')}" for n, name in enumerate(sheet.troubles, 1)]
        said = f"{words('paper.trouble')}: {' · '.join(troubles)}. {words('paper.write_number')}"
        sheet.put(MARGIN, top + TYPE * LEADING * line, said, size=TYPE, width=sheet.epw)
