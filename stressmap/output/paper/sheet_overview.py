"""The first page of the crew sheet: the whole ranch, what stays closed and why, cautions, who to call."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

from stressmap.output.paper.sheet_map import plan_map
from stressmap.output.paper.sheet_type import LEADING, MARGIN, CrewSheet
from stressmap.output.text.note_words import sentence
from stressmap.output.view.clock_events import day_words, days_of
from stressmap.output.view.closed_valves import closed_groups, closed_names
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.first_look import HOW_CHOSEN, first_look
from stressmap.output.view.where_to_open import OpeningPlace

HEAD, CALL, LEAST_MAP = 21.0, 7.5, 92.0
"""Heights [mm]: of the head, of who to call, of the smallest map."""
SIZES = (12.5, 11.0, 10.0, 9.5, 9.0)
"""Type of what is read on this page: the largest with which the map keeps the width of the page [points]."""
LINE = SIZES[-1] * LEADING
"""Height of a line in the smallest [mm]."""
LEAD = "\N{BLACK RIGHT-POINTING SMALL TRIANGLE}"
DOT, INDENT = "\N{BULLET}", 3.2
"""Before a point, and how far its other lines are set in [mm]."""
SENTENCES = re.compile(r"(?<=\.) ")
LISTED = 12
"""Valves to look at that are listed by name."""


Span = tuple[float, float]


class TextLine(NamedTuple):
    """A line across the sheet."""

    text: str
    bold: bool = False


def overview(sheet: CrewSheet, order: list[Turn], places: dict[str, OpeningPlace]) -> list[TextLine]:
    """Write the first page; return the lines of what stays closed that found no room on it.

    Parameters
    ----------
    sheet : CrewSheet
        Its first page begun.
    order : list of Turn
        The valve zones in rank order.
    places : dict of str to OpeningPlace
        Where each valve is opened.

    Returns
    -------
    list of TextLine
        In the smallest type, for the next page.
    """
    top, bottom = MARGIN + HEAD + CALL, sheet.h - MARGIN
    wanted = min(sheet.epw * _aspect(sheet) + 16.0, bottom - top)
    for size in SIZES:
        said, closed, cautions = (
            _said_first(sheet, order, size),
            _closed(sheet, order, size),
            _cautions(sheet, places, size),
        )
        line = size * LEADING
        framed = line * max(map(len, cautions)) + 2.4
        room = bottom - top - framed - 2.0 - line * len(said)
        if room - line * len(closed) >= wanted:
            break
    fit = max(0, min(len(closed), int((room - min(wanted, LEAST_MAP)) // line)))
    _head(sheet)
    _call(sheet, MARGIN + HEAD)
    high = room - line * fit
    plan_map(sheet.content, (MARGIN, top, sheet.epw, high)).draw(sheet, order)
    y = write_lines(sheet, [*said, *closed[:fit]], top + high + 1.0, size)
    sheet.set_line_width(0.6)
    sheet.rect(MARGIN, y + 0.8, sheet.epw, framed - 1.2)
    _side_by_side(sheet, cautions, (y + 0.8, framed - 1.2), size)
    return closed[fit:]


def _aspect(sheet: CrewSheet) -> float:
    west, south, east, north = sheet.content.blocks.total_bounds
    return float((north - south) / max(east - west, 1.0))


def write_lines(sheet: CrewSheet, lines: list[TextLine], top: float, size: float = SIZES[-1]) -> float:
    """Write lines across the sheet; return where the next would be [mm].

    Parameters
    ----------
    sheet : CrewSheet
        On the page.
    lines : list of TextLine
        Broken to its width.
    top : float
        Of the first [mm].
    size : float
        Of the type [points].

    Returns
    -------
    float
    """
    for place, line in enumerate(lines):
        at = top + size * LEADING * place
        sheet.put(MARGIN, at, line.text, size=size, bold=line.bold, width=sheet.epw)
    return top + size * LEADING * len(lines)


def _head(sheet: CrewSheet) -> None:
    content, right = sheet.content, sheet.w - MARGIN
    wide = sheet.epw - 90
    sheet.put(MARGIN, MARGIN, content.ranch.name, size=16, bold=True, width=wide)
    title = sheet.said("sheet.title")
    days = days_of(content)
    if days is not None:
        spans = [f"{day_words(days[0], words)} - {day_words(days[1], words)}" for words in sheet.words]
        title += ": " + " / ".join(dict.fromkeys(spans))
    sheet.put(MARGIN, MARGIN + 8.0, title, size=12, bold=True, width=sheet.epw)
    visit = " / ".join(dict.fromkeys(words.days(*content.visit) for words in sheet.words))
    sheet.put(MARGIN, MARGIN + 14.6, f"{sheet.said('map.visit')}: {visit}", size=10, width=sheet.epw)
    for place, key in enumerate(("sheet.crew", "sheet.date")):
        x = right - 88 + 50 * place
        _to_write(sheet, (x, MARGIN + 1.2), sheet.said(key), x + (48 if place == 0 else 38), size=10)


def _call(sheet: CrewSheet, top: float) -> None:
    who, said = sheet.content.ranch.contact, sheet.said("sheet.call") + ":"
    if who:
        sheet.put(MARGIN, top, f"{said} {who}", size=12, bold=True, width=sheet.epw)
        return
    _to_write(sheet, (MARGIN, top), said, sheet.w - MARGIN, size=12, bold=True)


def _to_write(sheet: CrewSheet, at: tuple[float, float], said: str, end: float, **look: Any) -> None:
    """Write a word and draw a line after it, to write on."""
    wide = sheet.least_width(said, look["size"], bold=look.get("bold", False)) + 0.1
    sheet.put(*at, said, width=wide, **look)
    y = at[1] + 0.42 * look["size"]
    sheet.set_line_width(0.3)
    sheet.line(at[0] + wide, y, end, y)


def _said_first(sheet: CrewSheet, order: list[Turn], size: float) -> list[TextLine]:
    """Gather what must be known before a valve is opened."""
    content = sheet.content
    said = [line for words in sheet.words for line in first_look(content, order, words)]
    names = [str(turn.row["valve"]) for turn in order if turn.look_first and not _stays_closed(turn)]
    if names:
        shown, more = ", ".join(names[:LISTED]), len(names) - LISTED
        for words in sheet.words:
            listed = words("past.more", valves=shown, count=more) if more > 0 else shown
            said.append(words("sheet.look_list", valves=listed))
    guessed = [note for note in content.notes if note.code in ("system_assumed", *HOW_CHOSEN)]
    said += [sentence(note, words) for note in guessed for words in sheet.words]
    return [
        TextLine(part, bold=True) for line in said for part in sheet.broken(line, size, sheet.epw, bold=True)
    ]


def _closed(sheet: CrewSheet, order: list[Turn], size: float) -> list[TextLine]:
    """Say what stays closed and why: a line for each reason, more where it has many valves."""
    groups = closed_groups(sheet.content, order, sheet.words)
    if not groups:
        return []
    lines = [
        TextLine(f"{sheet.said('sheet.no_water')} ({sum(len(group.turns) for group in groups)})", bold=True)
    ]
    for group in groups:
        why = " / ".join(dict.fromkeys(said[:1].upper() + said[1:] for said in group.why))
        names = closed_names(group, order, sheet.words[0])
        text = f"{LEAD} {why}: {names}" if why else f"{LEAD} {names}"
        lines += [TextLine(part) for part in sheet.broken(text, size, sheet.epw)]
    if any(turn.look_first for group in groups for turn in group.turns):
        lines += [TextLine(part) for part in sheet.broken(sheet.said("sheet.look_closed"), size, sheet.epw)]
    return lines


def _stays_closed(turn: Turn) -> bool:
    return turn.hours is not None and turn.hours <= 0


def _cautions(sheet: CrewSheet, places: dict[str, OpeningPlace], size: float) -> list[list[TextLine]]:
    """Say how the sheet is filled in, what its places are, and what can hurt; a column a language."""
    kinds = sorted({place.kind for place in places.values()})
    columns = []
    for words in sheet.words:
        where = "; ".join(words(f"place.{kind}_key") for kind in kinds)
        said = [words("sheet.key", where=where), *(words(f"sheet.caution_{n}") for n in (1, 2, 3))]
        points = [point for text in said for point in SENTENCES.split(text)]
        columns.append([line for point in points for line in _point(sheet, point, size)])
    return columns if len(columns) > 1 else _in_halves(columns[0])


def _point(sheet: CrewSheet, said: str, size: float) -> list[TextLine]:
    """Break a sentence into the lines of a point, the first with its dot."""
    first, *others = sheet.broken(said, size, _half(sheet) - INDENT)
    return [TextLine(f"{DOT} {first}"), *map(TextLine, others)]


def _in_halves(lines: list[TextLine]) -> list[list[TextLine]]:
    """Share the points of one language out to two columns, the left one never the shorter."""
    starts = [at for at, line in enumerate(lines) if line.text.startswith(DOT) and 2 * at >= len(lines)]
    return [lines[: starts[0]], lines[starts[0] :]] if starts else [lines]


def _side_by_side(sheet: CrewSheet, columns: list[list[TextLine]], frame: Span, size: float) -> None:
    """Write columns of points into a frame, a line between them."""
    top, high = frame
    for place, lines in enumerate(columns):
        left = MARGIN + place * sheet.epw / 2
        if place:
            sheet.set_line_width(0.25)
            sheet.line(left, top, left, top + high)
        for row, line in enumerate(lines):
            dotted = line.text.startswith(DOT)
            x = left if dotted else left + INDENT
            sheet.put(
                x, top + 0.4 + size * LEADING * row, line.text, size=size, width=left + _half(sheet) - x
            )


def _half(sheet: CrewSheet) -> float:
    return sheet.epw / 2
