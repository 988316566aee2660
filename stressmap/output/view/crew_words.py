"""What a crew must know of each valve zone, in words: shared by the sheet, the waypoints and the summary."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd
from shapely.geometry.base import BaseGeometry

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.layout import middle
from stressmap.output.view.rows import rows
from stressmap.output.view.selections import flag_codes, measured_blocks, sets_by_valve

WINDS = ("e", "ne", "n", "nw", "w", "sw", "s", "se")
NO_RANK = "-"
"""In place of a rank where the settings leave blocks without readings unranked."""

FEW_TREES, ENOUGH_TREES, USUAL_TREES = 3, 5, 10
"""Fewest trees that a block should be judged by, 3 to 5, and the usual number of a block: docs/references.md,
"Reading a tree"."""

UNSURE = 0.6
"""A priority with a smaller probability than this counts as uncertain."""

MIDDLE = 0.18
"""A zone this close to its block's middle, as a share of the block's size, has no side."""


@dataclass(frozen=True)
class Turn:
    """One valve zone as the crew meets it.

    Parameters
    ----------
    row : dict
        Its row of the valve table.
    rank : str
        Its rank, or :data:`NO_RANK` where it has none.
    priority : int or None
        1 to 4; None where the block was not measured.
    side : str
        Where in its block: ``"n"``, ``"ne"`` and so on, ``"c"`` for the middle, ``"all"`` for all of it.
    hours, m3 : float or None
        What the water plan gives it; None without a plan.
    sets : list of dict
        ``start`` and ``end`` of its sets, in order.
    trees, block_trees : int
        How many read trees stand behind its figure: inside it, and in its block.
    look_first : bool
        Whether its pressure, filter, emitters and flow are to be looked at before it is opened.
    look_why : tuple of str
        Codes of why: ``"drier_than_block"``, ``"not_relieved"``, ``"witnesses_apart"``.
    pulse : tuple of (float, float) or None
        Minutes that a timer opens and closes it by turns, for ``manner_words.pulse_words``.
    """

    row: dict[str, Any]
    rank: str
    priority: int | None
    side: str
    hours: float | None
    m3: float | None
    sets: list[dict[str, Any]]
    trees: int = 0
    block_trees: int = 0
    look_first: bool = False
    look_why: tuple[str, ...] = ()
    pulse: tuple[float, float] | None = None

    @property
    def past_limit(self) -> bool:
        """Whether it is, more likely than not, past what its crop bears; never said of a guess."""
        return bool(self.row.get("past_limit")) and self.priority is not None


@dataclass(frozen=True)
class Revisit:
    """A tree to read again.

    Parameters
    ----------
    tree : str or None
        Its name.
    valve : str or None
        Where it stands.
    point : Point
        In the working CRS.
    flags : list of str
        Why its reading was left out; empty where one more reading would change the order.
    """

    tree: str | None
    valve: str | None
    point: Any
    flags: list[str]


def turns(content: Content) -> list[Turn]:
    """List the valve zones in rank order.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    list of Turn
    """
    measured, sets = measured_blocks(content), sets_by_valve(content)
    blocks = dict(zip(content.blocks["block"], content.blocks.geometry, strict=True))
    trees, in_block = content.trees["valve"], content.trees["block"]
    plans = {} if content.water_plan is None else {row["valve"]: row for row in rows(content.water_plan)}
    return [
        Turn(
            row=row,
            rank=NO_RANK if row["rank"] is None else str(row["rank"]),
            priority=row["priority"] if row["block"] in measured else None,
            side=side_of(row["geometry"], blocks.get(row["block"])),
            hours=plans.get(row["valve"], {}).get("hours"),
            m3=plans.get(row["valve"], {}).get("m3"),
            sets=sets.get(row["valve"], []),
            trees=trees.get(row["valve"], 0),
            block_trees=in_block.get(row["block"], 0),
            look_first=bool(plans.get(row["valve"], {}).get("inspect")),
            look_why=tuple(plans.get(row["valve"], {}).get("inspect") or ()),
            pulse=_pulse(sets.get(row["valve"], [])),
        )
        for row in rows(content.valves)
    ]


def _pulse(sets: list[dict[str, Any]]) -> tuple[float, float] | None:
    on, off = (sets[0].get(name) if sets else None for name in ("pulse_on_min", "pulse_off_min"))
    return None if on is None or off is None else (float(on), float(off))


def side_of(zone: BaseGeometry, block: BaseGeometry | None) -> str:
    """Say in which part of its block a valve zone lies.

    Parameters
    ----------
    zone, block : Polygon
        In the working CRS [m].

    Returns
    -------
    str
        A wind, ``"c"`` or ``"all"``; ``"c"`` where the block is not known.

    Examples
    --------
    >>> from shapely.geometry import box
    >>> side_of(box(0, 50, 100, 100), box(0, 0, 100, 100))
    'n'
    """
    if block is None or block.is_empty:
        return "c"
    if zone.area > 0.9 * block.area:
        return "all"
    return wind_of(middle(zone), block)


def wind_of(point: Any, shape: BaseGeometry) -> str:
    """Say on which side of a shape a point lies.

    Parameters
    ----------
    point : Point
        In the working CRS [m], inside or outside.
    shape : Polygon or MultiPolygon
        In the same.

    Returns
    -------
    str
        ``"n"``, ``"ne"`` and so on, or ``"c"`` for the middle.

    Examples
    --------
    >>> from shapely.geometry import Point, box
    >>> wind_of(Point(100, 0), box(0, 0, 100, 100))
    'se'
    """
    west, south, east, north = shape.bounds
    x = (point.x - (west + east) / 2) / max(east - west, 1e-9)
    y = (point.y - (south + north) / 2) / max(north - south, 1e-9)
    if math.hypot(x, y) < MIDDLE:
        return "c"
    return WINDS[round(math.atan2(y, x) / (math.pi / 4)) % 8]


def revisits(content: Content) -> list[Revisit]:
    """List the trees to read again: where the order hangs on it, then those whose reading was left out.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    list of Revisit
        Only readings of this visit that have a place in a block, each tree once.
    """
    found = [] if content.look_again is None else [
        Revisit(_name(row), row.get("valve"), row["geometry"], []) for row in rows(content.look_again)
    ]  # fmt: skip
    seen = {spot.tree for spot in found if spot.tree}
    taken = content.readings["used"].astype(bool)
    used = {_name(row) for row in rows(content.readings.loc[taken, ["tree_id"]])}
    for row in rows(content.readings[~taken]):
        flags, name, place = flag_codes(row["flags"]), _name(row), row["geometry"]
        elsewhere = place is None or place.is_empty or row.get("block") is None or "outside_visit" in flags
        if elsewhere or name in used or name in seen:
            continue
        if name is not None:
            seen.add(name)
        found.append(Revisit(name, row.get("valve"), place, flags))
    return found


def _name(row: dict[str, Any]) -> str | None:
    return None if row.get("tree_id") is None else str(row["tree_id"])


def of_visit(content: Content) -> pd.DataFrame:
    """Take the readings of this visit, used or left out.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    DataFrame
        Without those that belong to other visits.
    """
    table = content.readings
    other = table["flags"].map(lambda codes: "outside_visit" in codes).to_numpy(bool)
    return pd.DataFrame(table[~other])


def priority_words(priority: int | None, words: Words) -> str:
    """Name a priority: ``"P1 water first"``.

    Parameters
    ----------
    priority : int or None
        1 to 4, None for not measured.
    words : Words
        The language.

    Returns
    -------
    str
    """
    if priority is None:
        return words("priority.none")
    return f"{words('priority.short', number=priority)} {words(f'priority.p{priority}')}"


def standing_words(turn: Turn, words: Words) -> str:
    """Name the priority of a valve zone; one past what its crop bears is called that instead.

    Parameters
    ----------
    turn : Turn
        The valve zone.
    words : Words
        The language.

    Returns
    -------
    str
    """
    if turn.past_limit:
        return words("past.priority", short=words("priority.short", number=turn.priority))
    return priority_words(turn.priority, words)


def count_words(trees: int, words: Words) -> str:
    """Say how many read trees stand behind a figure.

    Parameters
    ----------
    trees : int
        Distinct trees used.
    words : Words
        The language.

    Returns
    -------
    str

    Examples
    --------
    >>> [count_words(trees, Words("en")) for trees in (0, 1, 3)]
    ['no tree: from its neighbours', 'one tree', '3 trees']
    """
    if trees > 1:
        return words("trees.many", count=trees)
    return words("trees.one" if trees else "trees.none")


def trees_words(turn: Turn, words: Words) -> str:
    """Say how many read trees stand behind a valve zone, and where its block has too few.

    Parameters
    ----------
    turn : Turn
        The valve zone.
    words : Words
        The language.

    Returns
    -------
    str
    """
    if not turn.block_trees and not turn.trees:
        return words("trees.none_in_block")
    said = count_words(turn.trees, words)
    few = turn.block_trees < FEW_TREES
    return words("trees.few", trees=said, count=turn.block_trees) if few else said


def turn_words(turn: Turn, rank_by: str, words: Words) -> str:
    """Say the stress of a valve zone, as a guess where its block was not measured.

    Parameters
    ----------
    turn : Turn
        The valve zone.
    rank_by : str
        Which figure its stress is.
    words : Words
        The language.

    Returns
    -------
    str
    """
    figure = figure_words(turn.row["stress_bar"], rank_by, words)
    return figure if turn.priority is not None else words("measure.guess", figure=figure)


def figure_words(stress_bar: float | None, rank_by: str, words: Words) -> str:
    """Say a stress in words: ``"2.4 bar drier than target"``.

    Parameters
    ----------
    stress_bar : float or None
        The ranked figure [bar].
    rank_by : str
        Which figure that is.
    words : Words
        The language.

    Returns
    -------
    str

    Examples
    --------
    >>> [figure_words(bar, "below_target", Words("en")) for bar in (2.4, -0.04, -1.0)]
    ['2.4 bar drier than target', 'at its target', '1.0 bar wetter than target']
    """
    if stress_bar is None:
        return words("measure.unknown")
    value = words.number(abs(stress_bar))
    side = "_even" if value == words.number(0.0) else "_wet" if stress_bar < 0 else ""
    return words(f"measure.short_{rank_by}{side}", value=value)
