"""Inputs of the water plan from a ranch's tables and settings: evapotranspiration, climate, requirements."""

from __future__ import annotations

import datetime as dt
import threading
import weakref
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd

from stressmap.agronomy.daily_et import Site, reference_et
from stressmap.agronomy.orchard import Orchard
from stressmap.core.antimeridian import middle_longitude
from stressmap.core.errors import Problem, SettingsError
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.settings import Water
from stressmap.core.units import M3_PER_HA_MM
from stressmap.intake.inputs import Inputs
from stressmap.quality.record_spans import log_reaches
from stressmap.water.crop_water_use import Climate, ReferenceEt, daily_rain, reference
from stressmap.water.formulation import PlanInputs, formulate
from stressmap.water.read_trees import TREES_TO_PLAN, ReadTrees
from stressmap.water.requirement import Requirement, RequirementFacts, requirements, witnesses_apart
from stressmap.water.water_plan import PlanTerms
from stressmap.water.water_sources import supplies_of

CLIMATE_DAYS = 30
"""Days before the plan whose wind and humidity represent the season's: a judgement, no source."""
UNCERTAIN_DAYS, STALE_DAYS = 7, 10
"""Days between readings and plan over which the need is called uncertain, and over which no amounts are
worked out unless asked for: common practice, no source; readings are repeated weekly."""
LOG_GAP_DAYS = 2
"""Days from a log's last set to the plan from which on it is said that nothing is taken to have run since: a
judgement, no source; most valves rest a day and more."""
SALTY_DS_M = 1.0
"""Conductivity of irrigation water from which on salt is spoken of [dS/m]: a root zone under usual leaching
comes to about one and a half times that of its water (FAO Irrigation and Drainage Paper 29, from memory), and
almond yields less from 1.5 dS/m there on ("Soil Salinity and Leaching for Almonds", extension pages, 2010s,
read)."""
WHOLE_DAYS = ("station", "hourly", "daily")


def first_day(water: Water, visit: tuple[dt.date, dt.date]) -> dt.date:
    """Give the first day of a plan: as set, else the day after the visit.

    Parameters
    ----------
    water : Water
        ``[water]``.
    visit : tuple of date
        First and last day of the readings.

    Returns
    -------
    date
    """
    return water.start or visit[1] + dt.timedelta(days=1)


def why_no_amounts(
    water: Water, visit: tuple[dt.date, dt.date], read: ReadTrees, where: str
) -> Noted[Problem | None]:
    """Say why the readings give no more than an order of the valves, where that is so.

    Parameters
    ----------
    water : Water
        ``[water]``; ``amounts_anyway`` asks for amounts all the same.
    visit : tuple of date
        First and last day of the readings.
    read : ReadTrees
        How many trees were read in each block.
    where : str
        The ``ranch.toml``, for messages.

    Returns
    -------
    Noted of Problem or None
        With the note that says the same in a run that goes on without a plan.
    """
    start = first_day(water, visit)
    anyway = ", or ask for amounts all the same with [water] amounts_anyway = true"
    if water.amounts_anyway:
        return Noted(None)
    if abs((start - visit[1]).days) > STALE_DAYS:
        what = f"the plan begins on {start}, but its readings are of {visit[1]}: they tell the order at most"
        remedy = f"Change the first day, leave it out, plan from the readings of another visit{anyway}"
        note = Note.of("plan_stale", "warning", start=start, visit_end=visit[1])
        return Noted(Problem(where, what, remedy, column="water.from"), (note,))
    if read.by_block is not None and all(read.too_few(block) for block in read.by_block):
        what = f"no block has {TREES_TO_PLAN} trees read: they tell the order of the valves, not amounts"
        note = Note.of("plan_too_few_trees", "warning", least=TREES_TO_PLAN)
        return Noted(Problem(where, what, f"Read more trees{anyway}", column="water"), (note,))
    return Noted(None)


def about_salt(water: Water) -> tuple[Note, ...]:
    """Say what salt in the irrigation water does, where it was measured and is much.

    Parameters
    ----------
    water : Water
        ``[water]``, with ``salinity_ds_m``.

    Returns
    -------
    tuple of Note
        None up to :data:`SALTY_DS_M`. No water for leaching is added in any case.
    """
    if water.salinity_ds_m is None or water.salinity_ds_m <= SALTY_DS_M:
        return ()
    return (Note.of("salty_water", "caution", ds_m=water.salinity_ds_m, over=SALTY_DS_M),)


def about_log(log: pd.DataFrame | None, start: dt.date, next_turn: dt.date) -> tuple[Note, ...]:
    """Say where a log has sets of the plan's own days, or ends days before them.

    Parameters
    ----------
    log : DataFrame or None
        As :data:`stressmap.core.schemas.IRRIGATION`.
    start, next_turn : date
        First day of the plan, and the day until which its water must last.

    Returns
    -------
    tuple of Note
        None without a log, and none where its last set ended no more than :data:`LOG_GAP_DAYS` before the
        plan.
    """
    if log is None or log.empty:
        return ()
    begin, until = (pd.Timestamp(day) for day in (start, next_turn))
    ends, starts = (pd.DatetimeIndex(log[name]).tz_localize(None) for name in ("end", "start"))
    within = (ends > begin) & (starts < until)
    if within.any():
        valves = log.loc[within, "valve"].drop_duplicates().tolist()
        return (Note.of("plan_log_within", "caution", start=start, count=int(within.sum()), valves=valves),)
    last = ends.max().date()
    if (start - last).days <= LOG_GAP_DAYS:
        return ()
    return (Note.of("plan_log_ends", "caution", log_end=last, start=start, days=(start - last).days),)


def prepare(
    inputs: Inputs,
    orchard: Orchard,
    valves: pd.DataFrame,
    visit: tuple[dt.date, dt.date],
    water: Water,
    read: ReadTrees | None = None,
) -> Noted[tuple[PlanInputs, PlanTerms]]:
    """Assemble the inputs of a ranch's water plan.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    orchard : Orchard
        The blocks' crops.
    valves : DataFrame, n rows
        The ranked valve table of the visit.
    visit : tuple of date
        First and last day.
    water : Water
        ``[water]``, with what the command line put in its place.
    read : ReadTrees, optional
        When and on how many trees each valve zone was read; by default at the end of the visit, on enough.

    Returns
    -------
    Noted of (PlanInputs, PlanTerms)
        Needs, limits and hours; days and evapotranspiration. Says how that was found, and odd dates.

    Raises
    ------
    SettingsError
        If nothing at all could be watered, or the readings are too old or too few for amounts.
    """
    where, notes = str(inputs.source), NoteList()
    start, read = first_day(water, visit), read or ReadTrees()
    next_turn = water.next_turn or start + dt.timedelta(days=water.days)
    if next_turn <= start:
        what = f"the next turn ({next_turn}) is not after the first day of the plan ({start})"
        raise SettingsError(Problem(where, what, "Give a later day", column="water.next_turn"))
    if (trouble := why_no_amounts(water, visit, read, where).value) is not None:
        raise SettingsError(trouble)
    if abs((start - visit[1]).days - 1) > UNCERTAIN_DAYS:
        notes.say("plan_far_from_visit", "warning", start=start, visit_end=visit[1])
    table = notes.keep(daily_eto(inputs))
    known = {pd.Timestamp(str(day)).date(): float(mm) for day, mm in table["eto_mm"].dropna().items()}
    eto = replace(
        reference(known, before=start, set_mm=water.eto),
        climate=climate_before(inputs, table, start),
        worked_out=bool(table["method"].isin(["hourly", "daily"]).any()),
        rain_by_day=daily_rain(inputs.weather, inputs.settings.ranch.zone),
    )
    notes.add(about_salt(water))
    facts = RequirementFacts(
        water=water,
        orchard=orchard,
        rank_by=inputs.settings.map.rank_by,
        visit_end=visit[1],
        visit_begin=visit[0],
        start=start,
        next_turn=next_turn,
        eto=eto,
        log=inputs.irrigation if log_reaches(inputs.irrigation, visit[1]) else None,
        edges_bar=inputs.settings.map.edges_bar,
        read=read,
        troubles=frozenset(inputs.troubles),
    )
    found = requirements(valves, inputs.valves, inputs.blocks, facts)
    notes.add(about_log(inputs.irrigation, start, next_turn))
    notes.add(_of_needs(found))
    zone, supplies = inputs.settings.ranch.zone, supplies_of(inputs.valves)
    case = formulate(found, water, start, zone, where, supplies)
    if unfed := without_source(case, water):
        volume_m3 = case.problem.volume_m3
        notes.say("valves_without_source", "warning", valves=unfed, volume_m3=volume_m3)
    return notes.beside((case, PlanTerms(start, next_turn, water, eto, orchard.profiles)))


def _of_needs(found: list[Requirement]) -> NoteList:
    """Say which valves to look at before opening, where only the order is told, and where logs do not fit."""
    notes = NoteList()
    looked = [one.valve for one in found if one.inspect]
    if looked:
        notes.say("look_before_opening", "warning", valves=looked)
    if guessed := without_system(found):
        notes.say("system_assumed", "warning", blocks=guessed, count=len(guessed))
    thin = list(dict.fromkeys(one.block for one in found if one.order_only))
    if thin:
        kept = sum(one.daily_use_mm / one.factor * one.area_ha for one in found if one.order_only)
        a_day = kept * M3_PER_HA_MM
        notes.say("blocks_order_only", "warning", blocks=thin, least=TREES_TO_PLAN, volume_m3=a_day)
    for crop, mm in witnesses_apart(found)[1].items():
        if mm > 0:
            notes.say("book_asks_more", "caution", crop=crop, depth_mm=mm)
        else:
            notes.say("book_asks_less", "caution", crop=crop, depth_mm=-mm)
    return notes


def without_system(needs: Iterable[Requirement]) -> list[str]:
    """Give the blocks whose irrigation system is not known, or its word not understood.

    Parameters
    ----------
    needs : iterable of Requirement
        Of the valves.

    Returns
    -------
    list of str
        Each once.
    """
    guessed = {"system", "system_not_known"}
    return list(dict.fromkeys(need.block for need in needs if guessed & set(need.assumed)))


def without_source(case: PlanInputs, water: Water) -> list[str]:
    """Give the valves that may run and draw on none of the sources that there are.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    water : Water
        ``[water]``.

    Returns
    -------
    list of str
        Empty without sources.
    """
    if not water.sources:
        return []
    each = zip(case.requirements, case.problem.source.tolist(), case.barred, strict=True)
    return [need.valve for need, source, why in each if source < 0 and not why]


def daily_eto(inputs: Inputs) -> Noted[pd.DataFrame]:
    """Give the reference evapotranspiration of the days that the weather table covers.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.

    Returns
    -------
    Noted of DataFrame
        As :func:`stressmap.agronomy.daily_et.reference_et` gives it; empty without weather.
    """
    if inputs.weather is None or inputs.weather.empty:
        return Noted(pd.DataFrame({"eto_mm": pd.Series(dtype=float), "method": pd.Series(dtype=object)}))
    asked = (_site(inputs.blocks), inputs.settings.ranch.zone)
    known: _KnownEto | None = getattr(_here, "eto", None)
    if known is None or known.weather() is not inputs.weather or known.asked != asked:
        known = _KnownEto(weakref.ref(inputs.weather), asked, reference_et(inputs.weather, *asked))
        _here.eto = known
    return Noted(known.found.value.copy(), known.found.notes)


@dataclass(frozen=True)
class _KnownEto:
    """What was worked out last: memory, plan and season ask for the same days one after the other."""

    weather: weakref.ref[pd.DataFrame]
    asked: tuple[Site, ZoneInfo]
    found: Noted[pd.DataFrame]


_here = threading.local()
"""The days that this thread asked for last."""


def climate_before(inputs: Inputs, table: pd.DataFrame, start: dt.date) -> Climate | None:
    """Give the wind and the lowest humidity of the last weeks before the plan.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    table : DataFrame
        From :func:`daily_eto`; days that the record covers are those worked out by the hour or by extremes,
        or measured by the station.
    start : date
        First day of the plan.

    Returns
    -------
    Climate or None
        None where wind or humidity are not known.
    """
    if inputs.weather is None or not {"wind_m_s", "rh_pct"} <= set(inputs.weather.columns):
        return None
    whole = {pd.Timestamp(str(day)).date() for day in table.index[table["method"].isin(WHOLE_DAYS)]}
    local = pd.DatetimeIndex(inputs.weather["time"]).tz_convert(inputs.settings.ranch.zone)
    days = pd.Series(local.date, index=inputs.weather.index)
    first = start - dt.timedelta(days=CLIMATE_DAYS)
    record = inputs.weather[days.isin(whole) & (days >= first) & (days < start)]
    wind, humid = record["wind_m_s"].mean(), record["rh_pct"].groupby(days).min().mean()
    return Climate(float(wind), float(humid)) if np.isfinite(wind) and np.isfinite(humid) else None


def _site(blocks: gpd.GeoDataFrame) -> Site:
    west, south, east, north = blocks.geometry.to_crs("EPSG:4326").total_bounds
    return Site(float((south + north) / 2.0), middle_longitude(float(west), float(east)))


def assumptions(case: PlanInputs, eto: ReferenceEt) -> Mapping[str, int]:
    """Count the valves for which each thing was assumed.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    eto : ReferenceEt
        Reference evapotranspiration.

    Returns
    -------
    mapping of str to int
        Code to how many valves, the most common first; codes are those of the column ``assumed``.
    """
    codes = [code for need in case.requirements for code in need.assumed]
    names, counts = np.unique(np.array(codes, dtype=str), return_counts=True)
    found = dict(zip(names.tolist(), counts.tolist(), strict=True))
    open_pumps = int((~np.isfinite(case.problem.capacity_m3_h[case.problem.pump])).sum())
    if open_pumps:
        found["no_pump"] = open_pumps
    held = {"eto_usual": eto.source == "weather", "elevation": eto.worked_out, "wind_height": eto.worked_out}
    found |= {code: len(case.requirements) for code, holds in held.items() if holds}
    found["set_rules"] = len(case.requirements)
    found["rain" if eto.rain_by_day else "no_rain"] = len(case.requirements)
    return dict(sorted(found.items(), key=lambda item: (-item[1], item[0])))
