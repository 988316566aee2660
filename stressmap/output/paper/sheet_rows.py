"""The rows of the crew sheet: valves to open and to close by the clock, or, without a plan, by rank."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import box

from stressmap.output.paper.sheet_columns import Piece, column_width
from stressmap.output.paper.sheet_map import double_frame, fill
from stressmap.output.paper.sheet_type import NARROW, CrewSheet
from stressmap.output.view.clock_events import ClockEvent, PumpDay, day_words
from stressmap.output.view.closed_valves import LOOK
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.quantities import duration, known
from stressmap.output.view.since_water import since_water
from stressmap.output.view.where_to_open import OpeningPlace

TYPE = 9.0
"""Smallest type of what is read in the sun [points]."""
BIG = 12.0
"""Type of valves and times [points]."""
LINE = 4.1
"""Height of a line [mm]."""
HEAD, OPEN, CLOSE, LISTED = 5.8, 8.1, 4.6, 5.4
BLANK, REMARK = 12.6, 3.8
"""Heights [mm]: heading, opening, closing, a valve that is listed, one with lines to write on, a remark."""
TIME, WORD, NAME, TICK, REAL, TROUBLE = 14.0, 15.0, 25.0, 6.0, 14.5, 19.2
"""Widths [mm]: time or code, open or close, the valve's name, its box, the line for the time, troubles."""
CODE, PLACE, CLOSE_WORD = 13.5, 22.0, 7.4
"""Widths [mm] of a set's code, of where, and what the word for closing takes more than that for opening."""
BOX = 3.9
"""Height of a box to tick [mm]."""
SHORT = 8
"""Characters kept of a name told in full below."""
TROUBLES = ("no_pressure", "blocked", "leak", "other", "stays_open")
"""In the order of their numbers; the last is one of closings."""
OF_OPENINGS = 4
"""So many of them have a box each beside an opening."""


@dataclass(frozen=True)
class RowWriter:
    """Makes the rows of a sheet.

    Parameters
    ----------
    sheet : CrewSheet
        To write on.
    places : dict of str to OpeningPlace
        Where each valve is opened.
    """

    sheet: CrewSheet
    places: dict[str, OpeningPlace]

    @property
    def wide(self) -> float:
        """Width of a row [mm]."""
        return column_width(self.sheet)

    def day(self, one: PumpDay) -> Piece:
        """Head the events of a pump on a day."""
        days = " / ".join(dict.fromkeys(day_words(one.day, words) for words in self.sheet.words))
        return self.heading(f"{one.pump} · {days}" if one.pump else days)

    def heading(self, said: str, key: str = "") -> Piece:
        """Head rows: white on black, with a text below in every language."""
        below = list(dict.fromkeys(words(key) for words in self.sheet.words)) if key else []

        def draw(left: float, top: float) -> None:
            sheet = self.sheet
            sheet.set_fill_color(20)
            sheet.rect(left, top + 0.7, self.wide, HEAD - 1.2, style="F")
            sheet.set_text_color(255)
            sheet.put(left, top + 1.0, said, size=11, bold=True, width=self.wide)
            sheet.set_text_color(0)
            for place, text in enumerate(below):
                at = top + HEAD - 0.4 + LINE * place
                sheet.put(left, at, text, size=TYPE, width=self.wide, align="R")

        return Piece(HEAD + LINE * len(below), draw, heads=True)

    def events(self, events: list[ClockEvent]) -> list[Piece]:
        """Write openings and closings in their order, each with its hour and what to do."""
        return [self._opening(one) if one.opens else self._closing(one) for one in events]

    def _closing(self, event: ClockEvent) -> Piece:
        """Write a closing; its box and its line stand below those of the openings."""
        first = self.wide - TROUBLE - REAL - TICK
        name = first - TIME - WORD - CLOSE_WORD
        valve = str(event.turn.row["valve"])
        above = self._long_closing(event, name)

        def draw(left: float, top: float) -> None:
            sheet, x = self.sheet, left + TIME + WORD + CLOSE_WORD
            shown = valve[:SHORT] + "\N{HORIZONTAL ELLIPSIS}" if above else valve
            sheet.put(left, top + 0.2, f"{event.when:%H:%M}", size=BIG - 1, bold=True, width=TIME)
            word = sheet.said("sheet.close").upper()
            sheet.put(left + TIME - 1.2, top + 0.5, word, size=TYPE, width=WORD + CLOSE_WORD + 1.2)
            sheet.put(x, top + 0.2, shown, size=BIG - 1, bold=True, width=name)
            self._tick(left + first, top + 0.5)
            self._real(left + first + TICK, top + CLOSE - 0.6)
            sheet.put(left + first + TICK + REAL - 1, top + 0.5, event.code, size=TYPE, bold=True, width=CODE)
            self._number(left + self.wide - TROUBLE + CODE - 0.6, top + 0.5, TROUBLE - CODE + 0.4)
            self._lines(left + TIME, top + CLOSE, above)
            self._rule(left, top + CLOSE + LINE * len(above), 0.1)

        return Piece(CLOSE + LINE * len(above), draw)

    def _long_closing(self, event: ClockEvent, width: float) -> list[str]:
        """Say in full the name of a valve that its place would make too small."""
        name = str(event.turn.row["valve"])
        return self._long(name, BIG - 1, width, bold=True)

    def _opening(self, event: ClockEvent) -> Piece:
        turn = event.turn
        above = self._long(str(turn.row["valve"]), BIG, NAME, bold=True)
        block = str(turn.row["block"] or "")
        beyond = self._long(block, TYPE, NAME - 6)
        remarks = self._remarks(event)

        def draw(left: float, top: float) -> None:
            sheet, inner = self.sheet, left + TIME + WORD
            top = self._lines(inner, top, above, bold=True)
            sheet.put(left, top + 0.2, f"{event.when:%H:%M}", size=BIG, bold=True, width=TIME)
            sheet.put(left, top + LINE + 0.5, event.code, size=TYPE, bold=True, width=TIME)
            self._word(left + TIME, top)
            if not above:
                sheet.put(inner, top + 0.2, turn.row["valve"], size=BIG, bold=True, width=NAME)
            self._right(left, top)
            if not beyond:
                sheet.put(inner, top + LINE + 0.5, block, size=TYPE, width=NAME - 6)
            where = self._where(turn)
            place = min(PLACE, sheet.least_width(where, TYPE))
            sheet.put(inner + NAME - 6, top + LINE + 0.5, where, size=TYPE, width=place)
            rest = self.wide - TIME - WORD - NAME + 6 - place
            amounts = self._amounts(event)
            sheet.put(left + self.wide - rest, top + LINE + 0.5, amounts, size=TYPE, width=rest, align="R")
            top = self._lines(inner, top + OPEN - 0.4, beyond)
            for line, text in enumerate(remarks):
                sheet.put(left, top + 0.5 + REMARK * line, text, size=TYPE, bold=True, width=self.wide)
            self._rule(left, top + 0.4 + REMARK * len(remarks), 0.1)

        return Piece(OPEN + LINE * (len(above) + len(beyond)) + REMARK * len(remarks), draw)

    def blank(self, turn: Turn) -> Piece:
        """Write a valve with lines for hours and times, for a ranch without a plan."""
        block = str(turn.row["block"] or "")
        above = self._long(str(turn.row["valve"]), BIG, 30.0, bold=True)
        beyond = self._long(block, TYPE, 20.0)

        def draw(left: float, top: float) -> None:
            sheet, inner = self.sheet, left + TIME
            top = self._lines(inner, top, above, bold=True)
            self._rank(left, top, turn)
            if not above:
                sheet.put(inner, top + 0.3, turn.row["valve"], size=BIG, bold=True, width=30)
            self._right(left, top, since=since_water(turn, sheet.content, sheet.words[0]))
            y = top + LINE + 0.6
            if not beyond:
                sheet.put(inner, y, block, size=TYPE, width=20)
            sheet.put(inner + 20, y, self._where(turn), size=TYPE, width=PLACE)
            self._hours(inner + 20 + PLACE, y, turn)
            self._times(inner, y + LINE)
            self._lines(inner, y + 2 * LINE, beyond)
            self._rule(left, top + BLANK + LINE * len(beyond), 0.2)

        return Piece(BLANK + LINE * (len(above) + len(beyond)), draw)

    def listed(self, turn: Turn) -> Piece:
        """Name a valve on one line."""
        sheet = self.sheet
        name, block = str(turn.row["valve"]), str(turn.row["block"] or "")
        above = self._long(name, TYPE + 1, 30.0, bold=True) + self._long(block, TYPE, 30.0)

        def draw(left: float, top: float) -> None:
            short = "?" if turn.priority is None else sheet.words[0]("priority.short", number=turn.priority)
            sheet.put(left, top + 0.4, turn.rank, size=TYPE + 1, bold=True, width=11, align="R")
            sheet.put(left + 11, top + 0.6, short, size=TYPE, width=8)
            end = self._lines(left + 19, top, above)
            if not above:
                sheet.put(left + 19, top + 0.4, name, size=TYPE + 1, bold=True, width=30)
                sheet.put(left + 49, top + 0.6, block, size=TYPE, width=30)
                sheet.put(
                    left + 79,
                    top + 0.6,
                    since_water(turn, sheet.content, sheet.words[0]),
                    size=TYPE,
                    width=self.wide - 79,
                )
            self._rule(left, end + LISTED, 0.1)

        return Piece(LISTED + LINE * len(above), draw)

    def _right(self, left: float, top: float, since: str = "") -> None:
        """Draw what is filled in: a box to tick, a line for the real time, the boxes of troubles."""
        at = left + self.wide - TROUBLE
        self._tick(at - REAL - TICK, top + 0.3)
        if since:
            self.sheet.put(at - REAL, top + 0.6, since, size=TYPE, width=REAL)
        else:
            self._real(at - REAL, top + LINE + 0.2)
        self.sheet.set_line_width(0.25)
        for place in range(OF_OPENINGS):
            x = at + 0.4 + 4.7 * place
            self.sheet.rect(x, top + 0.3, 4.3, BOX)
            self.sheet.set_text_color(90)
            self.sheet.put(x, top + 0.3, place + 1, size=TYPE, width=4.3, align="C")
            self.sheet.set_text_color(0)

    def _word(self, left: float, top: float) -> None:
        """Say open, in every language, white on black."""
        sheet = self.sheet
        said = list(dict.fromkeys(words("sheet.open").upper() for words in sheet.words))
        sheet.set_fill_color(20)
        sheet.rect(left, top + 0.4, WORD - 1, OPEN - 0.9, style="F")
        sheet.set_text_color(255)
        first = top + 0.4 + (OPEN - 0.9 - 3.7 * len(said)) / 2
        for line, text in enumerate(said):
            sheet.put(left, first + 3.7 * line, text, size=TYPE, bold=True, width=WORD - 1, align="C")
        sheet.set_text_color(0)

    def _where(self, turn: Turn) -> str:
        place = self.places[turn.row["valve"]]
        return f"{place.arrow} {self.sheet.said(f'place.{place.kind}').replace(' / ', '/')}"

    def _amounts(self, event: ClockEvent) -> str:
        words = self.sheet.words[0]
        told = [("mm", "depth"), ("flow_m3_h", "flow")]
        return " · ".join(known(event.row[name], kind, words) for name, kind in told if event.row.get(name))  # type: ignore[arg-type]

    def _remarks(self, event: ClockEvent) -> list[str]:
        """Say what is special of an opening: to look at, pulses, when the next water is due."""
        said = []
        if event.turn.look_first:
            reasons = event.turn.look_why if event.first else ("again",)
            said += [f"{LOOK} {words.known('look', why)}" for words in self.sheet.words for why in reasons]
        if event.pulse:
            on, off = event.pulse
            said += [words("sheet.pulse", on=on, off=off) for words in self.sheet.words]
        return [
            line
            for text in dict.fromkeys(said)
            for line in self.sheet.broken(text, TYPE, self.wide / NARROW - 2.0, bold=True)
        ]

    def _hours(self, left: float, top: float, turn: Turn) -> None:
        room = self.wide - TIME - 20 - PLACE
        if turn.hours is not None:
            said = duration(turn.hours, self.sheet.words[0])
            self.sheet.put(left, top - 0.3, said, size=11, bold=True, width=room, align="R")
            return
        self.sheet.put(left, top, self.sheet.said("sheet.hours"), size=TYPE, width=20)
        self._dash(left + 20, top + LINE - 0.4, room - 21)

    def _times(self, left: float, top: float) -> None:
        half = (self.wide - TIME) / 2
        for place, key in enumerate(("open", "close")):
            x = left + half * place
            self.sheet.put(x, top, self.sheet.said(f"sheet.{key}"), size=TYPE, width=25)
            self._dash(x + 25, top + LINE - 0.3, half - 26)

    def _rank(self, left: float, top: float, turn: Turn) -> None:
        sheet, inset = self.sheet, 1.3 if turn.past_limit else 0.0
        frame = (left + 0.5 + inset, top + 0.8 + inset, TIME - 2 - 2 * inset, BLANK - 1.8 - 2 * inset)
        sheet.set_line_width(0.4)
        band = (frame[0], top + BLANK - 6.2, frame[2], 5.2 - inset)
        fill(sheet, box(band[0], band[1], band[0] + band[2], band[1] + band[3]), turn.priority)
        sheet.rect(*frame)
        if turn.past_limit:
            double_frame(sheet, frame)
        sheet.put(frame[0], top + 1.6, turn.rank, size=BIG, bold=True, width=frame[2], align="C")
        short = "?" if turn.priority is None else sheet.words[0]("priority.short", number=turn.priority)
        sheet.set_fill_color(255)
        sheet.rect(frame[0] + frame[2] / 2 - 3.2, top + BLANK - 5.6, 6.4, 3.9 - inset / 2, style="F")
        sheet.put(frame[0], top + BLANK - 5.8, short, size=TYPE, bold=True, width=frame[2], align="C")

    def _long(self, text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
        """Break a name that does not fit its place into lines of its own; none where it fits."""
        if self.sheet.least_width(text, size, bold=bold) <= width:
            return []
        return self.sheet.broken(text, TYPE, self.wide - TIME - WORD, bold=bold)

    def _lines(self, left: float, top: float, lines: list[str], *, bold: bool = False) -> float:
        """Write lines below each other; return where the next would be [mm]."""
        for line in lines:
            self.sheet.put(left, top + 0.5, line, size=TYPE, bold=bold, width=self.wide - TIME - WORD)
            top += LINE
        return top

    def _tick(self, left: float, top: float) -> None:
        self.sheet.set_line_width(0.5)
        self.sheet.rect(left + 0.6, top, BOX, BOX)

    def _real(self, left: float, y: float) -> None:
        self._dash(left + 0.5, y, REAL - 1.5)

    def _number(self, left: float, top: float, width: float) -> None:
        """Draw the box for the number of a trouble."""
        self.sheet.set_line_width(0.25)
        self.sheet.rect(left, top, width, BOX)

    def _dash(self, left: float, y: float, width: float) -> None:
        self.sheet.set_line_width(0.25)
        self.sheet.line(left, y, left + width, y)

    def _rule(self, left: float, y: float, thick: float) -> None:
        self.sheet.set_line_width(thick)
        self.sheet.set_draw_color(120)
        self.sheet.line(left, y, left + self.wide, y)
        self.sheet.set_draw_color(0)
