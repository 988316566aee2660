"""What must be said of the figures: missing weather, lines carried on, young, carried and wet trees."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stressmap.agronomy.crop_readings import CropReadings, aware_times
from stressmap.agronomy.orchard import young_rows
from stressmap.agronomy.profile_parts import Young
from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Notes
from stressmap.core.settings import Settings

CLOCK = "%Y-%m-%d %H:%M"
SHIFT_WORTH_SAYING_BAR = 0.1


def say_missing_air(case: CropReadings, weather: pd.DataFrame | None, notes: Notes) -> None:
    """Say which readings have no weather, and why; raise where the ranking cannot do without.

    Parameters
    ----------
    case : CropReadings
        With ``vpd_kpa`` in its table.
    weather : DataFrame or None
        The weather file's table.
    notes : Notes
        Where to.

    Raises
    ------
    DataError
        If ``rank_by`` is ``"below_baseline"`` and no reading has a deficit.
    """
    without = case.counted & case.table["vpd_kpa"].isna().to_numpy()
    count, all_of_them = int(without.sum()), int(case.counted.sum())
    if not count:
        return
    why = _why_missing(aware_times(case.table, case.settings)[without], weather, case.settings)
    if case.settings.map.rank_by == "below_baseline" and count == all_of_them:
        files = case.settings.files
        raise DataError(
            Problem(
                str(files.weather or files.readings),
                f"no reading has a vapour pressure deficit, which rank_by = 'below_baseline' needs: {why}",
                "Give temperature and humidity at the trees or an hourly weather file that covers the visit, "
                'or write [map] rank_by = "below_target"',
            )
        )
    who = "No reading has a" if count == all_of_them else f"{count} of {all_of_them} readings have no"
    notes.say(f"{who} vapour pressure deficit and so no baseline: {why}.")


def _why_missing(times: pd.DatetimeIndex, weather: pd.DataFrame | None, settings: Settings) -> str:
    if weather is None or weather.empty:
        return "no temperature and humidity at the trees and no weather file"
    file, zone = settings.files.weather, settings.ranch.zone
    known = pd.DatetimeIndex(weather.loc[weather["temp_c"].notna() & weather["rh_pct"].notna(), "time"])
    if known.empty:
        return f"{file} has no row with both temperature and humidity"
    known, times = known.tz_convert(zone), times[times.notna()]
    if times.empty:
        return "they have no time"
    if times.max() > known[-1]:
        return f"{file} ends {known[-1].strftime(CLOCK)}, before they were taken"
    if times.min() < known[0]:
        return f"{file} begins {known[0].strftime(CLOCK)}, after they were taken"
    at = int(known.searchsorted(times[0]))
    gap = f"{known[at - 1].strftime(CLOCK)} to {known[at].strftime(CLOCK)}"
    return f"{file} has nothing from {gap}, and more than two hours are not bridged"


def say_line(case: CropReadings, notes: Notes) -> None:
    """Say where a fully watered line is provisional or carried beyond what it was published for.

    Parameters
    ----------
    case : CropReadings
        With ``vpd_kpa`` in its table.
    notes : Notes
        Where to.
    """
    for crop, profile, here in case.crops():
        line, vpd = profile.baseline, case.table.loc[here & case.counted, "vpd_kpa"].dropna()
        if line is None or vpd.empty:
            continue
        if line.provisional:
            notes.say(f"The fully watered line of {crop} is provisional: {profile.sources['baseline'].cite}.")
        low, high = line.vpd_range_kpa or (0.0, np.inf)
        beyond = int(((vpd < low) | (vpd > high)).sum())
        if beyond:
            notes.say(
                f"{beyond} readings of {crop} were taken at a vapour pressure deficit outside {low:g} to "
                f"{high:g} kPa ({vpd.min():.1f} to {vpd.max():.1f}), for which its fully watered line is "
                "published; the line was carried on."
            )


def _young_words(young: Young) -> str:
    if young.allowance_bar is None:
        return f"no target drier than {young.driest_target_bar:g} bar"
    return f"at most {young.allowance_bar:g} bar below the fully watered line"


def say_young(case: CropReadings, notes: Notes) -> None:
    """Say which blocks are young and what that limits.

    Parameters
    ----------
    case : CropReadings
        Readings with their blocks.
    notes : Notes
        Where to.
    """
    for crop, profile, here in case.crops():
        if profile.young is None:
            continue
        young = here & case.counted & young_rows(case.places, case.days, profile.young.years)
        if young.any():
            notes.say(
                f"Planted under {profile.young.years} years ago: {', '.join(case.blocks_of(young))}. Young "
                f"{crop} is allowed {_young_words(profile.young)}."
            )


def say_shift(case: CropReadings, middle_kpa: float, notes: Notes) -> None:
    """Say that readings were carried to the visit's middle weather, and which could not be.

    Parameters
    ----------
    case : CropReadings
        With ``vpd_kpa`` and ``weather_shift_bar`` in its table.
    middle_kpa : float
        The visit's middle deficit [kPa].
    notes : Notes
        Where to.
    """
    shift = case.table["weather_shift_bar"].to_numpy()[case.counted]
    if len(shift) and np.abs(shift).max() >= SHIFT_WORTH_SAYING_BAR:
        notes.say(
            "Readings were carried along the fully watered line to the visit's middle vapour pressure "
            f"deficit, {middle_kpa:.1f} kPa: by {shift.min():+.1f} to {shift.max():+.1f} bar ([reading] "
            "same_weather = false turns this off)."
        )
    without = [crop for crop in case.measured() if case.profiles[crop].baseline is None]
    if without:
        notes.say(f"Readings of {', '.join(without)} were not carried: the crop has no fully watered line.")
    lined = (case.places["crop"].notna() & ~case.places["crop"].isin(without)).to_numpy()
    blind = case.counted & lined & case.table["vpd_kpa"].isna().to_numpy()
    if blind.any() and np.isfinite(middle_kpa):
        notes.say(
            f"{int(blind.sum())} readings stay as they are, not carried to the middle weather: nothing is "
            "known of the weather of their minute."
        )


def say_absolute(case: CropReadings, notes: Notes) -> None:
    """Say whose readings are held against a season's absolute figure, in which the day's heat is stress.

    Parameters
    ----------
    case : CropReadings
        With ``target_bar`` and ``allowance_bar`` in its table.
    notes : Notes
        Where to.
    """
    if case.settings.map.rank_by != "below_target":
        return
    table = case.table
    bare = case.counted & table["allowance_bar"].isna().to_numpy()
    no_air = case.counted & table["vpd_kpa"].isna().all()
    for crop, profile, here in case.crops():
        mine = here & (bare | no_air)
        if not mine.any():
            continue
        if profile.baseline is None:
            why = "the crop has no fully watered line"
        elif no_air.any():
            why = "there is no weather"
        else:
            why = "the weather file has fewer than ten days about the visit"
        notes.say(
            f"{crop.capitalize()} is held against its season target in absolute figures, because {why}: heat "
            "is not taken out."
        )


def say_too_wet(case: CropReadings, notes: Notes) -> None:
    """Mark, not praise, trees wetter than a fully watered one where that harms the crop.

    Parameters
    ----------
    case : CropReadings
        With ``too_wet`` in its table.
    notes : Notes
        Where to.
    """
    for crop, _, here in case.crops():
        wet = here & case.counted & case.table["too_wet"].to_numpy(bool)
        if wet.any():
            notes.say(
                f"{int(wet.sum())} readings of {crop} are wetter than a fully watered tree shows (in "
                f"{', '.join(case.blocks_of(wet))}): always wet harms {crop} too; look for too much water."
            )
