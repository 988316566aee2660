"""What a round is planned from: the mapped visit, trees known, hours and weather to expect."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.agronomy.crop_readings import places_of
from stressmap.agronomy.expected_weather import expected_deficit_kpa
from stressmap.agronomy.orchard import Orchard
from stressmap.core.arrays import Floats
from stressmap.core.errors import Problem, SettingsError
from stressmap.core.settings import Settings
from stressmap.geostat.surface import Surface
from stressmap.intake.inputs import Inputs
from stressmap.intake.trouble_words import TREE_TROUBLE_WORDS, trouble_codes
from stressmap.intake.young_trees import young_in_old_block
from stressmap.jobs.assess_visit import Assessed
from stressmap.jobs.map_visit import decision_of, ground_of
from stressmap.quality.visit import visits_in
from stressmap.rounds.first_surface import UnreadSurface
from stressmap.rounds.round import (
    CrewRules,
    HourlyTargets,
    ReadingHours,
    RoundTask,
    SeasonWants,
    Spot,
    StandingTree,
)
from stressmap.zoning.mapping import valve_means
from stressmap.zoning.ranking import ZoneMeans

Trees = tuple[StandingTree, ...]
FAR_M = 50_000.0
"""Crews start no further than this from a block."""
STEP_MINUTES = 15
"""Between moments whose weather is foretold."""


@dataclass(frozen=True)
class AskedRound:
    """What was asked for on the command line, or follows from the settings.

    Parameters
    ----------
    day : date
        Of the round.
    opens, closes : time
        When readings begin and end to count.
    crews : int
        That go out.
    late : bool
        Whether it begins later than usual: no bag goes on before it does.
    """

    day: dt.date
    opens: dt.time
    closes: dt.time
    crews: int
    late: bool = False


def hours_of(asked: AskedRound, chosen: Settings) -> ReadingHours:
    """Give the hours of a round on the ranch's clock.

    Parameters
    ----------
    asked : AskedRound
        Day and hours.
    chosen : Settings
        Time zone, how long before the window bags go on.

    Returns
    -------
    ReadingHours
    """
    zone = chosen.ranch.zone
    opens, closes = (dt.datetime.combine(asked.day, clock, zone) for clock in (asked.opens, asked.closes))
    before = dt.timedelta(minutes=0 if asked.late else chosen.round.before_minutes)
    return ReadingHours(opens, closes, opens - before)


def rules_of(asked: AskedRound, chosen: Settings, *, read: int = 0) -> CrewRules:
    """Give how fast crews are.

    Parameters
    ----------
    asked : AskedRound
        How many.
    chosen : Settings
        ``[round]`` and bag minutes.
    read : int
        Trees read already today.

    Returns
    -------
    CrewRules
    """
    own = chosen.round
    return CrewRules(
        crews=asked.crews,
        trees=max(1, own.trees - read),
        bag_seconds=own.bag_seconds,
        read_seconds=own.read_seconds,
        least_bagged_minutes=chosen.reading.bag_minutes,
        most_bagged_minutes=max(own.most_bagged_minutes, chosen.reading.bag_minutes),
        walk_m_s=own.walk_m_s,
        drive_m_s=own.drive_m_s,
        start_seconds=own.start_seconds,
    )


def task_of(
    inputs: Inputs, assessed: Assessed, surface: Surface, asked: AskedRound, known: tuple[Trees, SeasonWants]
) -> RoundTask:
    """Put together all that a round is planned from.

    Parameters
    ----------
    inputs : Inputs
        Of the ranch.
    assessed : Assessed
        The visit that is mapped.
    surface : Surface
        Of it, with memory where there is any.
    asked : AskedRound
        Day, hours, crews.
    known : tuple of (tuple of StandingTree, SeasonWants)
        The trees of earlier readings, and what the season wants.

    Returns
    -------
    RoundTask
    """
    ground, hours = ground_of(inputs), hours_of(asked, inputs.settings)
    standing, wants = known
    return RoundTask(
        surface=surface,
        ground=ground,
        decision=decision_of(inputs, valve_means(surface, ground)),
        hours=hours,
        rules=rules_of(asked, inputs.settings, read=len(wants.read_today)),
        standing=standing,
        wants=wants,
        targets=hourly_targets(inputs, assessed.orchard, hours),
        roads=inputs.roads,
        gates=tuple((point.x, point.y) for point in inputs.road_points if point.gate),
        start=start_of(inputs),
        days_ahead=max(0.0, float((asked.day - assessed.visit[1]).days)),
    )


def first_task(inputs: Inputs, asked: AskedRound) -> RoundTask:
    """Put together what the first round of a ranch is planned from: no reading, no tree known.

    Parameters
    ----------
    inputs : Inputs
        Of the ranch.
    asked : AskedRound
        Day, hours, crews.

    Returns
    -------
    RoundTask
        Without pressures to be expected.
    """
    surface, count = UnreadSurface(**inputs.settings.model.model_dump()), len(inputs.valves)
    figures = ZoneMeans(np.zeros(count), np.full(count, surface.zone_sd_bar))
    every = frozenset(inputs.blocks["block"].astype(str))
    return RoundTask(
        surface=surface,
        ground=ground_of(inputs),
        decision=decision_of(inputs, figures),
        hours=hours_of(asked, inputs.settings),
        rules=rules_of(asked, inputs.settings),
        wants=SeasonWants(never_read=every, chambers=carried(asked, inputs.settings)),
        roads=inputs.roads,
        gates=tuple((point.x, point.y) for point in inputs.road_points if point.gate),
        start=start_of(inputs),
    )


def carried(asked: AskedRound, chosen: Settings) -> int:
    """Tell how many chambers each crew carries, at least one: a tree is read with what its crew has."""
    return max(1, (chosen.round.chambers or asked.crews) // asked.crews)


def start_of(inputs: Inputs) -> Spot | None:
    """Find where the crews start.

    Parameters
    ----------
    inputs : Inputs
        Of the ranch.

    Returns
    -------
    tuple of float or None
        Easting and northing [m]; None where ``[round] start`` says nothing.

    Raises
    ------
    SettingsError
        If no point has that name, or the place is far away.
    """
    asked, where = inputs.settings.round.start, str(inputs.source)
    if asked is None:
        return None
    if isinstance(asked, str):
        named = {point.name.casefold(): (point.x, point.y) for point in inputs.road_points if point.name}
        if asked.casefold() in named:
            return named[asked.casefold()]
        what = f"[round] start: no point in [files] roads is called {asked!r}"
        known = ", ".join(repr(point.name) for point in inputs.road_points[:8] if point.name)
        remedy = f"Write [longitude, latitude]{f', or one of {known}' if known else ''}"
        raise SettingsError(Problem(where, what, remedy))
    spot = gpd.GeoSeries.from_xy([asked[0]], [asked[1]], crs="EPSG:4326").to_crs(inputs.crs).iloc[0]
    away = float(inputs.blocks.geometry.distance(spot).min())
    if not away <= FAR_M:
        what = f"[round] start: {list(asked)} is {away / 1000:,.0f} km from every block"
        raise SettingsError(Problem(where, what, "Write [longitude, latitude], longitude first"))
    return float(spot.x), float(spot.y)


def standing_trees(
    named: gpd.GeoDataFrame, visit: tuple[dt.date, dt.date], blocks: pd.DataFrame | None = None
) -> tuple[StandingTree, ...]:
    """List the trees known from earlier readings.

    Parameters
    ----------
    named : GeoDataFrame
        From :func:`stressmap.jobs.trees_read.named_readings`.
    visit : tuple of date
        First and last day of the visit that is mapped.
    blocks : DataFrame, optional
        As :data:`stressmap.core.schemas.BLOCKS`: they tell which trees are younger than their block.

    Returns
    -------
    tuple of StandingTree
        By block and name; each at the middle of its places.
    """
    if named.empty:
        return ()
    day = named["time"].dt.date
    starts = np.array([first for first, *_ in visits_in(named)])
    table = pd.DataFrame(named[["tree", "tree_id", "block", "valve", "note"]]).assign(
        x=named.geometry.x,
        y=named.geometry.y,
        visit=np.searchsorted(starts, day, side="right"),
        last=(day >= visit[0]) & (day <= visit[1]),
    )
    planted = {} if blocks is None else blocks.set_index("block")["planted"].to_dict()
    found = []
    for _, own in table.sort_values(["block", "tree_id"], kind="stable").groupby("tree", sort=False):
        end = own.iloc[-1]
        spot = (float(own["x"].median()), float(own["y"].median()))
        age = planted.get(str(end["block"]), np.nan)
        cautions = _cautions(end["note"])
        cautions += ("young_tree",) if young_in_old_block(own["note"], age, visit[1].year) else ()
        told = (int(own["visit"].nunique()), bool(own["last"].any()), cautions)
        found.append(StandingTree(str(end["tree_id"]), spot, str(end["block"]), str(end["valve"]), *told))
    return tuple(found)


def _cautions(note: object) -> tuple[str, ...]:
    codes = trouble_codes(note, TREE_TROUBLE_WORDS) if isinstance(note, str) else None
    return ("sick_tree",) if codes and "sick_tree" in codes.split("; ") else ()


def hourly_targets(inputs: Inputs, orchard: Orchard, hours: ReadingHours) -> HourlyTargets | None:
    """Tell what is added to the mapped figure to give a reading, hour by hour and block by block.

    Parameters
    ----------
    inputs : Inputs
        Weather, what ranks.
    orchard : Orchard
        Lines and targets of the crops.
    hours : ReadingHours
        Of the round.

    Returns
    -------
    HourlyTargets or None
        None where nothing can be foretold.
    """
    moments = pd.date_range(hours.opens, hours.closes, freq=f"{STEP_MINUTES}min")
    minute = np.asarray((moments - pd.Timestamp(hours.opens)) / pd.Timedelta(minutes=1), dtype=np.float64)
    deficit = expected_deficit_kpa(moments, inputs.weather)
    bar = np.column_stack([_held(inputs, orchard, hours.opens.date(), kpa) for kpa in deficit])
    return HourlyTargets(minute, bar) if np.isfinite(bar).any() else None


def _held(inputs: Inputs, orchard: Orchard, day: dt.date, vpd_kpa: float) -> Floats:
    """Give the tension that the mapped figure is counted from, in each block at a deficit [bar]."""
    places = places_of(orchard.blocks["block"], orchard.blocks)
    baseline = orchard.baselines(places, np.full(len(places), vpd_kpa))
    rank_by = inputs.settings.map.rank_by
    if rank_by == "tension":
        return np.zeros(len(places))
    if rank_by == "below_baseline":
        return -baseline
    days = np.full(len(places), np.datetime64(day, "D"))
    return -np.asarray(orchard.targets(places, days, baseline), dtype=np.float64)
