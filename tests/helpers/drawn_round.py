"""A drawn round on the small ranch: two crews, trees known and new, with ways along the rows."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np

from helpers import small_ranch
from stressmap.core.settings import Ranch, Reading
from stressmap.output.view.round_content import RoundContent
from stressmap.rounds.round import WHY, Round, Stop, Way

ZONE = ZoneInfo("America/Los_Angeles")
DAY = dt.date(2026, 7, 21)


def at(minutes: float, day: dt.date = DAY) -> dt.datetime:
    """Give a moment so many minutes after noon."""
    return dt.datetime.combine(day, dt.time(12), ZONE) + dt.timedelta(minutes=minutes)


def drawn(stops: int = 24, crews: int = 2) -> Round:
    """Draw a round: bags every two minutes from 12:40 on, readings from 13:00 on."""
    rng = np.random.default_rng(20260721)
    made: list[Stop] = []
    ways: list[Way] = []
    for number in range(1, stops + 1):
        crew = 1 + (number - 1) * crews // stops
        place = (number - 1) % (stops // crews)
        south = crew == crews and crews > 1
        x = small_ranch.WEST + float(rng.uniform(330 if south else 10, 610 if south else 290))
        y = small_ranch.SOUTH + float(rng.uniform(10, 390))
        known = number % 2 == 1
        row = None if known else int(rng.integers(1, 40))
        base = 13.0 + float(rng.normal(0, 1))
        unknown = number == 2
        figures = (float("nan"),) * 3 if unknown else (base, base - 1.8, base + 2.1)
        why = (
            ("standing_tree",)
            if known
            else (WHY[number % len(WHY)], "new_tree", "near_edge")[: 2 + number % 2]
        )
        name, place_of = f"T{number}" if known else f"R{row}-{number}", ("South Shed", "S1")
        block, valve = place_of if south else ("North Shed", "N2")
        own = (number, crew, name, block, valve, row, None if known else number, x, y)
        made.append(Stop(*own, at(40 + 1.7 * place), at(61 + 3.3 * place), why, *figures, known))
    for crew in range(1, crews + 1):
        mine = [stop for stop in made if stop.crew == crew]
        for one, other in pairwise(mine):
            corner = (one.x, other.y)
            how = "drive" if one.number % 5 == 0 else "walk"
            ways.append(Way(crew, how, 60.0, ((one.x, one.y), corner, (other.x, other.y))))  # type: ignore[arg-type]
    return Round(tuple(made), crews, 30.0, 36.0, (), tuple(ways))


def content(
    planned: Round | None = None,
    *,
    languages: tuple[str, ...] = ("en", "es"),
    units: str = "us",
    unit: str = "bar",
) -> RoundContent:
    """Give the round as its files are made from it."""
    ranch = Ranch(name="Two Sheds", timezone=str(ZONE), units=units, languages=languages)  # type: ignore[arg-type]
    blocks: gpd.GeoDataFrame = small_ranch.blocks()
    return RoundContent(
        ranch,
        Reading(unit=unit),
        DAY,
        planned or drawn(),
        (at(60), at(180)),
        blocks,
        small_ranch.valves(),  # type: ignore[arg-type]
    )
