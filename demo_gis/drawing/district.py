"""The plans of eight small ranches of one district: one weather, crops and soils of their own."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from drawing.plans import Block, Climate, Dialect, Fault, Part, Ranch, Ring, Visit
from drawing.south import HEADER as SPANISH_HEADER
from drawing.valley import CROPS, VALLEY

LANE_M = 9.0
"""Between two blocks [m]."""

CLIMATE = Climate(
    start=dt.date(2026, 5, 15),
    end=dt.date(2026, 7, 31),
    warmest=dt.date(2026, 7, 20),
    max_c=37.5,
    spring_drop_c=18.0,
    hot_spell=(dt.date(2026, 7, 3), dt.date(2026, 7, 8)),
    latitude=37.1,
    solar_noon=13.1,
)

SPANISH = Dialect(
    separator=";",
    decimal=",",
    time="%d/%m/%Y %H:%M",
    unit_bar=1.0,
    header=(*(name.replace(" (MPa)", " (bar)") for name in SPANISH_HEADER),),
    notes=("maleza alta", "hoja con polvo", "poca presión; revisar"),
    on_the_way="de paso al galpón",
    broke="se quebró el pecíolo",
    pump="Bomba",
)


@dataclass(frozen=True)
class Plot:
    """A block before it has a place: see :class:`drawing.plans.Block`; ``tiers`` are its valve zones."""

    name: str
    code: str
    crop: str
    planted: int
    irrigation: str
    effect_bar: float
    readings: tuple[int, ...]
    tiers: tuple[int, ...]
    soil: str = "loam"
    weight: float = 1.0

    def in_outline(self, ring: Ring) -> Block:
        """Put it into its place."""
        variety = {"prune": "French type", "almond": "soft shell", "walnut": "late leafing"}[self.crop]
        return Block(
            self.name, self.code, self.crop, variety, self.planted, self.irrigation, self.weight,
            self.effect_bar, self.readings, (Part(ring, self.tiers),), self.soil,
        )  # fmt: skip


@dataclass(frozen=True)
class Row:
    """A row of blocks from west to east: how deep they are [m], and each with its width [m]."""

    depth_m: float
    plots: tuple[tuple[Plot, float], ...]


@dataclass(frozen=True)
class Place:
    """A ranch of the district: its folder, what it is drawn from, and which files it has.

    ``skew`` is by how much its eastern and western edges lean.
    """

    slug: str
    number: int
    name: str
    origin: tuple[float, float]
    turn_deg: float
    rows: tuple[Row, ...]
    visits: tuple[Visit, ...]
    faults: tuple[Fault, ...] = ()
    skew: float = 0.0
    crews: int = 1
    dialect: Dialect = VALLEY.dialect
    has_log: bool = False
    knows_soil: bool = True

    @property
    def ranch(self) -> Ranch:
        """The ranch, with the valley's crops and the district's weather."""
        return Ranch(
            name=self.name,
            seed=20260800 + self.number,
            epsg=VALLEY.epsg,
            origin=self.origin,
            turn_deg=self.turn_deg,
            blocks=_laid_out(self.rows, self.skew),
            sand=((-40.0, 60.0), (160.0, 190.0), (420.0, 210.0), (700.0, 330.0)),
            faults=self.faults,
            visits=self.visits,
            crops=CROPS,
            climate=CLIMATE,
            dialect=self.dialect,
            drying=True,
            knows_rows=True,
            crews=self.crews,
        )


def _laid_out(rows: tuple[Row, ...], skew: float) -> tuple[Block, ...]:
    """Lay blocks beside each other, lanes between them; eastern and western edges lean alike."""
    made, south = [], 0.0
    for row in rows:
        west, north = 0.0, south + row.depth_m
        for plot, width in row.plots:
            east, low, high = west + width, skew * south, skew * north
            ring = ((west + low, south), (east + low, south), (east + high, north), (west + high, north))
            made.append(plot.in_outline(ring))
            west = east + LANE_M
        south = north + LANE_M
    return tuple(made)


def _july(day: int, mean_bar: float, dirt: tuple[str, ...] = ()) -> Visit:
    return Visit((dt.date(2026, 7, day),), 1.0, mean_bar, dirt)


SLOUGH = Place(
    "heron_slough", 1, "Heron Slough", (706_000.0, 4_112_000.0), 1.5,
    (
        Row(210.0, (
            (Plot("South Ten", "ST", "prune", 2003, "drip", -0.2, (4, 6), (3,)), 190.0),
            (Plot("Pump House", "PH", "prune", 2008, "drip", 0.4, (4, 5), (3,)), 170.0),
            (Plot("Slough", "SL", "walnut", 2001, "micro_sprinkler", 0.0, (3, 5), (2,)), 150.0),
        )),
        Row(190.0, (
            (Plot("Barn", "BA", "prune", 1999, "micro_sprinkler", 0.6, (4, 5), (3,)), 200.0),
            (Plot("Mill", "MI", "prune", 2012, "drip", -0.5, (3, 5), (2,)), 150.0),
            (Plot("New Ten", "NT", "prune", 2024, "drip", -1.0, (3, 4), (2,), weight=1.3), 140.0),
        )),
    ),
    visits=(
        Visit((dt.date(2026, 6, 30),), 0.8, 0.9, ("no_value",)),
        Visit((dt.date(2026, 7, 7),), 0.9, 1.2, ("short_bag",)),
        _july(14, 1.3, ("duplicate", "sign_read_as_potential")),
    ),
    faults=(Fault("BA2", 1.2, dt.date(2026, 6, 20), "filter clogged", 0.4),),
    crews=2, has_log=True,
)  # fmt: skip

CULVERTS = Place(
    "two_culverts", 2, "Two Culverts", (709_400.0, 4_112_600.0), -3.0,
    (
        Row(230.0, (
            (Plot("Culvert 1", "CA", "prune", 1996, "flood", 0.5, (4,), (2,), "clay loam"), 210.0),
            (Plot("Culvert 2", "CB", "prune", 1998, "flood", 0.2, (5,), (3,), "clay loam"), 240.0),
            (Plot("Tank", "TA", "prune", 2006, "drip", -0.3, (4,), (3,)), 180.0),
            (Plot("Tank East", "TE", "almond", 2013, "drip", 0.3, (5,), (3,)), 190.0),
        )),
        Row(205.0, (
            (Plot("Middle", "ME", "prune", 2004, "micro_sprinkler", 0.1, (5,), (3,)), 230.0),
            (Plot("House", "HS", "prune", 2010, "drip", -0.8, (4,), (2,)), 160.0),
            (Plot("Gate", "GA", "almond", 2015, "drip", 0.9, (5,), (3,), "sandy loam"), 210.0),
        )),
        Row(180.0, (
            (Plot("North", "NO", "prune", 2002, "micro_sprinkler", 0.4, (4,), (2,)), 190.0),
            (Plot("Corner", "CO", "walnut", 1995, "micro_sprinkler", -0.2, (4,), (2,)), 200.0),
            (Plot("Strip", "SP", "prune", 2016, "drip", 0.7, (5,), (3,)), 230.0),
        )),
    ),
    visits=(_july(15, 1.0, ("early", "lonlat_swapped", "unit_suspect", "recheck_apart")),),
    faults=(Fault("SP3", 2.1, dt.date(2026, 6, 1), "low pressure at the end of the line", 0.6),),
    skew=0.06, crews=2,
)  # fmt: skip

PALOMA = Place(
    "la_paloma", 3, "Granja La Paloma", (712_700.0, 4_111_500.0), 6.0,
    (
        Row(200.0, (
            (Plot("El Sauce", "SA", "prune", 2005, "drip", 0.2, (6,), (3,)), 200.0),
            (Plot("La Noria", "NR", "prune", 2009, "drip", -0.4, (5,), (3,)), 190.0),
            (Plot("El Corral", "CR", "almond", 2014, "drip", 0.8, (6,), (3,), "sandy loam"), 210.0),
        )),
        Row(170.0, (
            (Plot("Los Nogales", "NG", "walnut", 2000, "micro_sprinkler", 0.1, (5,), (2,)), 230.0),
            (Plot("El Potrero", "PO", "prune", 2011, "micro_sprinkler", 0.5, (5,), (2,)), 190.0),
        )),
    ),
    visits=(_july(13, 1.6, ("short_bag", "no_value")),),
    faults=(Fault("CR2", 2.4, dt.date(2026, 6, 10), "emitters clogged", 0.5),),
    skew=-0.05, dialect=SPANISH,
)  # fmt: skip

NEW_GROUND = Place(
    "new_ground", 4, "New Ground", (705_300.0, 4_115_200.0), 0.0,
    (
        Row(190.0, (
            (Plot("A", "A", "prune", 2010, "drip", 0.1, (2,), (2,)), 170.0),
            (Plot("B", "B", "prune", 2010, "drip", 0.5, (2,), (2,)), 160.0),
            (Plot("C", "C", "prune", 2012, "drip", -0.6, (2,), (2,)), 180.0),
        )),
        Row(160.0, (
            (Plot("D", "D", "prune", 2014, "micro_sprinkler", 0.9, (2,), (2,)), 210.0),
            (Plot("E", "E", "prune", 2014, "micro_sprinkler", -0.2, (1,), (2,)), 190.0),
        )),
    ),
    visits=(_july(14, 1.4),),
    knows_soil=False,
)  # fmt: skip

FERRY = Place(
    "old_ferry", 5, "Old Ferry Walnuts", (709_100.0, 4_115_600.0), 12.0,
    (
        Row(240.0, (
            (Plot("River", "RI", "walnut", 1992, "micro_sprinkler", -0.3, (6,), (3,)), 230.0),
            (Plot("Ferry", "FE", "walnut", 1997, "micro_sprinkler", 0.3, (6,), (3,)), 240.0),
        )),
        Row(220.0, (
            (Plot("Bank", "BK", "walnut", 2004, "micro_sprinkler", 0.8, (5,), (3,), "sandy loam"), 220.0),
            (Plot("Flat", "FL", "walnut", 2011, "drip", -0.1, (5,), (3,)), 210.0),
        )),
    ),
    visits=(_july(14, 0.8, ("no_value",)),),
    skew=0.1,
)  # fmt: skip

BENCH = Place(
    "bench_almonds", 6, "Bench Almonds", (712_600.0, 4_114_600.0), -8.0,
    (
        Row(220.0, (
            (Plot("Bench 1", "B1-", "almond", 2009, "drip", 0.6, (5,), (3,), "sandy loam"), 210.0),
            (Plot("Bench 2", "B2-", "almond", 2009, "drip", 0.2, (5,), (3,), "sandy loam"), 220.0),
            (Plot("Bench 3", "B3-", "almond", 2012, "drip", 1.2, (6,), (3,), "sandy loam"), 200.0),
        )),
        Row(180.0, (
            (Plot("Upper 1", "U1-", "almond", 2016, "drip", 0.0, (5,), (3,), "sandy loam"), 230.0),
            (Plot("Upper 2", "U2-", "almond", 2024, "drip", -0.8, (4,), (2,), "sandy loam", 1.3), 180.0),
        )),
    ),
    visits=(_july(15, 2.6, ("outside_blocks", "short_bag")),),
    faults=(Fault("B3-2", 2.6, dt.date(2026, 6, 5), "sets missed", 0.6),),
)  # fmt: skip

SYCAMORE = Place(
    "sycamore_corner", 7, "Sycamore Corner", (706_900.0, 4_118_000.0), 3.0,
    (
        Row(215.0, (
            (Plot("West Check", "WC", "prune", 1994, "flood", -0.4, (4,), (3,), "clay loam"), 230.0),
            (Plot("Long Check", "LC", "prune", 1994, "flood", 0.2, (4,), (3,), "clay loam"), 250.0),
            (Plot("Ditch", "DI", "prune", 2001, "flood", 0.0, (4,), (2,), "clay loam"), 170.0),
        )),
        Row(190.0, (
            (Plot("Yard", "YA", "prune", 2007, "micro_sprinkler", -0.7, (4,), (2,)), 180.0),
            (Plot("Sycamore", "SY", "prune", 2007, "micro_sprinkler", -0.1, (4,), (3,)), 220.0),
            (Plot("Levee", "LE", "walnut", 2003, "micro_sprinkler", 0.3, (4,), (2,)), 190.0),
            (Plot("Point", "PT", "prune", 2015, "drip", 0.5, (4,), (2,)), 150.0),
        )),
    ),
    visits=(_july(9, 0.3, ("early", "duplicate")),),
    skew=-0.08,
)  # fmt: skip

GRAVEL = Place(
    "gravel_pit", 8, "Gravel Pit Prunes", (710_800.0, 4_118_300.0), -1.0,
    (
        Row(200.0, (
            (Plot("Pit", "PI", "prune", 2008, "drip", 0.9, (5, 6), (3,), "sandy loam"), 200.0),
            (Plot("Rim", "RM", "prune", 2008, "drip", 0.3, (4, 5), (3,), "sandy loam"), 190.0),
        )),
        Row(180.0, (
            (Plot("Crusher", "CS", "prune", 2013, "drip", 0.5, (5, 6), (3,), "sandy loam"), 230.0),
            (Plot("Scale", "SC", "prune", 2017, "micro_sprinkler", -0.4, (4, 5), (2,)), 160.0),
        )),
    ),
    visits=(Visit((dt.date(2026, 7, 6),), 0.9, 1.5, ("duplicate",)), _july(13, 2.0, ("no_value",))),
    faults=(Fault("CS1", 1.6, dt.date(2026, 6, 15), "filter clogged", 0.5),),
    has_log=True,
)  # fmt: skip

PLACES = (SLOUGH, CULVERTS, PALOMA, NEW_GROUND, FERRY, BENCH, SYCAMORE, GRAVEL)
"""The eight, in the order in which the settings name them."""
