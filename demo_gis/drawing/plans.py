"""What an invented ranch is made of, before anything is drawn at random.

Lengths are metres in the ranch's own frame: u along its southern edge, v along its western one.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

Ring = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Part:
    """An outline and the number of valve zones in each tier, from south to north."""

    outline: Ring
    tiers: tuple[int, ...]
    hole: Ring = ()


@dataclass(frozen=True)
class Block:
    """A planting; ``effect_bar`` is how much drier it stands than its crop on this ranch, at full season.

    ``readings`` are the trees of a usual visit and of the last one; ``rhythm`` is how it is irrigated where
    that is not its system's usual way; from some days after the season's start on, it uses ``thirst`` times
    what its sets were meant for.
    """

    name: str
    code: str
    crop: str
    variety: str
    planted: int
    irrigation: str
    weight: float
    effect_bar: float
    readings: tuple[int, ...]
    parts: tuple[Part, ...]
    soil: str = ""
    rhythm: str = ""
    thirst: float = 1.0
    thirst_after_days: int = 0


@dataclass(frozen=True)
class Fault:
    """A valve that gives less or more water than it should, from a day on.

    ``bar`` is a lasting step (positive: drier); ``arrives`` is the share of what the log says that does.
    """

    valve: str
    bar: float
    since: dt.date
    cause: str
    arrives: float = 1.0


@dataclass(frozen=True)
class Visit:
    """Days of readings, how far the season's differences have grown, and the mean stress of a crop."""

    days: tuple[dt.date, ...]
    growth: float
    mean_bar: float
    dirt: tuple[str, ...]


@dataclass(frozen=True)
class Climate:
    """Summer of a dry valley, around its warmest day."""

    start: dt.date
    end: dt.date
    warmest: dt.date
    max_c: float
    spring_drop_c: float
    hot_spell: tuple[dt.date, dt.date]
    latitude: float
    solar_noon: float


@dataclass(frozen=True)
class Crop:
    """Season target (month-day, bar), young trees' limit, the fully watered line, the planting grid."""

    season_target: tuple[tuple[str, float], ...]
    young_bar: float
    intercept_bar: float
    slope_bar_per_kpa: float
    row_m: float
    tree_m: float


@dataclass(frozen=True)
class Dialect:
    """How the ranch's people write their tables."""

    separator: str
    decimal: str
    time: str
    unit_bar: float
    header: tuple[str, ...]
    notes: tuple[str, ...]
    on_the_way: str
    broke: str
    pump: str


@dataclass(frozen=True)
class Ranch:
    """A whole plan."""

    name: str
    seed: int
    epsg: int
    origin: tuple[float, float]
    turn_deg: float
    blocks: tuple[Block, ...]
    sand: Ring
    faults: tuple[Fault, ...]
    visits: tuple[Visit, ...]
    crops: dict[str, Crop]
    climate: Climate
    dialect: Dialect
    drying: bool = False
    knows_rows: bool = False
    crews: int = 2


COLUMNS = (
    "tree_id", "time", "lon", "lat", "pressure_bar", "recheck_bar", "bagged_at", "chamber", "crew", "leaf",
    "note",
)  # fmt: skip

DRYING_BAR_PER_MM = {"sandy loam": 0.065, "loam": 0.045, "clay loam": 0.036}
"""What a millimetre of depletion adds to stress while the ground is moist, by soil [bar/mm]."""

CAPACITY_MM = {"sandy loam": 85.0, "loam": 90.0, "clay loam": 125.0}
"""Depletion beyond which trees of a soil use no more [mm]."""

VALVE_SD_BAR = 0.6
"""Differences between valves that have no fault [bar]."""

SOILS = ((260.0, 0.55), (60.0, 0.40))
"""The smooth pattern: two soil scales, each a length [m] and a standard deviation [bar]."""

SAND_BAR = 1.1
"""How much drier the middle of the old sandy channel stands [bar]."""

TREE_SD_BAR = 0.7
"""Differences from tree to tree, lasting all season [bar]."""

ERROR_SD_BAR = 0.35
"""One reading against another on the same tree [bar]."""

CHAMBER_OFFSET_BAR = {"A": 0.0, "B": 0.4}
"""What each chamber shows above the truth [bar]."""

CHAMBER_STEP_BAR = {"A": 0.2, "B": 0.1}
"""Finest step that people read off each gauge [bar]."""

GPS_SD_M = 1.8
"""A phone's place against the tree's, east and north [m]."""
