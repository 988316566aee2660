"""A season so far, from the visits, the log and the weather: course, cycles, what is due, alarms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import NoteList
from stressmap.core.progress import Progress, Silent
from stressmap.geostat.drying_slopes import USUAL_DRYING
from stressmap.geostat.memory_mixture import MemorySurface
from stressmap.geostat.samples import Estimate
from stressmap.intake.inputs import Inputs
from stressmap.jobs.assess_visit import Assessed
from stressmap.jobs.borrowed_soils import lent_by_valve, main_crop
from stressmap.jobs.next_visit import next_visit_day
from stressmap.jobs.recall_visits import Remembered
from stressmap.jobs.season_gathered import Gathered, gather
from stressmap.jobs.season_notes import readings_told, season_notes
from stressmap.jobs.season_plans import season_plans
from stressmap.jobs.season_windows import (
    FittedLast,
    SeasonPaths,
    differences,
    dried_without_log,
    season_paths,
    season_visits,
)
from stressmap.season.calendar_days import date_of, day_numbers
from stressmap.season.compared import compared, manners
from stressmap.season.days_left import DaysLeft
from stressmap.season.due_table import Ahead, Turns, due_calendar, due_table, passed_after, usual_interval
from stressmap.season.irrigation_cycles import CycleDays, cycle_days, cycle_table, pairs_of, sides_seen
from stressmap.season.learnt import block_table, learnt_by_valve, water_per_bar
from stressmap.season.let_down_table import let_down_table
from stressmap.season.not_relieved import Alarm, WaterFacts, alarms_of
from stressmap.season.phases import same_phases
from stressmap.season.read_days import ReadDays
from stressmap.season.season import DayByDay, Season
from stressmap.season.visit_course import AtVisits, bar_days, course_table, over_target
from stressmap.water.read_trees import ReadTrees


def season_of(
    inputs: Inputs,
    assessed: Assessed,
    *,
    shared: Remembered | None = None,
    whole: bool = False,
    progress: Progress | None = None,
) -> Season:
    """Work out the season up to a visit.

    Parameters
    ----------
    inputs : Inputs
        From :func:`stressmap.jobs.assess_visit.load_inputs`.
    assessed : Assessed
        The last visit.
    shared : Remembered, optional
        The last visits, where they were checked and fitted together already: what is due follows from them,
        so that a map and a season of the same files say the same.
    whole : bool, optional
        Whether the course before those visits is wanted too.
    progress : Progress, optional
        Told of the stages.

    Returns
    -------
    Season
    """
    notes, tell = NoteList(), progress or Silent()
    tell.stage("Gathering the season")
    fitted = None if shared is None else _fitted_last(shared, whole=whole)
    visits = season_visits(inputs, assessed, () if shared is None else shared.earlier)
    drying = USUAL_DRYING if shared is None else shared.drying
    gathered = notes.keep(gather(inputs, visits, drying))
    which, days = _cycles(gathered)
    pairs = pairs_of(which["zone"].to_numpy(np.int64), days, gathered.first)
    tell.stage("Following the valve zones")
    span = gathered.first, gathered.today
    paths = season_paths(inputs, gathered.readings, gathered.dryness, span, pairs, fitted_last=fitted)
    if not gathered.dryness.known:
        usual, hot = (np.append(0.0, np.cumsum(mm)) for mm in (gathered.et.ahead, gathered.et.hot))
        paths = dried_without_log(paths, (usual, hot), gathered.soil)
    made = _made(gathered, paths, (which, days, pairs))
    notes.add(season_notes(made, gathered))
    notes.add(readings_told([one.readings for one in visits]))
    lent = lent_by_valve(gathered.facts, drying, main_crop(assessed))
    return replace(made, lent=lent, notes=tuple(notes))


def _cycles(gathered: Gathered) -> tuple[pd.DataFrame, CycleDays]:
    """Choose the irrigations since the first visit, and the days on which they are looked at."""
    came, table = gathered.came, gathered.irrigations
    none = np.zeros(0)
    if came is None:
        return table.iloc[:0], cycle_days(none.astype(np.int64), none, none, gathered.today)
    inside = (np.floor(came.start) >= gathered.first) & (came.start <= gathered.today)
    days = cycle_days(came.zone[inside], came.start[inside], came.end[inside], gathered.today)
    return table[inside].reset_index(drop=True), days


def _made(gathered: Gathered, paths: SeasonPaths, looked: tuple[pd.DataFrame, CycleDays, Ints]) -> Season:
    """Put all tables together."""
    facts, today = gathered.facts, gathered.today
    blocks, by = facts["block"].tolist(), gathered.inputs.settings.map.rank_by
    grid = paths.first + np.arange(len(paths.mean), dtype=float)
    over = over_target(paths.mean, grid, gathered.visits, blocks, by)
    sums = bar_days(over)
    course = _course(gathered, paths, sums, grid)
    turns = _turns(gathered, paths)
    cycles = _cycle_table(gathered, paths, looked, (over, turns.usual))
    alarms = _alarms(gathered, paths.slope)
    at = today - paths.first
    ahead = Ahead(paths.mean[at:], paths.ahead, paths.hot)
    next_visit = today_of_next(gathered)
    rise = gathered.rise_mm * float(gathered.et.ahead[:7].mean())
    drying = Estimate(paths.slope.mean * rise, paths.slope.variance * rise**2)
    due = due_table(facts, ahead, drying, turns, today, next_visit)
    trees = _trees(gathered)
    plans = season_plans(gathered, paths)
    crops = dict(zip(facts["block"], facts["crop"], strict=True))
    last = gathered.visits.visits[-1][1]
    per_bar = water_per_bar(paths.slope, gathered.rise_mm, gathered.use_share)
    table = block_table(
        facts,
        per_bar,
        paths.slope.mean * gathered.rise_mm,
        _of_blocks(gathered, course, sums[at], (looked[0], alarms)),
        cycles,
        gathered.last_season,
    )
    since = course["days_since_water"].to_numpy(np.float64).reshape(len(gathered.visits.day), len(facts))
    return Season(
        today=date_of(today),
        visits=gathered.visits.visits,
        next_visit=date_of(next_visit),
        course=course,
        cycles=cycles,
        compared=compared(cycles),
        due=due,
        calendar=due_calendar(due),
        let_down=let_down_table(trees, gathered.visits.day, plans, crops, last),
        alarms=alarms,
        blocks=table,
        trees=trees,
        learnt=learnt_by_valve(table, facts),
        days=DayByDay(date_of(paths.first), at, tuple(facts["valve"]), paths.mean, paths.sd, paths.hot),
        phases=same_phases(since, turns.usual, facts),
    )


def today_of_next(gathered: Gathered) -> int:
    """Give the day of the next visit, by the usual days between visits.

    Parameters
    ----------
    gathered : Gathered
        The visits.

    Returns
    -------
    int
        Not before today.
    """
    last = gathered.visits.visits[-1][1]
    return max(gathered.today, next_visit_day(gathered.inputs.readings, last).toordinal())


def _course(gathered: Gathered, paths: SeasonPaths, sums: Floats, grid: Floats) -> pd.DataFrame:
    day, zones = gathered.visits.day, len(gathered.facts)
    at = np.column_stack([np.interp(day, grid, one) for one in sums.T])
    total = np.append(0.0, np.cumsum(gathered.et.mm))
    used = np.interp(day, gathered.et.first + np.arange(len(total)) - 0.5, total)
    place = gathered.readings.samples.places.valve
    counted = np.zeros((len(day), zones + 1), dtype=np.int64)
    np.add.at(counted, (gathered.readings.visit, place), 1)
    eto = np.append(np.nan, np.diff(used)) if gathered.et.source != "assumed" else np.full(len(day), np.nan)
    found = AtVisits(*paths.at_visits, at, counted[:, :zones], eto)
    by = gathered.inputs.settings.map.rank_by
    return course_table(gathered.facts, gathered.visits, found, gathered.came, by)


def _turns(gathered: Gathered, paths: SeasonPaths) -> Turns:
    zones = len(gathered.facts)
    if gathered.came is None:
        none = np.full(zones, np.nan)
        return Turns(none, none, DaysLeft(none, none, none))
    came = gathered.came
    usual = usual_interval(came.zone, came.start, gathered.block)
    since = gathered.today - came.last_end(float(gathered.today), zones)
    until = gathered.today - paths.first + 1
    allowed = gathered.facts["allowed_bar"].to_numpy(np.float64)
    return Turns(since, usual, passed_after(paths.mean[:until], paths.sd[:until], since, allowed))


def _cycle_table(
    gathered: Gathered,
    paths: SeasonPaths,
    looked: tuple[pd.DataFrame, CycleDays, Ints],
    known: tuple[Floats, Floats],
) -> pd.DataFrame:
    which, days, pairs = looked
    over, usual = known
    zone, places = which["zone"].to_numpy(np.int64), gathered.readings.samples.places
    read_day = day_numbers(gathered.readings.table["time"], gathered.inputs.settings.ranch.zone)
    in_zone = places.valve >= 0
    seen = sides_seen(zone, days, places.valve[in_zone], read_day[in_zone])
    eto = gathered.et.mm[paths.first - gathered.et.first :]
    table = cycle_table(which, days, differences(paths, pairs), over, eto, seen)
    facts = gathered.facts
    own = {name: facts[name].to_numpy()[zone] for name in ("valve", "block", "crop", "soil", "system")}
    manner = np.array(manners(table, facts["system"].tolist(), usual), dtype=object)
    return table.assign(**own, manner=manner[zone])


def _alarms(gathered: Gathered, slope: Estimate) -> tuple[Alarm, ...]:
    if gathered.came is None or not gathered.dryness.known:
        return ()
    readings, places = gathered.readings, gathered.readings.samples.places
    inside = np.flatnonzero(places.valve >= 0)
    dryness = readings.dryness
    assert dryness is not None
    read = ReadDays(
        places.valve, places.block, places.crop, readings.visit, readings.samples.tree,
        readings.day[readings.visit], readings.samples.value, dryness.at_readings,
    ).take(inside)  # fmt: skip
    first = gathered.dryness.first
    eto = gathered.et.mm[first - gathered.et.first :]
    facts = WaterFacts(
        gathered.came, first, eto, gathered.dryness.felt, np.nan_to_num(slope.mean), gathered.soil,
        gathered.facts["allowed_bar"].to_numpy(np.float64), gathered.block,
    )  # fmt: skip
    return alarms_of(read, facts, date_of)


def _trees(gathered: Gathered) -> pd.DataFrame:
    """List the used readings, each tree with one code at all visits."""
    readings = gathered.readings
    table, places = readings.table, readings.samples.places
    since = np.full(len(table), np.nan)
    if gathered.came is not None:
        at = day_numbers(table["time"], gathered.inputs.settings.ranch.zone)
        for v in np.unique(readings.visit):
            ended = np.append(
                gathered.came.last_end(float(readings.day[v]) + 0.5, len(gathered.facts)), np.nan
            )
            mine = readings.visit == v
            since[mine] = at[mine] - ended[places.valve[mine]]
    tree = readings.samples.tree
    times = pd.Series(readings.visit).groupby(tree).nunique().reindex(tree).to_numpy()
    return pd.DataFrame(
        {
            "visit_number": readings.visit,
            "day": readings.day[readings.visit],
            "tree": tree,
            **{name: table[name].to_numpy() for name in ("tree_id", "block", "valve", "crop")},
            "swp_bar": (table["swp_bar"] + table["weather_shift_bar"]).to_numpy(np.float64),
            "stress_bar": table["stress_bar"].to_numpy(np.float64),
            "days_since_water": np.where(since >= 0, since, np.nan),
            "read_again": times > 1,
        }
    )


def _of_blocks(
    gathered: Gathered, course: pd.DataFrame, sums: Floats, told: tuple[pd.DataFrame, tuple[Alarm, ...]]
) -> dict[str, dict[str, float]]:
    """Sum the season up by block."""
    irrigations, alarms = told
    facts = gathered.facts
    mm = np.bincount(
        irrigations["zone"].to_numpy(np.int64),
        weights=irrigations["mm"].to_numpy(float),
        minlength=len(facts),
    )
    logged = gathered.came is not None
    found: dict[str, dict[str, float]] = {}
    read = course.groupby("block")
    for block, zones in facts.groupby("block", sort=False):
        at, area = zones.index.to_numpy(), zones["area_ha"].to_numpy()
        own = read.get_group(block)
        by_visit = own.groupby("visit_number")["readings"].sum()
        found[str(block)] = {
            "visits": int((by_visit > 0).sum()),
            "readings": int(by_visit.sum()),
            "water_mm": float(np.average(mm[at], weights=area)) if logged else float("nan"),
            "over_target_bar_days": float(np.average(sums[at], weights=area)),
            "alarms": sum(not set(one.zones).isdisjoint(at.tolist()) for one in alarms),
        }
    return found


def _fitted_last(shared: Remembered, *, whole: bool) -> FittedLast | None:
    """Give the fit of a map where it tells courses: where earlier visits take part in it."""
    surface = shared.surface
    if not isinstance(surface, MemorySurface):
        return None
    return FittedLast(surface, 1 + len(shared.earlier), alone=not whole)


def taught(season: Season, read: ReadTrees) -> ReadTrees:
    """Let a water plan know what a season taught, what is lent beside it, and where water did not relieve.

    Parameters
    ----------
    season : Season
        So far.
    read : ReadTrees
        What is known of the trees that were read.

    Returns
    -------
    ReadTrees
    """
    names = season.days.valves
    dry = frozenset(names[zone] for alarm in season.alarms for zone in alarm.zones)
    return replace(read, learnt=season.learnt, lent=season.lent, not_relieved=dry)
