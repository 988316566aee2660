"""A small picture of each change of priority: before and now with their intervals against the edges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup, escape

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import priority_words
from stressmap.output.view.palette import PRIORITY, ink_on
from stressmap.output.view.priority_moves import PriorityMove, Standing

WIDTH, HEIGHT, LEFT, RIGHT = 320, 84, 62, 312
ROWS = {"before": 16, "now": 40}
STRIP, STRIP_HIGH, LABEL_ROOM = 58, 20, 22
INK, QUIET = "#14181c", "#6a727a"
BEYOND_BAR = 1.0
"""Drawn past the outer edges at least."""
NAMED = 4


@dataclass(frozen=True)
class MovePicture:
    """A picture and what stands under it.

    Parameters
    ----------
    drawing : Markup
        An SVG element.
    name, place, said : str
        The valve or valves, their block, and the change in words.
    """

    drawing: Markup
    name: str
    place: str
    said: str


def move_pictures(moves: Sequence[PriorityMove], content: Content, words: Words) -> list[MovePicture]:
    """Draw changes of priority.

    Parameters
    ----------
    moves : sequence of PriorityMove
        In their order.
    content : Content
        The finished run: its visits.
    words : Words
        The language.

    Returns
    -------
    list of MovePicture
    """
    days = {"now": words.day(content.visit[1])}
    if content.previous_visit is not None:
        days["before"] = words.day(content.previous_visit)
    return [_picture(move, days, words) for move in moves]


def move_line(move: PriorityMove, words: Words) -> str:
    """Say a change of priority: ``"P4 to P2: 0.3 to 2.4 bar (1.1 to 3.7)"``.

    Parameters
    ----------
    move : PriorityMove
        The change.
    words : Words
        The language.

    Returns
    -------
    str
    """
    short = [words("priority.short", number=one.priority) for one in (move.before, move.now)]
    mean, then = words.number(move.now.mean), words.number(move.before.mean)
    low, high = words.number(move.now.low), words.number(move.now.high)
    said = words(
        "moves.line", before=short[0], now=short[1], then=then, mean=mean, low=low, high=high
    )  # fmt: skip
    return f"{said}. {words('past.heading')}" if move.past_limit else said


def move_name(move: PriorityMove, words: Words) -> str:
    """Name the valve zones of a change.

    Parameters
    ----------
    move : PriorityMove
        The change.
    words : Words
        The language.

    Returns
    -------
    str
    """
    named, more = ", ".join(move.valves[:NAMED]), len(move.valves) - NAMED
    return words("past.more", valves=named, count=more) if more > 0 else named


def _picture(move: PriorityMove, days: dict[str, str], words: Words) -> MovePicture:
    said, name = move_line(move, words), move_name(move, words)
    place = _Axis.of(move)
    marks = [
        *_strip(move, place, words),
        f'<path d="M{place(move.before.mean):.1f} {ROWS["before"]}L{place(move.now.mean):.1f} {ROWS["now"]}"'
        f' stroke="{QUIET}" stroke-dasharray="2 3"/>',
        *_standing(move.before, ROWS["before"], place, days["before"], QUIET, "#fff"),
        *_standing(move.now, ROWS["now"], place, days["now"], INK, INK),
    ]
    drawing = (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(f"{name}: {said}")}"'
        f' font-size="12" fill="none">{"".join(marks)}</svg>'
    )
    return MovePicture(Markup(drawing), name, words("list.block", block=move.block), said)


@dataclass(frozen=True)
class _Axis:
    """Where a figure [bar] stands from left to right, the drier the further right."""

    low: float
    high: float

    @classmethod
    def of(cls, move: PriorityMove) -> _Axis:
        ends = (move.before, move.now)
        low = min(move.edges[0] - BEYOND_BAR, *(one.low for one in ends))
        return cls(low, max(move.edges[2] + BEYOND_BAR, *(one.high for one in ends)))

    def __call__(self, bar: float) -> float:
        return LEFT + (RIGHT - LEFT) * (bar - self.low) / (self.high - self.low)


def _strip(move: PriorityMove, place: _Axis, words: Words) -> list[str]:
    """Draw the priorities from wet to dry, with lines up from their edges."""
    ends = [float(LEFT), *(place(edge) for edge in move.edges), float(RIGHT)]
    marks = []
    for number, left, right in zip((4, 3, 2, 1), ends, ends[1:], strict=False):
        fill, short = PRIORITY[number], words("priority.short", number=number)
        marks.append(
            f'<rect x="{left:.1f}" y="{STRIP}" width="{right - left:.1f}" height="{STRIP_HIGH}"'
            f' fill="{fill}" stroke="{INK}" stroke-width=".5"/>'
        )
        if right - left >= LABEL_ROOM:
            marks.append(
                f'<text x="{(left + right) / 2:.1f}" y="{STRIP + 14}" text-anchor="middle"'
                f' fill="{ink_on(fill)}">{short}</text>'
            )
    lines = "".join(f"M{x:.1f} 4V{STRIP}" for x in ends[1:4])
    return [*marks, f'<path d="{lines}" stroke="{INK}" stroke-width=".5" stroke-dasharray="3 3"/>']


def _standing(one: Standing, y: int, place: _Axis, day: str, ink: str, fill: str) -> list[str]:
    return [
        f'<text x="2" y="{y + 4}" fill="{INK}">{escape(day)}</text>',
        f'<path d="M{place(one.low):.1f} {y}H{place(one.high):.1f}" stroke="{ink}" stroke-width="3"/>',
        f'<circle cx="{place(one.mean):.1f}" cy="{y}" r="5" fill="{fill}" stroke="{ink}" stroke-width="2"/>',
    ]


def moves_text(moves: Sequence[PriorityMove], words: Words) -> str:
    """Say how many valves changed their priority, and which way.

    Parameters
    ----------
    moves : sequence of PriorityMove
        Of single valve zones.
    words : Words
        The language.

    Returns
    -------
    str
    """
    worse = sum(move.worse for move in moves)
    return words("moves.count", count=len(moves), worse=worse, better=len(moves) - worse)


def priority_legend(words: Words) -> str:
    """Name the four priorities in the order of the strip.

    Parameters
    ----------
    words : Words
        The language.

    Returns
    -------
    str
    """
    return ", ".join(priority_words(number, words) for number in (4, 3, 2, 1))
