"""A planned round as its files show it: actions by the clock, codes, places, figures of the crew's gauge."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, NamedTuple

import geopandas as gpd
import pandas as pd

from stressmap.core.notes import Note
from stressmap.core.set_codes import codes_of_trees
from stressmap.core.settings import Ranch, Reading
from stressmap.core.units import BAR_PER
from stressmap.intake.planned_work import STOPS
from stressmap.output.text.round_words import RoundWords
from stressmap.output.text.words import Words
from stressmap.rounds.round import Round, Stop

WGS84 = "EPSG:4326"
COLUMNS = (
    "stop", "crew", "action", "clock", "tree_id", "block", "valve", "row", "lon", "lat", "why_en", "why_es",
    "expected_bar", "expected_low_bar", "expected_high_bar",
)  # fmt: skip
"""Of ``round.csv``."""
GAUGE_DECIMALS = {"bar": 1, "MPa": 2, "kPa": 0, "psi": 0}
"""As gauges are read."""
ROW_WORDS = ("row", "in_row")
PER_BAR = {unit: 1.0 / bar for unit, bar in BAR_PER.items()}


class Action(NamedTuple):
    """What a crew does at a stop, and when."""

    when: dt.datetime
    kind: Literal["bag", "read"]
    stop: Stop

    @property
    def clock(self) -> str:
        """The minute in which it begins, local."""
        return f"{self.when:%H:%M}"


@dataclass(frozen=True)
class RoundContent:
    """A planned round and the ranch that it is for.

    Parameters
    ----------
    ranch : Ranch
        Name, units, languages.
    reading : Reading
        Unit of the gauge, hours, bag minutes, how far two readings may lie apart.
    on : date
        Day of the round.
    planned : Round
        Its stops and ways.
    hours : tuple of datetime
        When readings begin and end to count, local.
    blocks, valves : GeoDataFrame
        In the working CRS.
    roads : geometry, optional
        Lines in the working CRS.
    """

    ranch: Ranch
    reading: Reading
    on: dt.date
    planned: Round
    hours: tuple[dt.datetime, dt.datetime]
    blocks: gpd.GeoDataFrame
    valves: gpd.GeoDataFrame
    roads: Any = None

    @cached_property
    def codes(self) -> dict[int, str]:
        """Code of each stop's tree, by number."""
        stops = self.planned.stops
        codes = codes_of_trees([(stop.block, stop.tree_id) for stop in stops])
        return dict(zip((stop.number for stop in stops), codes, strict=True))

    @cached_property
    def degrees(self) -> dict[int, tuple[float, float]]:
        """Longitude and latitude of each stop, by number."""
        found = self.in_degrees([(stop.x, stop.y) for stop in self.planned.stops])
        return dict(zip((stop.number for stop in self.planned.stops), found, strict=True))

    def in_degrees(self, spots: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
        """Give places of the working CRS [m] as longitude and latitude."""
        x, y = zip(*spots, strict=True)
        points = gpd.GeoSeries(gpd.points_from_xy(x, y), crs=self.blocks.crs).to_crs(WGS84)
        return [(float(point.x), float(point.y)) for point in points]

    @cached_property
    def crews(self) -> list[int]:
        """Crews that have a stop."""
        return sorted({stop.crew for stop in self.planned.stops})

    def actions(self, crew: int) -> list[Action]:
        """Give what a crew does, by the clock."""
        mine = [stop for stop in self.planned.stops if stop.crew == crew]
        made = [Action(stop.bag_at, "bag", stop) for stop in mine]
        made += [Action(stop.read_at, "read", stop) for stop in mine]
        return sorted(made, key=lambda one: (one.when, one.kind == "read", one.stop.number))

    def gauge(self, tension_bar: float) -> float | None:
        """Give a tension in the unit of the crew's gauge, as it would be read; None where unknown."""
        unit = self.reading.unit
        if tension_bar != tension_bar:  # noqa: PLR0124 - NaN is what differs from itself
            return None
        return round(tension_bar * PER_BAR[unit], GAUGE_DECIMALS[unit]) + 0.0

    def shown(self, tension_bar: float, words: Words) -> str:
        """Write a tension as the gauge shows it, without its unit; ``""`` where unknown."""
        figure = self.gauge(tension_bar)
        return "" if figure is None else words.number(figure, GAUGE_DECIMALS[self.reading.unit])

    def expected(self, stop: Stop, words: Words) -> str:
        """Write the range that is expected of a stop, without its unit; ``""`` where unknown."""
        ends = [self.shown(bar, words) for bar in (stop.expected_low_bar, stop.expected_high_bar)]
        return f"{ends[0]}-{ends[1]}" if all(ends) else ""


@dataclass(frozen=True)
class PlannedRound:
    """A round that was planned, and what it rests on.

    Parameters
    ----------
    content : RoundContent
        The round.
    visit : tuple of date or None
        The readings it rests on; None for the first round of a ranch.
    folder : Path
        Where its files are.
    interval_days : int or None
        Days after the last visit that the day was set by; None where it was asked for.
    usual : bool
        Whether these are the ranch's usual ones, not a week.
    read_today : int
        Trees kept out because they are read already.
    notes : tuple of Note
        What there is to say.
    """

    content: RoundContent
    visit: tuple[dt.date, dt.date] | None
    folder: Path
    interval_days: int | None
    usual: bool
    read_today: int
    notes: tuple[Note, ...]


def round_table(content: RoundContent) -> pd.DataFrame:
    """Give the round as a table, a row per action: crew after crew, by the clock.

    Parameters
    ----------
    content : RoundContent
        The round.

    Returns
    -------
    DataFrame
        Columns :data:`COLUMNS`; clocks as ``HH:MM``, expected tensions positive.
    """
    rows = []
    for crew in content.crews:
        for action in content.actions(crew):
            stop = action.stop
            lon, lat = content.degrees[stop.number]
            place = (stop.tree_id, stop.block, stop.valve, stop.row, lon, lat)
            rows.append((stop.number, crew, action.kind, action.clock, *place, *_why_and_expected(stop)))
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.astype({"row": "Int64"})


def _why_and_expected(stop: Stop) -> tuple[str, str, float, float, float]:
    """Give what ends a stop's row in every table: why, in both languages, and the range that is expected."""
    english, spanish = RoundWords("en").why(stop.why), RoundWords("es").why(stop.why)
    return english, spanish, stop.expected_bar, stop.expected_low_bar, stop.expected_high_bar


def row_said(stop: Stop, languages: Sequence[RoundWords]) -> str:
    """Say in which row a tree stands, and which of its trees it is.

    Parameters
    ----------
    stop : Stop
        Of the round.
    languages : sequence of RoundWords
        A word of each stands beside the other.

    Returns
    -------
    str
        ``"row/hilera 10, tree/árbol 2"``; ``""`` where not known.
    """
    if stop.row is None:
        return ""
    row, tree = ("/".join(dict.fromkeys(words(f"paper.{key}") for words in languages)) for key in ROW_WORDS)
    return f"{row} {stop.row}" + (f", {tree} {stop.tree_number}" if stop.tree_number is not None else "")


def stops_of_form(content: RoundContent) -> pd.DataFrame:
    """Give the stops as the field form takes them.

    Parameters
    ----------
    content : RoundContent
        The round.

    Returns
    -------
    DataFrame
        As :func:`stressmap.intake.planned_work.read_round` gives them.
    """
    rows = []
    for stop in sorted(content.planned.stops, key=lambda one: (one.bag_at, one.number)):
        lon, lat = content.degrees[stop.number]
        crew = str(stop.crew) if len(content.crews) > 1 else ""
        row = None if stop.row is None else str(stop.row)
        told = (row, crew, str(stop.number), f"{stop.bag_at:%H:%M}", f"{stop.read_at:%H:%M}", lon, lat)
        rows.append((stop.tree_id, stop.block, stop.valve, *told, *_why_and_expected(stop)))
    return pd.DataFrame(rows, columns=list(STOPS))
