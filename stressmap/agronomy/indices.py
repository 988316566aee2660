"""The figures beside each reading and block: deficit, baseline, target, distances, stress."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from stressmap.agronomy.baseline import air_at, air_at_trees, baseline_bar
from stressmap.agronomy.crop_readings import CropReadings, Flags, aware_times, local_days, places_of
from stressmap.agronomy.crops import edges_for
from stressmap.agronomy.orchard import Orchard, Profiles, middle_day, require_ranking
from stressmap.agronomy.remarks import say_line, say_missing_air, say_shift, say_too_wet, say_young
from stressmap.agronomy.target import calendar_days
from stressmap.agronomy.vapour_pressure import deficit_kpa
from stressmap.agronomy.visit_weather import UNLIKE_BAR, visit_weather, weather_shift_bar
from stressmap.core.arrays import Floats
from stressmap.core.notes import Notes
from stressmap.core.settings import Settings

__all__ = ["add_figures", "block_figures", "edges_for", "watered_bar"]

STRESS = {
    "below_target": "below_target_bar",
    "below_baseline": "below_baseline_bar",
    "tension": "tension_bar",
}
"""The column that each ``rank_by`` names."""

WINDOW_STEP = pd.Timedelta(minutes=15)


def add_figures(
    readings: pd.DataFrame,
    orchard: Orchard,
    weather: pd.DataFrame | None,
    settings: Settings,
    notes: Notes,
) -> pd.DataFrame:
    """Say what each reading means for its crop, its date and the weather of its moment.

    Parameters
    ----------
    readings : DataFrame, n rows
        ``time`` (timezone-aware), ``block`` (resolved, or None), ``swp_bar`` (negative), ``temp_c``,
        ``rh_pct``; with a column ``used``, only those rows make the visit's middle weather and are spoken of;
        with a column ``flags``, those marked ``outside_visit`` are not carried to it.
    orchard : Orchard
        From :func:`stressmap.agronomy.orchard.settle`.
    weather : DataFrame or None
        As :data:`stressmap.core.schemas.WEATHER`.
    settings : Settings
        Ranking, time zone, file names, ``[reading] same_weather``.
    notes : Notes
        Told what is missing, assumed or carried on.

    Returns
    -------
    DataFrame, n rows
        With ``tension_bar``, ``vpd_kpa``, ``baseline_bar``, ``target_bar``, ``below_baseline_bar``,
        ``below_target_bar`` (target - potential - shift), ``weather_shift_bar`` (to be added to a potential
        to have it in the visit's middle weather; 0 where not carried,
        as for readings of other visits), ``too_wet`` and ``stress_bar``.

    Raises
    ------
    SettingsError
        If a measured crop lacks what the ranking needs.
    DataError
        If the ranking needs a vapour pressure deficit and no reading has one.
    """
    case = _case(readings, orchard, settings, notes)
    require_ranking(case.measured(), case.profiles, settings.map.rank_by, settings.source)
    table = case.table
    table["tension_bar"] = -table["swp_bar"]
    table["vpd_kpa"] = _deficits(case, weather)
    table["baseline_bar"] = _baselines(table["vpd_kpa"].to_numpy(), case.places, case.profiles)
    table["target_bar"] = orchard.targets(case.places, case.days)
    table["weather_shift_bar"] = _shift(case, notes)
    table["below_target_bar"] = table["target_bar"] - table["swp_bar"] - table["weather_shift_bar"]
    table["below_baseline_bar"] = table["baseline_bar"] - table["swp_bar"]
    table["too_wet"] = _too_wet(case)
    table["stress_bar"] = table[STRESS[settings.map.rank_by]]
    say_missing_air(case, weather, notes)
    for say in (say_line, say_young, say_too_wet):
        say(case, notes)
    return table


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
    case = _case(readings, orchard, settings, Notes())
    return _baselines(_deficits(case, weather), case.places, case.profiles)


def _case(readings: pd.DataFrame, orchard: Orchard, settings: Settings, notes: Notes) -> CropReadings:
    table = readings.copy()
    counted = table["used"].to_numpy(bool) if "used" in table else np.ones(len(table), dtype=bool)
    days = local_days(table, counted, settings, notes)
    return CropReadings(
        table, places_of(table["block"], orchard.blocks), days, counted, orchard.profiles, settings
    )


def _deficits(case: CropReadings, weather: pd.DataFrame | None) -> Floats:
    own = case.table.reindex(columns=["temp_c", "rh_pct"]).astype(float)
    return deficit_kpa(*air_at_trees(own.assign(time=aware_times(case.table, case.settings)), weather))


def _baselines(vpd: Floats, places: pd.DataFrame, profiles: Profiles) -> Floats:
    result = np.full(len(vpd), np.nan)
    for crop in places["crop"].dropna().unique():
        line = profiles[crop].baseline
        if line is not None:
            here = (places["crop"] == crop).to_numpy()
            result[here] = baseline_bar(
                vpd[here], intercept_bar=line.intercept_bar, slope_bar_per_kpa=line.slope_bar_per_kpa
            )
    return result


def _shift(case: CropReadings, notes: Notes) -> Floats:
    """Return what carries each reading to the visit's middle weather, 0 where its days are alike."""
    vpd = case.table["vpd_kpa"].to_numpy()
    shift = np.zeros(len(vpd))
    if case.settings.map.rank_by != "below_target" or not case.settings.reading.same_weather:
        return shift
    weather = visit_weather(case.days[case.counted], vpd[case.counted])
    lines = [(line, here) for _, profile, here in case.crops() if (line := profile.baseline)]
    apart = max(
        (weather.spread_bar(line) for line, here in lines if (here & case.counted).any()), default=0.0
    )
    if apart <= UNLIKE_BAR:
        return shift
    ours = _of_the_visit(case.table)
    for line, crop in lines:
        here = crop & ours
        shift[here] = weather_shift_bar(case.days[here], vpd[here], line, weather)
    say_shift(case, apart, weather, notes)
    return shift


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
    """Give each block its target on the visit's middle day and its baseline in the visit's middle weather.

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
        Indexed by ``block``: ``crop`` (settled), ``target_bar``, ``baseline_bar``, ``vpd_kpa``; NaN where
        unknown. The middle weather is the median over the days of the mean deficit of the readings, or of
        the hours of measuring where a weather table is given.

    Raises
    ------
    DataError
        If a harvest is no day of the year.
    """
    places = places_of(orchard.blocks["block"], orchard.blocks)
    vpd = np.full(len(places), _middle_vpd_kpa(visit, air, settings))
    days = np.full(len(places), np.datetime64(middle_day(visit), "D"))
    return pd.DataFrame(
        {
            "crop": places["crop"].to_numpy(),
            "target_bar": orchard.targets(places, days),
            "baseline_bar": _baselines(vpd, places, orchard.profiles),
            "vpd_kpa": vpd,
        },
        index=pd.Index(places["block"], name="block"),
    )


def _middle_vpd_kpa(visit: tuple[dt.date, dt.date], air: pd.DataFrame | None, settings: Settings) -> float:
    if air is None or air.empty:
        return float("nan")
    if "vpd_kpa" in air:
        days = calendar_days(aware_times(air, settings))
        return visit_weather(days, air["vpd_kpa"].to_numpy(np.float64)).middle_kpa
    times = _window_times(visit, settings)
    return visit_weather(calendar_days(times), deficit_kpa(*air_at(times, air))).middle_kpa


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
