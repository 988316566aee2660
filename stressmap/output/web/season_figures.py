"""Pictures of a season: what is due, what water did, the course of crops and blocks; small, as SVG."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import pandas as pd
import shapely
from markupsafe import Markup
from matplotlib.figure import Figure

from stressmap.core.arrays import Floats
from stressmap.output.view.fonts import drawable
from stressmap.output.view.season_cells import day_of
from stressmap.output.view.vector_picture import INK, LINE, svg
from stressmap.output.web.course_frames import (
    GRID,
    HIGH,
    UNITS,
    WIDE,
    CourseFrames,
    SharedAxes,
    marked_days,
    signed_tick,
    slim,
)
from stressmap.output.web.season_courses import BlockCourse, Sets
from stressmap.output.web.spoken import Spoken, parted

THINNED_UNITS = 1.0
"""Points this near to the line of a course are left out: a quarter of a point, finer than its stroke."""


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
        axes.grid(axis="x", color=GRID, lw=0.6)
        axes.set_axisbelow(True)
        ticks(axes)

    return SteppedPicture(parted(slim(svg(name, (WIDE, high), paint)), spoken))


def dates(axes: Any, first: dt.date, last: dt.date, spoken: Spoken) -> None:
    """Put days under an axis whose numbers are ordinals."""
    marks = marked_days(first, last)
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
        axes.xaxis.set_major_formatter(signed_tick)

    return ranges("relief", labels, table[columns].astype(float).to_numpy(), spoken, ticks)


def course(blocks: Sequence[BlockCourse], sets: Sets, frames: CourseFrames) -> SteppedPicture:
    """Draw the course of a block, or of all blocks of a crop, with irrigations below.

    Parameters
    ----------
    blocks : sequence of BlockCourse
        One, drawn with its range and its trees; or several of one crop, as lines.
    sets : Sets
        What ran by day.
    frames : CourseFrames
        Axes of the page.

    Returns
    -------
    SteppedPicture
        With the place of each visit.
    """
    parts = _shapes(blocks)
    every = np.concatenate([shape.bar for shape in parts])
    known = every[np.isfinite(every)]
    frame = frames.of(float(known.min()), float(known.max())) if len(known) else frames.of(-1.0, 0.0)
    width, height = round(WIDE * 72 * UNITS), round(HIGH * 72 * UNITS)
    drawn = "".join(f'<path class="{shape.look}" d="{shape.path(frame)}"/>' for shape in parts)
    picture = (
        f'<svg class="course" viewBox="0 0 {width} {height}"><use href="#{frame.name}"/>'
        f"{_ran(sets, frame)}{drawn}{frames.labels(frame)}</svg>"
    )
    return SteppedPicture(
        Markup(picture), tuple(round(float(x) / width, 3) for x in frame.right(blocks[0].day))
    )


@dataclass(frozen=True)
class _Shape:
    """A line, dots or an outline on the axes of a course.

    Parameters
    ----------
    look : str
        Class of the page's styles.
    day, bar : array of float
        Its points; a line goes from each known one to the next.
    dots : bool
        Whether they are dots.
    """

    look: str
    day: Floats
    bar: Floats
    dots: bool = False

    def path(self, frame: SharedAxes) -> str:
        """Write it in whole units, each point by its step from the one before."""
        known = np.isfinite(self.bar)
        points = np.column_stack([frame.right(self.day[known]), frame.down(self.bar[known])])
        if not self.dots and len(points) > 2:
            points = shapely.get_coordinates(shapely.LineString(points).simplify(THINNED_UNITS))
        whole = np.rint(points).astype(np.int64)
        if not len(whole):
            return ""
        steps = np.diff(whole, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)).tolist()
        if self.dots:
            return "".join(f"m{_pair(*step)}h0" for step in steps)
        return f"m{_pair(*steps[0])}l" + " ".join(_pair(*step) for step in steps[1:] if step != [0, 0])


def _pair(right: int, down: int) -> str:
    return f"{right}{down}" if down < 0 else f"{right} {down}"


def _shapes(blocks: Sequence[BlockCourse]) -> list[_Shape]:
    """Give what is drawn, from the back to the front."""
    first, several = blocks[0], len(blocks) > 1
    parts = []
    if not several:
        outline = np.concatenate([first.daily_low, first.daily_high[::-1]])
        parts.append(_Shape("range", np.concatenate([first.daily_day, first.daily_day[::-1]]), outline))
    parts += [
        _Shape("line", first.day, first.baseline_bar), _Shape("target", first.day, first.target_bar),
    ]  # fmt: skip
    if not several:
        parts += [_Shape("again", *tree) for tree in first.trees]
        parts += [_Shape("trees", *tree, dots=True) for tree in first.trees]
    for one in blocks:
        parts.append(_Shape("mean thin" if several else "mean", one.daily_day, one.daily_bar))
        parts.append(_Shape("dots thin" if several else "dots", one.day, one.swp_bar, dots=True))
    return parts


def _ran(sets: Sets, frame: SharedAxes) -> str:
    """Draw the irrigations as bars from their foot."""
    if not len(sets.day):
        return ""
    foot, room = frame.water
    places = np.rint(frame.right(sets.day)).astype(np.int64)
    heights = np.rint(room * sets.mm / max(1.0, 1.05 * float(sets.mm.max()))).astype(np.int64)
    ran = "".join(
        f"M{place} {round(foot)}v-{height}"
        for place, height in zip(places.tolist(), heights.tolist(), strict=True)
        if height
    )
    return f'<path class="ran" stroke-width="{max(frame.at_day[1], 4.0):.1f}" d="{ran}"/>'
