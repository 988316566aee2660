"""Axes for the pictures of courses: drawn by matplotlib once for all blocks of one scale, then shared."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import dataclass, field
from functools import partial
from typing import Any

from markupsafe import Markup
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from stressmap.output.view.season_cells import day_of
from stressmap.output.view.vector_picture import svg
from stressmap.output.web.spoken import Spoken, parted

WIDE, HIGH = 5.6, 3.7
LEFT, RIGHT = 0.085, 0.985
UNITS = 4
"""Units of a picture in a point: whole ones are fine enough, and short to write."""
STEP_BAR = 4
"""Scales begin and end at multiples of it, so that blocks share them and can be compared."""
GRID = "#c3cbd2"
MOST_TICKS = 7


def slim(picture: str) -> str:
    """Round coordinates to a hundredth of a point and leave out what a page does not need.

    Examples
    --------
    >>> slim('<!-- a --><path d="M 12.345678 0.000001"/>')
    '<path d="M 12.35 0"/>'
    """
    without = re.sub(r"<!--.*?-->", "", picture, flags=re.DOTALL)
    rounded = re.sub(r"\d+\.\d{3,}", lambda found: f"{round(float(found[0]), 2):g}", without)
    return re.sub(r">\s+<", "><", rounded)


def marked_days(first: dt.date, last: dt.date) -> list[dt.date]:
    """Choose the days that stand below an axis.

    Examples
    --------
    >>> [day.day for day in marked_days(dt.date(2026, 7, 1), dt.date(2026, 7, 20))]
    [1, 8, 15]
    """
    span = max((last - first).days, 1)
    step = next(days for days in (1, 2, 7, 14, 28, 56, 112, 224, span) if span / days <= MOST_TICKS)
    return [first + dt.timedelta(days=days) for days in range(0, span + 1, step)]


def signed_tick(value: float, _: object) -> str:
    r"""Write a tick with a true minus sign.

    Examples
    --------
    >>> ascii(signed_tick(-2.5, None))
    "'\\u22122.5'"
    """
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")


@dataclass(frozen=True)
class SharedAxes:
    """Axes of a picture, in its units: right and down.

    Parameters
    ----------
    name : str
        By which pictures use it.
    picture : Markup
        Its element.
    at_day, at_bar : tuple of float
        Place of day 0 and of 0 bar, and what a day and a bar add to it.
    water : tuple of float
        Foot of the irrigations, and how high the deepest may be.
    """

    name: str
    picture: Markup
    at_day: tuple[float, float]
    at_bar: tuple[float, float]
    water: tuple[float, float]

    def right(self, day: Any) -> Any:
        """Give the place of days."""
        return self.at_day[0] + self.at_day[1] * day

    def down(self, bar: Any) -> Any:
        """Give the place of potentials."""
        return self.at_bar[0] + self.at_bar[1] * bar


@dataclass
class CourseFrames:
    """Gives each picture of a page its axes, those of one scale once.

    Parameters
    ----------
    span : tuple of float
        First and last day of all pictures, ordinals.
    spoken : Spoken
        Languages of the days.
    """

    span: tuple[float, float]
    spoken: Spoken
    made: dict[tuple[int, int], SharedAxes] = field(default_factory=dict)

    def of(self, low_bar: float, high_bar: float) -> SharedAxes:
        """Give the axes on which all between two potentials has room."""
        low = STEP_BAR * math.floor(low_bar / STEP_BAR)
        high = max(STEP_BAR * math.ceil(high_bar / STEP_BAR), low + STEP_BAR)
        if (low, high) not in self.made:
            self.made[low, high] = self._draw(f"frame-{len(self.made) + 1}", low, high)
        return self.made[low, high]

    def days(self) -> list[dt.date]:
        """Give the days that stand below."""
        first, last = (dt.date.fromordinal(int(day)) for day in self.span)
        return marked_days(first, last)

    def labels(self, frame: SharedAxes) -> Markup:
        """Write the days below a picture: texts, so that each follows the page's language."""
        foot = round(frame.water[0] + 17 * UNITS)
        texts = (
            f'<text x="{round(frame.right(day.toordinal()))}" y="{foot}">'
            f"{self.spoken.drawn(partial(day_of, day))}</text>"
            for day in self.days()
        )
        return parted("".join(texts), self.spoken)

    def shared(self) -> Markup:
        """Give the element that holds all axes; pictures before and after it may use them."""
        parts = Markup("").join(frame.picture for frame in self.made.values())
        return Markup('<svg class="unseen" aria-hidden="true"><defs>{}</defs></svg>').format(parts)

    def _draw(self, name: str, low: int, high: int) -> SharedAxes:
        placed: dict[str, tuple[float, float]] = {}
        marks = [day.toordinal() for day in self.days()]

        def paint(figure: Figure) -> None:
            figure.set_layout_engine("none")
            upper = figure.add_axes((LEFT, 0.34, RIGHT - LEFT, 0.59))
            lower = figure.add_axes((LEFT, 0.1, RIGHT - LEFT, 0.17))
            for axes in (upper, lower):
                axes.set_xticks(marks, [])
                axes.set_xlim(self.span[0] - 0.5, self.span[1] + 0.5)
            lower.set_yticks([])
            lower.set_ylim(0.0, 1.0)
            upper.set_ylim(low, high)
            upper.set_title("bar", loc="left", fontsize=11)
            upper.yaxis.set_major_locator(MaxNLocator(6, integer=True, steps=[1, 2, 5, 10]))
            upper.yaxis.set_major_formatter(signed_tick)
            upper.grid(axis="y", color=GRID, lw=0.6)
            upper.set_axisbelow(True)
            placed["origin"], placed["end"] = _ends(figure, upper, self.span, (low, high))
            placed["foot"], placed["top"] = _ends(figure, lower, self.span, (0.0, 1.0))

        whole = slim(svg(name, (WIDE, HIGH), paint))
        (left, bottom), (right, top) = placed["origin"], placed["end"]
        day, bar = (right - left) / (self.span[1] - self.span[0]), (top - bottom) / (high - low)
        foot = placed["foot"][1]
        return SharedAxes(
            name, _group(name, whole), (left - day * self.span[0], day), (bottom - bar * low, bar),
            (foot, foot - placed["top"][1]),
        )  # fmt: skip


def _ends(
    figure: Figure, axes: Any, span: tuple[float, float], height: tuple[float, float]
) -> list[tuple[float, float]]:
    """Give where two corners of axes lie, in units from the left and from above."""
    spots = axes.transData.transform(list(zip(span, height, strict=True)))
    scale, whole = WIDE * 72 * UNITS / figure.bbox.width, HIGH * 72 * UNITS
    return [(float(x) * scale, whole - float(y) * scale) for x, y in spots]


def _group(name: str, picture: str) -> Markup:
    """Turn a picture into an element that others use, in their units."""
    inner = picture[picture.index(">") + 1 : picture.rindex("</svg>")]
    inner = re.sub(r"<style.*?</style>", "", inner, flags=re.DOTALL)
    return Markup(f'<g id="{name}" transform="scale({UNITS})">{inner}</g>')
