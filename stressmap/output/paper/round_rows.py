"""The rows of a measuring crew's paper: what to bag, and what to read, with lines for the figures."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from stressmap.output.paper.round_sheet import RoundSheet
from stressmap.output.paper.sheet_type import MARGIN
from stressmap.output.view.round_content import Action, row_said
from stressmap.rounds.round import Stop

TYPE = 9.0
"""Smallest type of what is read in the sun [points]."""
BIG = 12.5
"""Type of clocks, numbers and trees [points]."""
BAG, READ, HEADINGS = 8.6, 10.4, 8.6
"""Heights [mm] of a bag, of a reading, and of the headings."""
TICK, CLOCK, WORD, NUMBER, TREE = 6.0, 14.5, 18.0, 10.0, 50.0
"""Widths [mm] of the box to tick, of what is planned, of bag or read, of the stop, of the tree."""
EXPECTED, VALUE, REAL, SECOND, TROUBLE = 20.0, 21.0, 16.0, 19.0, 9.0
"""Widths [mm] of what is expected and of what is written; the note has the rest."""
LINE = 4.1
TWICE = ("both_chambers", "second_leaf")
"""Codes of what a stop is for that ask for more than one figure: said again where these are written."""


class Row(NamedTuple):
    """A row of the list: its height [mm], and what draws it at a top [mm]."""

    height: float
    draw: Callable[[float], None]


@dataclass(frozen=True)
class RoundRows:
    """Makes the rows of a crew.

    Parameters
    ----------
    sheet : RoundSheet
        To write on.
    """

    sheet: RoundSheet

    def row(self, action: Action) -> Row:
        """Make the row of an action."""
        if action.kind == "bag":
            return Row(BAG, lambda top: self._bag(action, top))
        high = READ + (LINE if _twice(action.stop) else 0.0)
        return Row(high, lambda top: self._read(action, top, high))

    def headings(self, top: float) -> None:
        """Head what is written beside readings, a language below the other."""
        at = MARGIN + TICK + CLOCK + WORD + NUMBER
        widths = (TREE, EXPECTED, VALUE, REAL, SECOND, TROUBLE + 8.0)
        names = ("tree", "expected", "value", "clock", "second", "trouble")
        for name, wide in zip(names, widths, strict=True):
            for line, words in enumerate(self.sheet.round_words):
                said = words(f"paper.{name}")
                if name in {"expected", "value"}:
                    said = f"{said}, {self.sheet.content.reading.unit}"
                self.sheet.put(at, top + 3.9 * line, said, size=TYPE, width=wide)
            at += wide
        rest = MARGIN + self.sheet.epw - at
        for line, words in enumerate(self.sheet.round_words):
            said = words("paper.note")
            self.sheet.put(at, top + 3.9 * line, said, size=TYPE, width=rest, align="R")
        self._rule(top + HEADINGS - 0.4, 0.5)

    def _bag(self, action: Action, top: float) -> None:
        left = self._begun(action, top, BAG)
        room = MARGIN + self.sheet.epw - left
        for line, words in enumerate(self.sheet.round_words):
            said = words.why(action.stop.why)
            self.sheet.put(left, top + 0.2 + LINE * line, said, size=TYPE, width=room)
        self._rule(top + BAG, 0.15)

    def _read(self, action: Action, top: float, high: float) -> None:
        left = self._begun(action, top, READ)
        expected = self.sheet.content.expected(action.stop, self.sheet.words[0])
        self.sheet.put(left, top + 2.4, expected, size=TYPE + 2, bold=True, width=EXPECTED)
        left += EXPECTED
        self.sheet.set_line_width(0.35)
        for wide in (VALUE, REAL, SECOND, TROUBLE):
            self.sheet.rect(left + 0.6, top + 0.8, wide - 1.2, READ - 1.6)
            left += wide
        self.sheet.set_line_width(0.25)
        self.sheet.line(left + 0.6, top + READ - 1.4, MARGIN + self.sheet.epw, top + READ - 1.4)
        if twice := _twice(action.stop):
            at = MARGIN + TICK + CLOCK + WORD + NUMBER
            said = self.sheet.said(f"why.{twice[0]}")
            self.sheet.put(
                at, top + READ - 0.8, said, size=TYPE, bold=True, width=MARGIN + self.sheet.epw - at
            )
        self._rule(top + high, 0.15)

    def _begun(self, action: Action, top: float, high: float) -> float:
        """Draw what begins every row: box, clock, what to do, stop and tree; return where it ends [mm]."""
        sheet, stop, left = self.sheet, action.stop, MARGIN
        middle = top + (high - 5.4) / 2
        sheet.set_line_width(0.5)
        sheet.rect(left + 0.4, top + (high - 4.2) / 2, 4.2, 4.2)
        left += TICK
        sheet.put(left, middle, action.clock, size=BIG, bold=True, width=CLOCK)
        left += CLOCK
        self._word(action, left, top, high)
        left += WORD
        sheet.put(left, middle, stop.number, size=BIG, bold=True, width=NUMBER, align="C")
        left += NUMBER
        code = sheet.content.codes[stop.number]
        sheet.put(left, top + 0.1, stop.tree_id, size=BIG - 1.5, bold=True, width=TREE - 14.5)
        sheet.put(left + TREE - 14.5, top + 0.4, code, size=TYPE, width=14.5, align="R")
        sheet.put(left, top + 4.4, self._place(stop), size=TYPE, width=TREE)
        return left + TREE

    def _place(self, stop: Stop) -> str:
        where = row_said(stop, self.sheet.round_words)
        if not where:
            lon, lat = self.sheet.content.degrees[stop.number]
            where = f"{lat:.5f}, {lon:.5f}"
        return " · ".join(part for part in (stop.block, where) if part)

    def _word(self, action: Action, left: float, top: float, high: float) -> None:
        """Say bag or read in every language: readings white on black, bags in a frame."""
        sheet, dark = self.sheet, action.kind == "read"
        said = list(dict.fromkeys(words(f"paper.{action.kind}").upper() for words in sheet.round_words))
        sheet.set_fill_color(20 if dark else 255)
        sheet.set_line_width(0.3)
        sheet.rect(left, top + 0.6, WORD - 1, high - 1.2, style="FD" if dark else "D")
        sheet.set_text_color(255 if dark else 0)
        first = top + (high - 3.8 * len(said)) / 2
        for line, text in enumerate(said):
            sheet.put(left, first + 3.8 * line, text, size=TYPE, bold=True, width=WORD - 1, align="C")
        sheet.set_text_color(0)

    def _rule(self, y: float, thick: float) -> None:
        self.sheet.set_line_width(thick)
        self.sheet.line(MARGIN, y, MARGIN + self.sheet.epw, y)


def _twice(stop: Stop) -> tuple[str, ...]:
    return tuple(code for code in stop.why if code in TWICE)
