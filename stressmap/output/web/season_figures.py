"""Pictures of a season: what is due, what water did, the course of crops and blocks; small, as SVG."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
from markupsafe import Markup
from matplotlib.figure import Figure

from stressmap.core.arrays import Floats
from stressmap.output.view.fonts import drawable
from stressmap.output.view.season_cells import day_of
from stressmap.output.view.vector_picture import INK, LINE, SOFT, svg
from stressmap.output.web.season_courses import BlockCourse, Sets
from stressmap.output.web.spoken import Spoken, parted

WIDE, HIGH = 5.6, 3.7
LEFT, RIGHT = 0.085, 0.985
FILL, TEAL, WATER = "#c3cbd2", "#2c6f77", "#5b9cc4"
MOST_TICKS = 7


@dataclass(frozen=True)
class SteppedPicture:
    """A picture and where the rows of the table below it lie on it.

    Parameters
    ----------
    svg : Markup
        The picture.
    at : tuple of float
        For each row of the table, how far right it lies, of the picture's width; empty where that says
        nothing.
    """

    svg: Markup
    at: tuple[float, ...] = ()


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


def ranges(
    name: str, labels: Sequence[str], low_mid_high: Floats, spoken: Spoken, ticks: Callable[[Any], None]
) -> SteppedPicture:
    """Draw ranges one below the other, the first on top.

    Parameters
    ----------
    name : str
        Of the picture.
    labels : sequence of str, length n
        Beside each range.
    low_mid_high : array, shape (n, 3)
        Ends and middle; NaN is not drawn.
    spoken : Spoken
        Languages of the labels.
    ticks : callable
        Settles the axis.

    Returns
    -------
    SteppedPicture
    """
    high = 0.9 + 0.27 * len(labels)
    rows = np.arange(len(labels))[::-1]

    def paint(figure: Figure) -> None:
        figure.set_layout_engine("none")
        axes = figure.add_axes((0.34, 0.34 / high, 0.6, 1 - 0.66 / high))
        axes.spines["left"].set_visible(False)
        axes.hlines(rows, low_mid_high[:, 0], low_mid_high[:, 2], color=INK, lw=2.4)
        axes.plot(low_mid_high[:, 1], rows, "o", color=INK, ms=6, ls="none")
        axes.set_yticks(rows, [drawable(label) for label in labels])
        axes.set_ylim(-0.6, len(labels) - 0.4)
        axes.tick_params(axis="y", length=0)
        axes.grid(axis="x", color=FILL, lw=0.6)
        axes.set_axisbelow(True)
        ticks(axes)

    return SteppedPicture(parted(slim(svg(name, (WIDE, high), paint)), spoken))


def dates(axes: Any, first: dt.date, last: dt.date, spoken: Spoken) -> None:
    """Put days under an axis whose numbers are ordinals."""
    span = max((last - first).days, 1)
    step = next(days for days in (1, 2, 7, 14, 28, 56, 112, 224) if span / days <= MOST_TICKS)
    marks = [first + dt.timedelta(days=days) for days in range(0, span + 1, step)]
    axes.set_xticks(
        [day.toordinal() for day in marks],
        [spoken.drawn(partial(day_of, day)) for day in marks],
    )
    axes.set_xlim(first.toordinal() - 0.5, last.toordinal() + 0.5)


def due_ranges(due: pd.DataFrame, today: dt.date, spoken: Spoken) -> SteppedPicture:
    """Draw when valves are due, those that are on three weeks' paper."""
    days = due[["days_left_low", "days_left", "days_left_high"]].astype(float).to_numpy()
    open_end = np.flatnonzero(np.isnan(days[:, 2]))
    days = np.column_stack([days[:, 0], days[:, 1], np.where(np.isnan(days[:, 2]), 21.0, days[:, 2])])
    last = today + dt.timedelta(days=21)

    def ticks(axes: Any) -> None:
        dates(axes, today, last, spoken)
        axes.axvline(today.toordinal(), color=LINE, lw=1.5)
        ends = np.full(len(open_end), last.toordinal())
        axes.plot(ends, len(due) - 1 - open_end, ">", color=INK, ms=7, ls="none", clip_on=False)

    labels = [f"{valve}, {block}" for valve, block in zip(due["valve"], due["block"], strict=True)]
    return ranges("due", labels, days + today.toordinal(), spoken, ticks)


def relief_ranges(labels: Sequence[str], table: pd.DataFrame, spoken: Spoken) -> SteppedPicture:
    """Draw the relief that irrigations brought, kind by kind."""
    columns = ["relief_low_bar", "relief_bar", "relief_high_bar"]

    def ticks(axes: Any) -> None:
        axes.axvline(0.0, color=LINE, lw=1.5)
        axes.set_title("bar", loc="left", fontsize=11)
        axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", "\N{MINUS SIGN}"))

    return ranges("relief", labels, table[columns].astype(float).to_numpy(), spoken, ticks)


def course(name: str, blocks: Sequence[BlockCourse], sets: Sets, spoken: Spoken) -> SteppedPicture:
    """Draw the course of a block, or of all blocks of a crop, with irrigations below.

    Parameters
    ----------
    name : str
        Of the picture.
    blocks : sequence of BlockCourse
        One, drawn with its range and its trees; or several of one crop, as lines.
    sets : Sets
        What ran by day.
    spoken : Spoken
        Languages of the days.

    Returns
    -------
    SteppedPicture
        With the place of each visit.
    """
    place: list[float] = []

    def paint(figure: Figure) -> None:
        figure.set_layout_engine("none")
        upper = figure.add_axes((LEFT, 0.34, RIGHT - LEFT, 0.59))
        lower = figure.add_axes((LEFT, 0.1, RIGHT - LEFT, 0.17))
        _lines(upper, blocks)
        lower.bar(sets.day, sets.mm, width=1.0, color=WATER, lw=0)
        lower.set_yticks([])
        lower.set_ylim(0, max(1.0, 1.05 * float(sets.mm.max(initial=0.0))))
        first, last = (dt.date.fromordinal(int(day)) for day in sets.span)
        for axes in (upper, lower):
            dates(axes, first, last, spoken)
        upper.tick_params(labelbottom=False)
        upper.set_title("bar", loc="left", fontsize=11)
        upper.yaxis.set_major_formatter(lambda value, _: f"{value:g}".replace("-", "\N{MINUS SIGN}"))
        upper.grid(axis="y", color=FILL, lw=0.6)
        upper.set_axisbelow(True)
        spots = upper.transData.transform([(day, 0.0) for day in blocks[0].day])
        place.extend(round(float(x) / figure.bbox.width, 4) for x in spots[:, 0])

    return SteppedPicture(parted(slim(svg(name, (WIDE, HIGH), paint)), spoken), tuple(place))


def _lines(axes: Any, blocks: Sequence[BlockCourse]) -> None:
    several, first = len(blocks) > 1, blocks[0]
    axes.plot(first.day, first.baseline_bar, color=TEAL, lw=1.6, ls="--")
    axes.plot(first.day, first.target_bar, color=LINE, lw=2.0)
    if not several:
        for day, swp in first.trees:
            axes.plot(day, swp, color=SOFT, lw=0.7, marker="o", ms=2.2)
        axes.fill_between(first.daily_day, first.daily_low, first.daily_high, color=FILL, alpha=0.6, lw=0)
    for block in blocks:
        axes.plot(block.daily_day, block.daily_bar, color=INK, lw=0.9 if several else 1.6)
        axes.plot(block.day, block.swp_bar, "o", color=INK, ms=3.0 if several else 5.0, ls="none")
