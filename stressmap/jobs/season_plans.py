"""What is planned for each block of a season: target, line, limit and harvest."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from stressmap.agronomy.crops import for_variety
from stressmap.agronomy.harvest import at_harvest
from stressmap.agronomy.orchard import Orchard
from stressmap.core.units import parse_month_day
from stressmap.jobs.season_gathered import Gathered
from stressmap.jobs.season_windows import SeasonPaths
from stressmap.season.let_down_table import Plans
from stressmap.season.visit_course import ZERO
from stressmap.water.hydraulics import text_or_none

FARTHEST_HARVEST_DAYS = 200
"""A harvest further away belongs to the next season."""


def season_plans(gathered: Gathered, paths: SeasonPaths) -> dict[str, Plans]:
    """Give what is planned for each block that has a valve zone.

    Parameters
    ----------
    gathered : Gathered
        Visits, targets and blocks.
    paths : SeasonPaths
        Courses of the valve zones.

    Returns
    -------
    dict of str to Plans
        By block.
    """
    orchard = gathered.readings.visits[-1].orchard
    facts, held = gathered.facts, gathered.visits.held
    last, by = gathered.visits.visits[-1][1], gathered.inputs.settings.map.rank_by
    places = orchard.blocks.set_index("block", drop=False)
    stress, sd = (part[-1] for part in paths.at_visits)
    found = {}
    for block, zones in facts.groupby("block", sort=False):
        name, at, area = str(block), zones.index.to_numpy(), zones["area_ha"].to_numpy()
        line, target = (
            np.array([one.loc[name, key] for one in held], dtype=float)
            for key in ("baseline_bar", "target_bar")
        )
        zero = _figure(held[-1], name, ZERO[by]) if by in ZERO else 0.0
        swp = zero - float(np.average(stress[at], weights=area))
        place = places.loc[[name]]
        harvest = next_harvest(orchard, place.iloc[0], last)
        found[name] = Plans(
            line=line,
            target=target,
            below=(float(line[-1]) - swp, float(np.average(sd[at], weights=area))),
            limit_bar=_figure(held[-1], name, "limit_bar"),
            harvest=harvest,
            allowed_then=_allowance(orchard, place, harvest),
            area_ha=float(area.sum()),
        )
    return found


def next_harvest(orchard: Orchard, place: pd.Series, today: dt.date) -> dt.date | None:
    """Give the next harvest of a block.

    Parameters
    ----------
    orchard : Orchard
        Profiles of the crops.
    place : Series
        The block.
    today : date
        From which on.

    Returns
    -------
    date or None
        None where none is known, or the season's is over.
    """
    profile = for_variety(orchard.profiles[place["crop"]], place.get("variety"))
    profile = at_harvest(profile, text_or_none(place.get("harvest")))
    day = profile.harvest or profile.usual_harvest
    if not day:
        return None
    month, number = parse_month_day(day)
    for year in (today.year, today.year + 1):
        date = dt.date(year, month, min(number, 28) if month == 2 else number)
        if 0 <= (date - today).days <= FARTHEST_HARVEST_DAYS:
            return date
    return None


def _allowance(orchard: Orchard, place: pd.DataFrame, day: dt.date | None) -> float:
    if day is None:
        return float("nan")
    return float(orchard.allowances(place.reset_index(drop=True), np.array([day], dtype="datetime64[D]"))[0])


def _figure(held: pd.DataFrame, block: str, name: str) -> float:
    return float(held[name].to_numpy(np.float64)[held.index.tolist().index(block)])
