"""What a round is planned from, and the planned round: stops with their clock, ways between them."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from stressmap.core.arrays import Floats
from stressmap.core.notes import Note
from stressmap.geostat.surface import Surface
from stressmap.rounds.first_surface import UnreadSurface
from stressmap.zoning.mapping import RanchLayout
from stressmap.zoning.value_of_information import WateringDecision

Spot = tuple[float, float]
"""Easting and northing in the working CRS [m]."""
WHY = (
    "asked_for", "valve_due", "block_never_read", "before_irrigation", "after_irrigation",
    "left_out_last_time", "standing_tree", "new_tree", "watering_decision", "both_chambers", "second_leaf",
)  # fmt: skip
"""Codes of what a stop is for, in the order they are told."""
CAUTIONS = ("runs_that_day", "near_edge", "sick_tree", "young_tree")
"""Codes of why a tree is avoided unless it is asked for; told with it."""


@dataclass(frozen=True)
class ReadingHours:
    """When a round is walked; times are aware of their zone.

    Parameters
    ----------
    opens, closes : datetime
        The window in which readings count.
    earliest : datetime
        No bag goes on before it: some minutes before the window opens, or now.
    """

    opens: dt.datetime
    closes: dt.datetime
    earliest: dt.datetime


@dataclass(frozen=True)
class CrewRules:
    """How fast crews are; the defaults are those of ``[round]``.

    Parameters
    ----------
    crews : int
        One person and one chamber each; a tree is bagged and read by the same.
    trees : int
        Stops of all crews together, at most.
    bag_seconds, read_seconds : float
        To bag one leaf; to cut, seat, press and write down one reading [s].
    least_bagged_minutes, most_bagged_minutes : float
        From the bag on to the cut [min].
    walk_m_s, drive_m_s : float
        Along rows and headlands; between blocks, 0 for crews on foot [m/s].
    start_seconds : float
        To stow the chamber and set off, each time one drives [s].
    """

    crews: int = 1
    trees: int = 40
    bag_seconds: float = 45.0
    read_seconds: float = 150.0
    least_bagged_minutes: float = 10.0
    most_bagged_minutes: float = 120.0
    walk_m_s: float = 1.0
    drive_m_s: float = 3.5
    start_seconds: float = 30.0


@dataclass(frozen=True)
class StandingTree:
    """A tree read at an earlier visit.

    Parameters
    ----------
    tree_id : str
        As the readings name it.
    xy : tuple of float
        Easting and northing [m].
    block, valve : str
        Where it stands.
    visits : int
        At how many visits it was read.
    at_last : bool
        Whether the last visit was one of them.
    cautions : tuple of str
        Of :data:`CAUTIONS`: ``"sick_tree"``, ``"young_tree"`` (young in an old block).
    """

    tree_id: str
    xy: Spot
    block: str
    valve: str
    visits: int = 1
    at_last: bool = False
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class SeasonWants:
    """What the season needs beside the next watering decision.

    Parameters
    ----------
    due_days : mapping of str to float
        Valves due before the next visit -> days left.
    before, after : frozenset of str
        Valves with a set planned soon after the round; valves with one just before it, read before that set.
    running : frozenset of str
        Valves that run on the day of the round: their trees are avoided.
    never_read : frozenset of str
        Blocks without a usable reading so far.
    left_out : frozenset of str
        Trees planned or read last time whose reading is missing or was left out.
    asked : frozenset of str
        Trees asked for by name, wanted in any case.
    read_today : frozenset of str
        Trees read already today, kept out.
    chambers : int
        How many chambers a crew carries; with two or more a few trees are read with both.
    """

    due_days: Mapping[str, float] = field(default_factory=dict)
    before: frozenset[str] = frozenset()
    after: frozenset[str] = frozenset()
    running: frozenset[str] = frozenset()
    never_read: frozenset[str] = frozenset()
    left_out: frozenset[str] = frozenset()
    asked: frozenset[str] = frozenset()
    read_today: frozenset[str] = frozenset()
    chambers: int = 1


@dataclass(frozen=True)
class HourlyTargets:
    """What a tree as wet as it should be shows through the round, at each hour's expected weather.

    Parameters
    ----------
    minute : array of float, shape (h,)
        After the window opens, rising [min].
    bar : array of float, shape (blocks, h)
        What is added to the mapped figure to give the pressure of a reading [bar]; NaN where unknown.
    """

    minute: Floats
    bar: Floats


@dataclass(frozen=True)
class RoundTask:
    """All that a round is planned from.

    Parameters
    ----------
    surface : Surface or UnreadSurface
        Of the last visit, with memory where there is any; its figure is that of ``targets``.
    ground : RanchLayout
        Blocks, valve zones and cells.
    decision : WateringDecision
        What is watered next.
    hours : ReadingHours
        When.
    rules : CrewRules
        How many crews, and how fast.
    standing : tuple of StandingTree
        Trees of earlier visits.
    wants : SeasonWants
        What the season needs.
    targets : HourlyTargets or None
        None where no pressure is foretold.
    roads : shapely geometry or None
        Lines in the working CRS.
    gates : tuple of (float, float)
        Where blocks are entered; empty where not known.
    start : tuple of float, optional
        Where the crews are when the first bag may go on [m]; None where they begin at their first tree.
    days_ahead : float
        From the last visit to the round [d].
    """

    surface: Surface | UnreadSurface
    ground: RanchLayout
    decision: WateringDecision
    hours: ReadingHours
    rules: CrewRules = CrewRules()
    standing: tuple[StandingTree, ...] = ()
    wants: SeasonWants = SeasonWants()
    targets: HourlyTargets | None = None
    roads: Any = None
    gates: tuple[Spot, ...] = ()
    start: Spot | None = None
    days_ahead: float = 0.0


@dataclass(frozen=True)
class Stop:
    """One tree of a round, bagged once and read once by the same crew.

    Parameters
    ----------
    number : int
        From 1, in the order of the bags, crew after crew.
    crew : int
        From 1.
    tree_id : str
        Of a standing tree, else made of block, row and tree, or of block and a letter.
    block, valve : str
        Where it stands.
    row, tree_number : int or None
        Counted from the block's left edge and from the row's start, looking along ``row_bearing``; None where
        rows or distances are not known.
    x, y : float
        Easting and northing [m].
    bag_at, read_at : datetime
        When the bag goes on and when the leaf is cut, aware of their zone.
    why : tuple of str
        Codes of :data:`WHY`, then of :data:`CAUTIONS` where the tree is asked for although it is avoided.
    expected_bar, expected_low_bar, expected_high_bar : float
        The reading to be expected at that hour and its 90 % range [bar of tension]; NaN where unknown.
    known : bool
        Whether it was read at an earlier visit.
    row_bearing : float
        Where one looks to count rows from the left, from north, clockwise [degrees]; NaN without ``row``.
    """

    number: int
    crew: int
    tree_id: str
    block: str
    valve: str
    row: int | None
    tree_number: int | None
    x: float
    y: float
    bag_at: dt.datetime
    read_at: dt.datetime
    why: tuple[str, ...]
    expected_bar: float
    expected_low_bar: float
    expected_high_bar: float
    known: bool
    row_bearing: float = math.nan


@dataclass(frozen=True)
class Way:
    """One leg from an action to the next of the same crew, from where crews start, or back to there.

    Parameters
    ----------
    crew : int
        From 1.
    how : str
        ``"walk"``, or ``"drive"`` where a part of it is driven.
    seconds : float
        What it takes [s].
    line : tuple of (float, float)
        Its corners in the working CRS [m], two or more.
    """

    crew: int
    how: Literal["walk", "drive"]
    seconds: float
    line: tuple[Spot, ...]


@dataclass(frozen=True)
class TimeSpent:
    """Where the time of a round goes, from the first bag's earliest minute until the window closes.

    Parameters
    ----------
    bagging, reading, travel, idle : float
        At the trees, on the way, and neither [s].
    """

    bagging: float = 0.0
    reading: float = 0.0
    travel: float = 0.0
    idle: float = 0.0


@dataclass(frozen=True)
class Round:
    """A planned round.

    Parameters
    ----------
    stops : tuple of Stop
        By number; the bag list. The read list is the same by ``read_at``.
    crews : int
        That have a stop.
    value, bound : float
        Of the stops' worth, and the proven most that any plan of the same candidates and times could have.
    notes : tuple of Note
        What was assumed or could not be met.
    ways : tuple of Way
        Crew after crew, in the order they are gone.
    spent : TimeSpent
        Of all crews together.
    """

    stops: tuple[Stop, ...]
    crews: int
    value: float
    bound: float
    notes: tuple[Note, ...] = ()
    ways: tuple[Way, ...] = ()
    spent: TimeSpent = TimeSpent()
