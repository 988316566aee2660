"""What the crew sheet says before its rows, and the mark of valves to look at before they are opened."""

from __future__ import annotations

from stressmap.output.paper.fonts import drawable
from stressmap.output.paper.sheet_type import CrewSheet
from stressmap.output.text.note_words import sentence
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.first_look import first_look

NOTICE = 4.3
"""Height of a line of what must be said first [mm]."""
NOTICE_TYPE = 9.0
"""Its type [points]."""

LOOK = "!"
"""Stands beside valves to look at before they are opened."""
LISTED = 12
MARK_WIDTH, MARK_LINE, MARK_TYPE = 27.0, 3.3, 7.0
"""Width and height of a line of the mark [mm], and its type [points]."""


def said_first(sheet: CrewSheet, order: list[Turn]) -> list[str]:
    """Gather what is said before the rows, broken into lines that go across the sheet.

    Parameters
    ----------
    sheet : CrewSheet
        Whose languages and width.
    order : list of Turn
        The valve zones in rank order.

    Returns
    -------
    list of str
    """
    content = sheet.content
    said = [line for words in sheet.words for line in first_look(content, order, words)]
    names = [str(turn.row["valve"]) for turn in order if turn.look_first]
    if names:
        shown, more = ", ".join(names[:LISTED]), len(names) - LISTED
        for words in sheet.words:
            listed = words("past.more", valves=shown, count=more) if more > 0 else shown
            said.append(words("sheet.look_list", valves=listed))
    guessed = [note for note in content.notes if note.code == "system_assumed"]
    said += [sentence(note, words) for note in guessed for words in sheet.words]
    since = content.previous_visit
    if since is not None and "gauge_change_bar" in content.valves:
        said.append(sheet.words[0]("moved.on_sheet", date=sheet.words[0].day(since)))
    return [part for line in said for part in _wrapped(sheet, line)]


def write_notices(sheet: CrewSheet, top: float, lines: list[str]) -> float:
    """Write what must be said first; return where the rest starts [mm].

    Parameters
    ----------
    sheet : CrewSheet
        The sheet, on its first page.
    top : float
        Where the lines start [mm].
    lines : list of str
        From :func:`said_first`.

    Returns
    -------
    float
    """
    left, wide = sheet.l_margin, sheet.epw
    for place, line in enumerate(lines):
        sheet.put(left, top - 1.5 + NOTICE * place, line, size=NOTICE_TYPE, bold=True, width=wide)
    return top + NOTICE * len(lines)


def look_mark(sheet: CrewSheet, right: float, top: float) -> float:
    """Mark a valve's row in every language of the sheet: white on black, so that it is seen on any printer.

    Parameters
    ----------
    sheet : CrewSheet
        The sheet.
    right, top : float
        The mark's right upper corner [mm].

    Returns
    -------
    float
        Width that it takes [mm].
    """
    left = right - MARK_WIDTH
    lines = list(dict.fromkeys(words("sheet.look_first") for words in sheet.words))
    sheet.set_fill_color(20)
    sheet.rect(left, top - 0.4, MARK_WIDTH - 1.0, MARK_LINE * len(lines) + 0.8, style="F")
    sheet.set_text_color(255)
    for place, line in enumerate(lines):
        said = f"{LOOK} {line}"
        sheet.put(
            left, top + MARK_LINE * place - 0.1, said, size=MARK_TYPE, bold=True, width=MARK_WIDTH - 1.0
        )
    sheet.set_text_color(0)
    return MARK_WIDTH


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
