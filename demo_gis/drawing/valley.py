"""The plan of the first ranch: twelve blocks, US units, northern hemisphere."""

from __future__ import annotations

import datetime as dt
import math

from drawing.plans import COLUMNS, Block, Climate, Crop, Dialect, Fault, Part, Ranch, Visit


def _creek(u: float) -> float:
    """Edge of the field along the dry creek, v [m] over u [m]."""
    return 1082.0 - 0.07 * u + 26.0 * math.sin(u / 128.0) + 9.0 * math.sin(u / 49.0 + 1.0)


def _creek_side(west: float, east: float) -> tuple[tuple[float, float], ...]:
    """Outline of a block between the county road and the creek."""
    steps = int((east - west) / 12.0)
    curve = [(west + (east - west) * i / steps) for i in range(steps, -1, -1)]
    return ((west, 778.0), (east, 777.0), *((u, _creek(u)) for u in curve))


CROPS = {
    "prune": Crop((("05-01", -6.0), ("08-01", -14.0)), -10.0, -4.1, -1.2, 5.5, 4.9),
    "almond": Crop(
        (("04-01", -8.0), ("06-15", -10.0), ("07-01", -13.0), ("07-15", -14.0), ("08-20", -13.0)),
        -10.0, -4.1, -1.2, 6.4, 5.2,
    ),
    "walnut": Crop((("05-01", -5.0), ("06-15", -6.0), ("09-15", -7.0)), -6.0, -2.7, -0.57, 7.6, 7.6),
}  # fmt: skip

BLOCKS = (
    Block(
        "Home", "HO", "prune", "French type", 1998, "flood", 1.0, 0.3, (3, 6),
        (Part(((96, 0), (404, 0), (403, 380), (0, 378), (0, 114), (97, 112)), (6,)),),
        soil="clay loam",
    ),
    Block(
        "Shop", "SH", "prune", "French type", 2006, "micro_sprinkler", 1.0, -0.9, (3, 5),
        (Part(((414, 0), (700, 0), (701, 382), (413, 380)), (2, 3)),),
        soil="loam",
    ),
    Block(
        "Long", "LO", "prune", "French type", 2011, "drip", 1.0, 0.2, (3, 5),
        (Part(((710, 0), (889, 0), (888, 381), (711, 382)), (1, 1, 1, 1)),),
        soil="loam", rhythm="drip run like flood",
    ),
    Block(
        "Elbow", "EL", "prune", "French type", 2009, "drip", 1.0, -0.3, (3, 7),
        (Part(((900, 0), (1320, 0), (1320, 174), (1136, 174), (1136, 380), (900, 381)), (3, 2)),),
        soil="loam",
    ),
    Block(
        "Young", "YO", "prune", "French type", 2024, "drip", 1.5, -1.3, (2, 4),
        (Part(((1145, 183), (1320, 183), (1321, 380), (1145, 380)), (2, 2)),),
        soil="loam",
    ),
    Block(
        "Levee", "LE", "walnut", "late leafing", 2003, "micro_sprinkler", 1.0, 0.1, (3, 5),
        (Part(((1332, 0), (1596, 0), (1668, 378), (1333, 380)), (2, 3)),),
        soil="loam",
    ),
    Block(
        "West", "WE", "prune", "French type", 1994, "flood", 1.0, 0.9, (3, 6),
        (Part(((-44, 394), (318, 393), (322, 752), (20, 754)), (5,)),),
        soil="clay loam", thirst=1.3, thirst_after_days=57,
    ),
    Block(
        "Old Well", "OW", "prune", "French type", 2004, "micro_sprinkler", 1.0, -0.6, (4, 7),
        (
            Part(
                ((332, 394), (690, 393), (692, 751), (333, 752)), (3, 3),
                ((498, 566), (546, 566), (547, 607), (499, 608)),
            ),
        ),
        soil="loam",
    ),
    Block(
        "Mailbox", "MB", "almond", "soft shell", 2012, "drip", 1.2, 0.2, (3, 5),
        (Part(((702, 393), (1030, 393), (1031, 750), (703, 751)), (3, 2)),),
        soil="loam",
    ),
    Block(
        "Roadside", "RS", "prune", "French type", 2007, "drip", 1.0, 0.5, (3, 6),
        (
            Part(((1042, 393), (1329, 392), (1331, 749), (1043, 750)), (2, 2)),
            Part(((1043, 776), (1238, 775), (1240, 934), (1044, 936)), (1,)),
        ),
        soil="loam",
    ),
    Block(
        "Creek", "CR", "prune", "French type", 2001, "micro_sprinkler", 1.0, -0.5, (3, 7),
        (Part(_creek_side(-8.0, 412.0), (3, 3)),),
        soil="loam",
    ),
    Block(
        "Bend", "BE", "prune", "French type", 2001, "micro_sprinkler", 1.0, 0.4, (3, 5),
        (Part(_creek_side(423.0, 806.0), (2, 2)),),
        soil="sandy loam", rhythm="sprinklers, long gaps",
    ),
)  # fmt: skip

FAULTS = (
    Fault("HO5", 1.0, dt.date(2026, 6, 1), "gate does not open fully", 0.5),
    Fault("SH2", 0.0, dt.date(2026, 6, 8), "filter clogged", 0.3),
    Fault("EL5", 0.0, dt.date(2026, 5, 1), "short sets"),
    Fault("RS5", 0.8, dt.date(2026, 4, 1), "low pressure past the road", 0.85),
    Fault("BE3", 0.0, dt.date(2026, 6, 28), "sets missed"),
    Fault("MB4", 0.3, dt.date(2026, 6, 12), "emitters clogged", 0.5),
    Fault("OW2", -1.2, dt.date(2026, 4, 1), "leaks, runs wet", 1.3),
    Fault("CR1", -1.0, dt.date(2026, 4, 1), "gets its neighbour's water too", 1.3),
)

VISITS = (
    Visit((dt.date(2026, 5, 28),), 0.45, 0.9, ("clock_12h", "no_value")),
    Visit((dt.date(2026, 6, 4),), 0.52, 0.6, ("duplicate",)),
    Visit((dt.date(2026, 6, 11),), 0.58, 1.0, ("short_bag",)),
    Visit((dt.date(2026, 6, 18),), 0.64, 0.7, ("no_value", "recheck_apart")),
    Visit((dt.date(2026, 6, 25),), 0.7, 0.8, ("early", "lonlat_swapped", "sign_read_as_potential")),
    Visit((dt.date(2026, 7, 1),), 0.8, 1.0, ("short_bag",)),
    Visit((dt.date(2026, 7, 7),), 0.9, 1.3, ("unit_suspect", "duplicate")),
    Visit(
        (dt.date(2026, 7, 14), dt.date(2026, 7, 15)), 1.0, 1.1,
        (
            "early", "short_bag", "duplicate", "outside_blocks", "no_value", "sign_read_as_potential",
            "lonlat_swapped", "unit_suspect", "recheck_apart",
        ),
    ),
)  # fmt: skip

VALLEY = Ranch(
    name="Twelve Gates Ranch",
    seed=20260714,
    epsg=32610,
    origin=(712_900.0, 4_096_800.0),
    turn_deg=2.3,
    knows_rows=True,
    blocks=BLOCKS,
    sand=((-60, 300), (180, 420), (430, 455), (640, 560), (820, 640), (1100, 560), (1400, 610)),
    faults=FAULTS,
    visits=VISITS,
    crops=CROPS,
    climate=Climate(
        start=dt.date(2026, 4, 1),
        end=dt.date(2026, 7, 31),
        warmest=dt.date(2026, 7, 20),
        max_c=38.0,
        spring_drop_c=18.0,
        hot_spell=(dt.date(2026, 7, 4), dt.date(2026, 7, 10)),
        latitude=37.0,
        solar_noon=13.1,
    ),
    dialect=Dialect(
        separator=",",
        decimal=".",
        time="%Y-%m-%d %H:%M",
        unit_bar=1.0,
        header=COLUMNS,
        notes=(
            "weeds tall",
            "wind gusts",
            "leaf a little dusty",
            'crew says "low flow" at the riser, check',
            "fuga junto a la válvula",
        ),
        on_the_way="on the way to the shop",
        broke="petiole broke",
        pump="Pump",
    ),
    drying=True,
)
