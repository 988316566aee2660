"""The figures beside each reading and block: deficit, baseline, allowance, target, distances, stress."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from stressmap.agronomy.baseline import air_at, air_at_trees
from stressmap.agronomy.crop_readings import CropReadings, Flags, aware_times, local_days, places_of
from stressmap.agronomy.crops import edges_for
from stressmap.agronomy.orchard import Orchard, middle_day, require_ranking
from stressmap.agronomy.remarks import (
    absolute_remarks,
    line_remarks,
    missing_air,
    shift_remarks,
    wet_remarks,
    young_remarks,
)
from stressmap.agronomy.vapour_pressure import deficit_kpa
from stressmap.agronomy.visit_weather import middle_deficit_kpa
from stressmap.core.arrays import Floats
from stressmap.core.notes import Noted, NoteList
from stressmap.core.settings import Settings

__all__ = ["add_figures", "block_figures", "edges_for", "watered_bar"]

WINDOW_STEP = pd.Timedelta(minutes=15)


def add_figures(
    readings: pd.DataFrame,
    orchard: Orchard,
    weather: pd.DataFrame | None,
    settings: Settings,
) -> Noted[pd.DataFrame]:
    """Say what each reading means for its crop, its date and the weather of its moment.

    Every reading is carried along its crop's fully watered line to the visit's middle weather, the mean
    deficit of the readings in use, so that the drift of the day is not taken for stress.

    Parameters
    ----------
    readings : DataFrame, n rows
        ``time`` (timezone-aware), ``block`` (resolved, or None), ``swp_bar`` (negative), ``temp_c``,
        ``rh_pct`` (plausible or NaN); with a column ``used``, only those rows make the visit's middle weather
        and are spoken of; with a column ``flags``, those marked ``outside_visit`` are not carried to it.
    orchard : Orchard
        From :func:`stressmap.agronomy.orchard.settle`.
    weather : DataFrame or None
        As :data:`stressmap.core.schemas.WEATHER`.
    settings : Settings
        Ranking, time zone, file names, ``[reading] same_weather``.

    Returns
    -------
    Noted of DataFrame, n rows
        With ``tension_bar``, ``vpd_kpa``, ``baseline_bar``, ``allowance_bar``, ``target_bar`` (baseline less
        allowance; the season's absolute figure where either is unknown), ``weather_shift_bar`` (to be added
        to a potential to have it in the visit's middle weather; 0 where not carried, as for readings without
        a deficit or of other visits), ``below_baseline_bar``, ``below_target_bar``, ``too_wet`` and
        ``stress_bar``. With ``same_weather = false`` nothing is carried: potentials as read are held against
        the target in the visit's middle weather.

    Raises
    ------
    SettingsError
        If a measured crop lacks what the ranking needs.
    DataError
        If the ranking needs a vapour pressure deficit and no reading has one.
    """
    notes = NoteList()
    case = notes.keep(_case(readings, orchard, settings))
    table = case.table
    table["tension_bar"] = -table["swp_bar"]
    table["vpd_kpa"] = vpd = _deficits(case, weather)
    table["baseline_bar"] = orchard.baselines(case.places, vpd)
    table["allowance_bar"] = orchard.allowances(case.places, case.days)
    middle = middle_deficit_kpa(vpd[case.counted])
    at_middle = _in_middle(case, orchard, middle)
    held = orchard.targets(case.places, case.days, at_middle)
    require_ranking(_lacking(case, held), case.profiles, settings.map.rank_by, settings.source)
    table["weather_shift_bar"] = _shift(case, orchard, middle)
    own = (table["baseline_bar"] - table["allowance_bar"]).to_numpy()
    carried = np.isfinite(own) & settings.reading.same_weather
    table["target_bar"] = np.where(carried, own, held)
    in_middle = (table["swp_bar"] + table["weather_shift_bar"]).to_numpy()
    # what its own minute allows and what the middle weather allows a carried potential are the same figure
    table["below_target_bar"] = np.where(carried, own - table["swp_bar"], held - in_middle)
    watered = table["baseline_bar"].fillna(pd.Series(at_middle, index=table.index))
    table["below_baseline_bar"] = watered - table["swp_bar"]
    table["too_wet"] = _too_wet(case)
    below = {"below_target": table["below_target_bar"], "below_baseline": table["below_baseline_bar"]}
    table["stress_bar"] = below.get(settings.map.rank_by, pd.Series(-in_middle, index=table.index))
    notes.add(missing_air(case, weather))
    notes.add(shift_remarks(case, middle))
    for remarks in (absolute_remarks, line_remarks, young_remarks, wet_remarks):
        notes.add(remarks(case))
    return notes.beside(table)


def watered_bar(
    readings: pd.DataFrame,
    orchard: Orchard,
    weather: pd.DataFrame | None,
    settings: Settings,
) -> Floats:
    """Give what a fully watered tree would have shown at the place and moment of each reading.

    Parameters
    ----------
    readings, orchard, weather, settings
        As for :func:`add_figures`, which says what there is to say of them.

    Returns
    -------
    array of float, shape (n,)
        [bar], negative; NaN where crop, line or weather is unknown.
    """
    case = _case(readings, orchard, settings).value
    return orchard.baselines(case.places, _deficits(case, weather))


def _case(readings: pd.DataFrame, orchard: Orchard, settings: Settings) -> Noted[CropReadings]:
    table = readings.copy()
    counted = table["used"].to_numpy(bool) if "used" in table else np.ones(len(table), dtype=bool)
    days = local_days(table, counted, settings)
    places = places_of(table["block"], orchard.blocks)
    case = CropReadings(table, places, days.value, counted, orchard.profiles, settings)
    return Noted(case, days.notes)


def _deficits(case: CropReadings, weather: pd.DataFrame | None) -> Floats:
    own = case.table.reindex(columns=["temp_c", "rh_pct"]).astype(float)
    return deficit_kpa(*air_at_trees(own.assign(time=aware_times(case.table, case.settings)), weather))


def _in_middle(case: CropReadings, orchard: Orchard, middle_kpa: float) -> Floats:
    """Return what fully watered trees would show in the visit's middle weather."""
    return orchard.baselines(case.places, np.full(len(case.table), middle_kpa))


def _lacking(case: CropReadings, held: Floats) -> list[str]:
    """Return the measured crops, those first of which some reading has nothing to be held against."""
    if case.settings.map.rank_by != "below_target":
        return case.measured()
    bare = case.counted & ~np.isfinite(held) & ~np.isnat(case.days)
    return sorted(case.places.loc[bare, "crop"].dropna().unique())


def _shift(case: CropReadings, orchard: Orchard, middle_kpa: float) -> Floats:
    """Return what carries each reading to the visit's middle weather, 0 where it stays as it is."""
    shift = orchard.shifts(case.places, case.table["vpd_kpa"].to_numpy(), middle_kpa)
    return np.where(_of_the_visit(case.table) & case.settings.reading.same_weather, shift, 0.0)


def _of_the_visit(table: pd.DataFrame) -> Flags:
    """Mark the readings that were not set aside as of another visit, which has a weather of its own."""
    if "flags" not in table:
        return np.ones(len(table), dtype=bool)
    return np.array(["outside_visit" not in codes for codes in table["flags"]], dtype=bool)


def _too_wet(case: CropReadings) -> Flags:
    wet = np.zeros(len(case.table), dtype=bool)
    below = case.table["below_baseline_bar"].to_numpy()
    for _, profile, here in case.crops():
        if profile.too_wet:
            wet |= here & (below < profile.too_wet.below_baseline_bar)
    return wet


def block_figures(
    orchard: Orchard,
    visit: tuple[dt.date, dt.date],
    air: pd.DataFrame | None,
    settings: Settings,
) -> pd.DataFrame:
    """Give each block its allowance and target on the visit's middle day, in the visit's middle weather.

    Parameters
    ----------
    orchard : Orchard
        Of n blocks.
    visit : tuple of date
        First and last day.
    air : DataFrame or None
        The readings in use as :func:`add_figures` gave them, for the middle weather that they were carried
        to; or a weather table as :data:`stressmap.core.schemas.WEATHER`.
    settings : Settings
        Time zone, hours of measuring.

    Returns
    -------
    DataFrame, n rows
        Indexed by ``block``: ``crop`` (settled), ``target_bar``, ``baseline_bar``, ``allowance_bar``,
        ``limit_bar`` (below the fully watered line) and ``vpd_kpa``; NaN where unknown.

    Raises
    ------
    DataError
        If a harvest is no day of the year.
    """
    places = places_of(orchard.blocks["block"], orchard.blocks)
    vpd = np.full(len(places), _middle_vpd_kpa(visit, air, settings))
    days = np.full(len(places), np.datetime64(middle_day(visit), "D"))
    baseline, allowance = orchard.baselines(places, vpd), orchard.allowances(places, days)
    return pd.DataFrame(
        {
            "crop": places["crop"].to_numpy(),
            "target_bar": orchard.targets(places, days, baseline),
            "baseline_bar": baseline,
            "allowance_bar": allowance,
            "limit_bar": orchard.limits(places, (middle_day(visit), middle_day(visit))),
            "vpd_kpa": vpd,
        },
        index=pd.Index(places["block"], name="block"),
    )


def _middle_vpd_kpa(visit: tuple[dt.date, dt.date], air: pd.DataFrame | None, settings: Settings) -> float:
    if air is None or air.empty:
        return float("nan")
    if "vpd_kpa" in air:
        return middle_deficit_kpa(air["vpd_kpa"].to_numpy(np.float64))
    return middle_deficit_kpa(deficit_kpa(*air_at(_window_times(visit, settings), air)))


def _window_times(visit: tuple[dt.date, dt.date], settings: Settings) -> pd.DatetimeIndex:
    """Return moments all through the hours of measuring of each day of a visit."""
    early, parts = np.array([True, True]), list[pd.DatetimeIndex]()
    for day in pd.date_range(*visit, freq="D"):
        ends = pd.DatetimeIndex(
            [pd.Timestamp.combine(day.date(), clock) for clock in settings.reading.window]
        )
        start, end = ends.tz_localize(settings.ranch.zone, ambiguous=early, nonexistent="shift_forward")
        parts.append(pd.date_range(start, end, freq=WINDOW_STEP))
    return pd.DatetimeIndex(parts[0].append(parts[1:]))
