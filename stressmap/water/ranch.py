"""From a ranch's tables and settings to its water plan."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.agronomy.demand import Site, reference_et
from stressmap.agronomy.orchard import at_latitude, latitude_of
from stressmap.errors import Notes, Problem, SettingsError
from stressmap.settings import Water
from stressmap.survey import Inputs
from stressmap.water.advice import Advice, Terms, advise
from stressmap.water.assemble import Case, assemble
from stressmap.water.demand import Eto, reference
from stressmap.water.need import Facts, needs


def advise_ranch(
    inputs: Inputs,
    valves: pd.DataFrame,
    visit: tuple[dt.date, dt.date],
    asked: Mapping[str, object],
    notes: Notes,
) -> Advice:
    """Make the water plan of a ranch.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    valves : DataFrame, n rows
        The ranked valve table of the visit.
    visit : tuple of date
        First and last day.
    asked : mapping
        What stands in for keys of ``[water]``: ``available`` [m3], ``days``.
    notes : Notes
        Gets how evapotranspiration was found, and odd dates.

    Returns
    -------
    Advice

    Raises
    ------
    SettingsError
        If nothing at all could be watered.
    """
    water = (inputs.settings.water or Water()).model_copy(update=dict(asked))
    return advise(*prepare(inputs, valves, visit, water, notes))


def prepare(
    inputs: Inputs, valves: pd.DataFrame, visit: tuple[dt.date, dt.date], water: Water, notes: Notes
) -> tuple[Case, Terms]:
    """Put together what the plan of a ranch is made from.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    valves : DataFrame, n rows
        The ranked valve table of the visit.
    visit : tuple of date
        First and last day.
    water : Water
        ``[water]``, with what the command line put in its place.
    notes : Notes
        Gets how evapotranspiration was found, and odd dates.

    Returns
    -------
    case : Case
        Needs, limits and hours.
    terms : Terms
        Days and evapotranspiration.

    Raises
    ------
    SettingsError
        If nothing at all could be watered.
    """
    where = str(inputs.source)
    start = water.start or visit[1] + dt.timedelta(days=1)
    next_turn = water.next_turn or start + dt.timedelta(days=water.days)
    if next_turn <= start:
        what = f"the next turn ({next_turn}) is not after the first day of the plan ({start})"
        raise SettingsError(Problem(where, what, "Give a later day", column="water.next_turn"))
    if abs((start - visit[1]).days - 1) > 7:
        notes.say(f"The water plan begins on {start}, the readings are of {visit[1]}: the need is uncertain.")
    profiles = at_latitude(inputs.profiles, latitude_of(inputs.blocks), Notes())
    eto = reference(daily_eto(inputs, notes), before=start, set_mm=water.eto)
    facts = Facts(
        water=water,
        profiles=profiles,
        rank_by=inputs.settings.map.rank_by,
        visit_end=visit[1],
        start=start,
        next_turn=next_turn,
        eto=eto,
        log=inputs.irrigation,
        blocks_file=str(inputs.settings.files.blocks),
        settings_file=where,
        edges_bar=inputs.settings.map.edges_bar,
    )
    found = needs(valves, inputs.valves, inputs.blocks, facts)
    case = assemble(found, water, start, inputs.settings.ranch.zone, where)
    return case, Terms(start, next_turn, water, eto, profiles)


def daily_eto(inputs: Inputs, notes: Notes) -> dict[dt.date, float]:
    """Give the reference evapotranspiration of the days that the weather table covers.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    notes : Notes
        Told which method gave how many days.

    Returns
    -------
    dict of date to float
        [mm/day]; empty without weather.
    """
    if inputs.weather is None or inputs.weather.empty:
        return {}
    table = reference_et(inputs.weather, _site(inputs.blocks), inputs.settings.ranch.zone, notes)
    known = table["eto_mm"].dropna()
    return {pd.Timestamp(str(day)).date(): float(mm) for day, mm in known.items()}


def _site(blocks: gpd.GeoDataFrame) -> Site:
    west, south, east, north = blocks.geometry.to_crs("EPSG:4326").total_bounds
    return Site(float((south + north) / 2.0), float((west + east) / 2.0))


def assumptions(case: Case, eto: Eto) -> Mapping[str, int]:
    """Count the valves for which each thing was assumed.

    Parameters
    ----------
    case : Case
        Of n valves.
    eto : Eto
        Reference evapotranspiration.

    Returns
    -------
    mapping of str to int
        Code to how many valves, the most common first; codes are those of the column ``assumed``.
    """
    codes = [code for need in case.needs for code in need.assumed]
    names, counts = np.unique(np.array(codes, dtype=str), return_counts=True)
    found = dict(zip(names.tolist(), counts.tolist(), strict=True))
    open_pumps = int((~np.isfinite(case.problem.capacity_m3_h[case.problem.pump])).sum())
    if open_pumps:
        found["no_pump"] = open_pumps
    if eto.source == "weather":
        found["eto_usual"] = len(case.needs)
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))
