"""The rows of a long crew sheet: what is opened or closed at one moment stands below one heading."""

from __future__ import annotations

from collections import Counter
from itertools import groupby

from stressmap.output.paper.sheet_columns import Piece
from stressmap.output.paper.sheet_rows import BIG, CODE, LINE, SHORT, TIME, TYPE, RowWriter
from stressmap.output.view.clock_events import ClockEvent

ROW = 4.8
"""Height of a row, and of the heading over rows [mm]."""
NAME, BLOCK, TICK, REAL, ARROW, TROUBLE = 15.5, 12.5, 4.9, 11.0, 5.0, 6.5
"""Widths [mm] in the row of an opening: valve, block, box to tick, line for the time, side, trouble."""
HALF_NAME, HALF_TROUBLE = 14.5, 4.6
"""Widths [mm] in half a row, that of a closing."""
BRACKET = 0.7
"""Thickness of the line down the left side of what belongs to a moment [mm]."""


class GroupWriter(RowWriter):
    """Makes the rows of a sheet with many sets: one line an opening, two closings on a line."""

    def events(self, events: list[ClockEvent]) -> list[Piece]:
        """Write openings and closings in their order, those of a moment below its heading."""
        pieces: list[Piece] = []
        for (_, opens), group in groupby(events, key=lambda one: (one.when, one.opens)):
            same = list(group)
            if len(same) == 1:
                pieces += super().events(same)
                continue
            heading = self._moment(same)
            pieces.append(heading)
            pieces += self._openings(same, heading) if opens else self._pairs(same, heading)
        return pieces

    def _moment(self, events: list[ClockEvent]) -> Piece:
        """Head what is opened or closed at a moment: hour, what to do, how many."""
        first, kind = events[0], self._kind(events)
        where = self.sheet.said(f"place.{kind}")
        word = self.sheet.said("sheet.open" if first.opens else "sheet.close").upper()

        def draw(left: float, top: float) -> None:
            sheet = self.sheet
            sheet.set_fill_color(*((20,) if first.opens else (225,)))
            sheet.rect(left + TIME, top + 0.3, 40, ROW - 0.6, style="F")
            sheet.put(left, top, f"{first.when:%H:%M}", size=BIG, bold=True, width=TIME)
            sheet.set_text_color(255 if first.opens else 0)
            sheet.put(left + TIME, top + 0.3, f"{word} ({len(events)})", size=TYPE, bold=True, width=40)
            sheet.set_text_color(0)
            if first.opens:
                sheet.put(left + TIME + 41, top + 0.3, where, size=TYPE, width=self.wide - TIME - 41)
            self._rule(left, top, 0.3)

        return Piece(ROW, draw, leads=True)

    def _openings(self, events: list[ClockEvent], heading: Piece) -> list[Piece]:
        kind = self._kind(events)
        return [self._one_line(event, heading, kind) for event in events]

    def _kind(self, events: list[ClockEvent]) -> str:
        """Give the kind of place of most; a row says its own where it has another."""
        return Counter(self.places[one.turn.row["valve"]].kind for one in events).most_common(1)[0][0]

    def _one_line(self, event: ClockEvent, heading: Piece, kind: str) -> Piece:
        """Write an opening on one line; a name that does not fit goes above it, block and place below."""
        turn, sheet = event.turn, self.sheet
        valve, block = str(turn.row["valve"]), str(turn.row["block"] or "")
        above = self._long(valve, BIG - 1, NAME, bold=True)
        hidden = self._long(block, TYPE, BLOCK)
        own = self.places[turn.row["valve"]].kind
        below = hidden if own == kind else [*hidden, sheet.said(f"place.{own}")]
        remarks = self._remarks(event)
        high = ROW + LINE * (len(above) + len(below) + len(remarks))

        def draw(left: float, top: float) -> None:
            self._bracket(left, top, high)
            top = self._lines(left, top, above, bold=True)
            self._cells(event, left, top, valve="" if above else valve, block="" if hidden else block)
            top = self._lines(left + NAME, top + ROW - 0.5, below) + 0.5
            for line, text in enumerate(remarks):
                sheet.put(left, top + LINE * line, text, size=TYPE, bold=True, width=self.wide)
            self._rule(left, top + LINE * len(remarks), 0.1)

        return Piece(high, draw, under=heading)

    def _cells(self, event: ClockEvent, left: float, top: float, *, valve: str, block: str) -> None:
        """Write what stands on the line of an opening, from left to right."""
        sheet = self.sheet
        sheet.put(left, top, valve, size=BIG - 1, bold=True, width=NAME)
        sheet.put(left + NAME, top + 0.3, block, size=TYPE, width=BLOCK)
        x = left + NAME + BLOCK
        self._tick(x, top + 0.4)
        x += TICK
        self._dash(x, top + ROW - 0.6, REAL - 0.8)
        x += REAL
        sheet.put(x, top + 0.3, event.code, size=TYPE, bold=True, width=CODE)
        x += CODE
        sheet.put(x, top + 0.3, self.places[event.turn.row["valve"]].arrow, size=TYPE, width=ARROW)
        x += ARROW
        rest = left + self.wide - TROUBLE - x
        sheet.put(x, top + 0.3, self._amounts(event), size=TYPE, width=rest, align="R")
        self._number(left + self.wide - TROUBLE, top + 0.4, TROUBLE - 0.4)

    def _pairs(self, events: list[ClockEvent], heading: Piece) -> list[Piece]:
        return [self._pair(events[at : at + 2], heading) for at in range(0, len(events), 2)]

    def _pair(self, events: list[ClockEvent], heading: Piece) -> Piece:
        """Write two closings on a line, their boxes in columns."""
        above = [line for one in events for line in self._long_closing(one, HALF_NAME)]
        high = ROW + LINE * len(above)

        def draw(left: float, top: float) -> None:
            self._bracket(left, top, high)
            for place, one in enumerate(events):
                self._half(one, left + self.wide / 2 * place, top)
            self._lines(left, top + ROW - 0.5, above, bold=True)
            self._rule(left, top + high, 0.1)

        return Piece(high, draw, under=heading)

    def _half(self, event: ClockEvent, left: float, top: float) -> None:
        sheet, end = self.sheet, left + self.wide / 2
        valve = str(event.turn.row["valve"])
        if self._long_closing(event, HALF_NAME):
            valve = valve[:SHORT] + "\N{HORIZONTAL ELLIPSIS}"
        sheet.put(left, top, valve, size=BIG - 1, bold=True, width=HALF_NAME)
        self._tick(left + HALF_NAME, top + 0.4)
        code = end - HALF_TROUBLE - CODE + 0.3
        start = left + HALF_NAME + TICK
        self._dash(start, top + ROW - 0.6, code - start - 0.3)
        sheet.put(code, top + 0.3, event.code, size=TYPE, bold=True, width=CODE - 0.3)
        self._number(end - HALF_TROUBLE, top + 0.4, HALF_TROUBLE - 0.8)

    def _bracket(self, left: float, top: float, high: float) -> None:
        """Bind a row to the heading above it."""
        self.sheet.set_line_width(BRACKET)
        self.sheet.line(left, top, left, top + high)
