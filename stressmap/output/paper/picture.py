"""``map.png``: the map at a glance, to send by message."""

from __future__ import annotations

from io import BytesIO
from itertools import product
from typing import Any

import numpy as np
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import PathCollection
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.path import Path as Outline
from matplotlib.patheffects import withStroke

from stressmap.output.paper.rank_labels import (
    LABEL_HEIGHT,
    NAME,
    NAME_HEIGHT,
    box_of,
    name_share,
    place_labels,
)
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import NO_RANK, Turn, priority_words, turns
from stressmap.output.view.fonts import drawable
from stressmap.output.view.layout import (
    Box,
    Frame,
    fit_frame,
    free_spot,
    rings,
    round_length,
)
from stressmap.output.view.palette import HATCH, NOT_MEASURED, PRIORITY, ink_on
from stressmap.output.view.quantities import quantity

WIDTH, HEIGHT = 1600, 1200
HEAD, FOOT, EDGE = 110, 220, 40
NORTH, BAR = 60, 220
"""Room for the arrow, and the longest scale bar."""
INK = "#14181c"
BLOCK, NAME_MARGIN = (13, 11), 8.0
"""Type of a block's name [points], and the room about it, its rim and the block's edge included [pixels]."""
HALO = [withStroke(linewidth=4, foreground="white")]
FIRST = 6


def picture_bytes(content: Content) -> bytes:
    """Draw the picture, 1600 by 1200 pixels.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    bytes
        A PNG; the same content gives the same.
    """
    figure = Figure(figsize=(WIDTH / 100, HEIGHT / 100), dpi=100, facecolor="white")
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set(xlim=(0, WIDTH), ylim=(HEIGHT, 0))
    axes.axis("off")
    words = [Words(language, content.ranch.units) for language in content.ranch.languages]
    order = turns(content)
    frame = fit_frame(
        tuple(content.blocks.total_bounds),
        (EDGE, HEAD + EDGE / 2, WIDTH - 2 * EDGE, HEIGHT - HEAD - FOOT - EDGE),
    )
    _zones(axes, order, frame)
    _blocks(axes, content, frame)
    _past_frames(axes, order, frame)
    _block_names(axes, content, frame, _ranks(axes, order, frame))
    _head(axes, content, words)
    _legend(axes, order, words)
    _warnings(axes, content, order, words)
    _scale(axes, frame, content.ranch.units == "us", words[0])
    drawn = BytesIO()
    figure.savefig(drawn, format="png", metadata={"Software": None})
    return drawn.getvalue()


def _colour(priority: int | None) -> str:
    return NOT_MEASURED if priority is None else PRIORITY[priority]


def _outline(geometry: Any, frame: Frame) -> Outline:
    loops = [Outline(frame.place(ring), closed=True) for part in rings(geometry) for ring in part]
    return Outline.make_compound_path(*loops)


def _zones(axes: Any, order: list[Turn], frame: Frame) -> None:
    for priority, hatch in HATCH.items():
        shapes = [_outline(turn.row["geometry"], frame) for turn in order if turn.priority == priority]
        fill = _colour(priority)
        faint = "#ffffff80" if ink_on(fill) == "#ffffff" else "#14181c59"
        look: dict[str, Any] = {"facecolor": fill, "hatch": hatch, "edgecolor": faint, "linewidth": 0}
        axes.add_collection(PathCollection(layers(shapes), **look, zorder=1))
        axes.add_collection(PathCollection(shapes, facecolor="none", edgecolor=INK, linewidth=1.2, zorder=2))


def _past_frames(axes: Any, order: list[Turn], frame: Frame) -> None:
    """Draw the outline of a zone past what its crop bears double and thick."""
    shapes = [_outline(turn.row["geometry"], frame) for turn in order if turn.past_limit]
    for width, colour in ((9.0, INK), (4.0, "white"), (1.2, INK)):
        axes.add_collection(
            PathCollection(shapes, facecolor="none", edgecolor=colour, linewidth=width, zorder=2.5)
        )


def layers(shapes: list[Any]) -> list[Any]:
    """Join shapes that share no pixel, since a hatch is made anew for every path drawn.

    Parameters
    ----------
    shapes : list of Path
        In pixels, in the order of drawing.

    Returns
    -------
    list of Path
        Fewer, which give the same pixels: a shape is drawn after those before it that it meets.
    """
    ends = [np.round([shape.vertices.min(axis=0) - 1, shape.vertices.max(axis=0) + 1]) for shape in shapes]
    boxes = shapely.box(*np.reshape(ends, (-1, 4)).T)
    meets = shapely.STRtree(boxes).query(boxes)
    depth = [0] * len(shapes)
    for later, earlier in sorted(meets[:, meets[0] > meets[1]].T.tolist()):
        depth[later] = max(depth[later], depth[earlier] + 1)
    found: dict[int, list[Any]] = {}
    for shape, level in zip(shapes, depth, strict=True):
        found.setdefault(level, []).append(shape)
    return [path for _, layer in sorted(found.items()) for path in _joined(layer)]


def _joined(shapes: list[Any]) -> list[Any]:
    """Join shapes, save those that are set to whole pixels because their sides are upright and level."""
    alone: list[Any] = []
    others: list[Any] = []
    for shape in shapes:
        sides = np.abs(np.diff(shape.vertices, axis=0))[shape.codes[1:] == Outline.LINETO]
        (alone if (sides < 1e-4).any(axis=1).all() else others).append(shape)
    return [*alone, Outline.make_compound_path(*others)] if others else alone


def _blocks(axes: Any, content: Content, frame: Frame) -> None:
    shapes = [_outline(shape, frame) for shape in content.blocks.geometry]
    line = 3.0 if len(shapes) < 80 else 1.6
    axes.add_collection(PathCollection(shapes, facecolor="none", edgecolor=INK, linewidth=line, zorder=3))


def _ranks(axes: Any, order: list[Turn], frame: Frame) -> list[Box]:
    """Write ranks inside their zones, or beside them with a line there; return where they stand."""
    area = (EDGE, HEAD + EDGE / 2, WIDTH - EDGE, HEIGHT - FOOT - EDGE / 2)
    placed = place_labels(order, frame, area)
    for label, (x, y), leads_to in placed:
        if leads_to is not None:
            for width, colour in ((6.0, "white"), (2.5, INK)):
                axes.plot([x, leads_to[0]], [y, leads_to[1]], color=colour, lw=width, zorder=3.6)
            axes.plot(*leads_to, "o", ms=9, mfc=INK, mec="white", mew=1.5, zorder=3.7)
        box = label.wide, LABEL_HEIGHT * label.share
        if label.named:
            name = label.turn.row["valve"]
            look = {"size": NAME * name_share(label.share), "weight": "bold", "path_effects": HALO}
            _text(axes, x, y + box[1] / 2, name, **look)
        raised = NAME_HEIGHT / 2 if label.named else 0.0
        _box(axes, (x, y - raised), label.turn, box, label.share)
    return [box_of(label, spot) for label, spot, _ in placed]


def _block_names(axes: Any, content: Content, frame: Frame, taken: list[Box]) -> None:
    """Write the name of each block inside it, off its edge, where neither a rank nor a name stands."""
    for block, geometry in zip(content.blocks["block"], content.blocks.geometry, strict=True):
        name = drawable(block, most=24)
        first = name.split()[0] if name.split() else name
        for letters, size in product(dict.fromkeys((name, first)), BLOCK):
            text = _text(axes, 0, 0, letters, size=size, style="italic", weight="bold", path_effects=HALO)
            extent = text.get_window_extent()
            room = extent.width + 2 * NAME_MARGIN, extent.height + NAME_MARGIN
            spot = free_spot(geometry, room, frame, taken)
            if spot is not None:
                taken.append(spot)
                text.set_position(((spot[0] + spot[2]) / 2, (spot[1] + spot[3]) / 2))
                break
            text.remove()


def _box(axes: Any, spot: Any, turn: Turn, size: tuple[float, float], share: float) -> None:
    width, height = size
    left, top = spot[0] - width / 2, spot[1] - height / 2
    if turn.past_limit:
        _double_frame(axes, (left, top, width, height), 3.9)
    split = top + 0.62 * height
    fill = _colour(turn.priority)
    for y, tall, colour in ((top, 0.62 * height, "white"), (split, 0.38 * height, fill)):
        axes.add_patch(
            Rectangle((left, y), width, tall, facecolor=colour, edgecolor=INK, lw=2 * share, zorder=4)
        )
    short = "?" if turn.priority is None else f"P{turn.priority}"
    _text(axes, spot[0], top + 0.32 * height, turn.rank, size=24 * share, weight="bold")
    _text(axes, spot[0], split + 0.19 * height, short, size=13 * share, weight="bold", color=ink_on(fill))


def _double_frame(axes: Any, box: tuple[float, float, float, float], zorder: float) -> None:
    """Set a thick second frame around a box: our mark of a zone past what its crop bears."""
    left, top, width, height = box
    look: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "lw": 3.5, "zorder": zorder}
    axes.add_patch(Rectangle((left - 5, top - 5), width + 10, height + 10, **look))


def _text(axes: Any, x: float, y: float, text: str, **look: Any) -> Any:
    options = {"ha": "center", "va": "center_baseline", "color": INK, "zorder": 7} | look
    return axes.text(x, y, drawable(text), parse_math=False, **options)


def _head(axes: Any, content: Content, words: list[Words]) -> None:
    axes.add_patch(Rectangle((0, 0), WIDTH, HEAD, facecolor=INK, zorder=4))
    name = drawable(content.ranch.name, most=44)
    _text(axes, EDGE, HEAD / 2, name, size=34, weight="bold", color="white", ha="left")
    days = list(dict.fromkeys(language.days(*content.visit) for language in words))
    for line, said in enumerate(days):
        y = HEAD * (0.5 if len(days) == 1 else 0.32 + 0.36 * line)
        _text(axes, WIDTH - EDGE, y, said, size=24 if line == 0 else 20, color="white", ha="right")


def _legend(axes: Any, order: list[Turn], words: list[Words]) -> None:
    shown: list[int | None] = [*PRIORITY]
    if any(turn.priority is None for turn in order):
        shown.append(None)
    top, step = HEIGHT - FOOT, (WIDTH - 2 * EDGE) / len(shown)
    axes.add_patch(Rectangle((0, top), WIDTH, FOOT, facecolor="#f3f4f2", zorder=4))
    side, sizes = (76, (22, 18)) if len(shown) == 4 else (56, (14, 12.5))
    for place, priority in enumerate(shown):
        left, fill = EDGE + place * step, _colour(priority)
        faint = "#ffffff80" if ink_on(fill) == "#ffffff" else "#14181c59"
        square: dict[str, Any] = {"xy": (left, top + 24), "width": side, "height": side}
        look: dict[str, Any] = {"facecolor": fill, "hatch": HATCH[priority], "edgecolor": faint, "zorder": 5}
        axes.add_patch(Rectangle(**square, **look))
        axes.add_patch(Rectangle(**square, facecolor="none", edgecolor=INK, lw=2, zorder=6))
        for line, language in enumerate(words):
            text = priority_words(priority, language)
            weight = "bold" if line == 0 else "normal"
            spot = (left + side + 14, top + 24 + side * (0.29 + 0.47 * line))
            _text(axes, *spot, text, ha="left", size=sizes[min(line, 1)], weight=weight)
    heads = " / ".join(language("picture.first") for language in words)
    names = [f"{turn.rank} {drawable(turn.row['valve'], most=16)}" for turn in order if turn.rank != NO_RANK][
        :FIRST
    ]
    line = _text(axes, EDGE, HEIGHT - 58, "", size=24, weight="bold", ha="left")
    for count in range(len(names), -1, -1):
        line.set_text(f"{heads}: {' · '.join(names[:count])}")
        if line.get_window_extent().x1 < WIDTH - EDGE - 2 * NORTH - BAR:
            break


def _warnings(axes: Any, content: Content, order: list[Turn], words: list[Words]) -> None:
    """Say under the legend what the double frame means, and that heat is not taken out."""
    past = sum(turn.past_limit for turn in order)
    if past:
        y = HEIGHT - 92
        _double_frame(axes, (EDGE + 6, y - 9, 26, 18), 5)
        axes.add_patch(Rectangle((EDGE + 6, y - 9), 26, 18, facecolor="white", edgecolor=INK, lw=2, zorder=6))
        said = " / ".join(language("past.heading") for language in words)
        _text(axes, EDGE + 54, y, f"{said}: {past}", size=19, weight="bold", ha="left")
    if content.vpd_kpa is None:
        said = " / ".join(language("past.heat_in") for language in words)
        _text(axes, EDGE, HEIGHT - 22, said, size=15, ha="left")


def _scale(axes: Any, frame: Frame, feet: bool, words: Words) -> None:  # noqa: FBT001 - one private caller
    _, metres = round_length(BAR / frame.scale, feet=feet)
    right, y = WIDTH - EDGE - NORTH, HEIGHT - 46
    left = right - metres * frame.scale
    axes.plot([left, left, right, right], [y - 12, y, y, y - 12], color=INK, lw=3, zorder=6)
    unit = quantity(metres, "length", words)
    _text(axes, (left + right) / 2, y - 18, unit, size=16, weight="bold")
    axes.annotate("", xy=(WIDTH - EDGE - 14, HEIGHT - 92), xytext=(WIDTH - EDGE - 14, HEIGHT - 46), zorder=6,
                  arrowprops={"facecolor": INK, "width": 5, "headwidth": 18})  # fmt: skip
    _text(axes, WIDTH - EDGE - 14, HEIGHT - 28, words("map.north"), size=18, weight="bold")
