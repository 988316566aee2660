"""What must be said of the figures: missing weather, lines carried on, young, carried and wet trees."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from stressmap.agronomy.crop_readings import CropReadings, aware_times
from stressmap.agronomy.orchard import young_rows
from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, NoteList
from stressmap.core.settings import Settings

CLOCK = "%Y-%m-%d %H:%M"
SHIFT_WORTH_SAYING_BAR = 0.1


WHY = {
    "deficit_no_weather": "no temperature and humidity at the trees and no weather file",
    "deficit_bare_file": "{file} has no row with both temperature and humidity",
    "deficit_no_time": "they have no time",
    "deficit_file_ends": "{file} ends {moment}, before they were taken",
    "deficit_file_begins": "{file} begins {moment}, after they were taken",
    "deficit_gap": "{file} has nothing from {moment} to {until}, and more than two hours are not bridged",
}
"""Why readings have no deficit, for the line of an error; the words of notes stand with all others."""


def missing_air(case: CropReadings, weather: pd.DataFrame | None) -> tuple[Note, ...]:
    """Say which readings have no weather, and why; raise where the ranking cannot do without.

    Parameters
    ----------
    case : CropReadings
        With ``vpd_kpa`` in its table.
    weather : DataFrame or None
        The weather file's table.

    Returns
    -------
    tuple of Note

    Raises
    ------
    DataError
        If ``rank_by`` is ``"below_baseline"`` and no reading has a deficit.
    """
    without = case.counted & case.table["vpd_kpa"].isna().to_numpy()
    count, all_of_them = int(without.sum()), int(case.counted.sum())
    if not count:
        return ()
    times = aware_times(case.table, case.settings)[without]
    note = _why_missing(times, weather, case.settings, {"count": count, "total": all_of_them})
    if case.settings.map.rank_by == "below_baseline" and count == all_of_them:
        chosen, why = case.settings, WHY[note.code].format(**dict(note.values))
        raise DataError(
            Problem(
                chosen.named("weather" if chosen.files.weather else "readings"),
                f"no reading has a vapour pressure deficit, which rank_by = 'below_baseline' needs: {why}",
                "Give temperature and humidity at the trees or an hourly weather file that covers the visit, "
                'or write [map] rank_by = "below_target"',
            )
        )
    return (note,)


def _why_missing(
    times: pd.DatetimeIndex, weather: pd.DataFrame | None, settings: Settings, who: dict[str, Any]
) -> Note:
    who = {"none": who["count"] == who["total"], **who}
    if weather is None or weather.empty:
        return Note.of("deficit_no_weather", "caution", **who)
    zone = settings.ranch.zone
    who["file"] = str(settings.files.weather)
    known = pd.DatetimeIndex(weather.loc[weather["temp_c"].notna() & weather["rh_pct"].notna(), "time"])
    if known.empty:
        return Note.of("deficit_bare_file", "caution", **who)
    known, times = known.tz_convert(zone), times[times.notna()]
    if times.empty:
        return Note.of("deficit_no_time", "caution", **who)
    if times.max() > known[-1]:
        return Note.of("deficit_file_ends", "caution", moment=known[-1].strftime(CLOCK), **who)
    if times.min() < known[0]:
        return Note.of("deficit_file_begins", "caution", moment=known[0].strftime(CLOCK), **who)
    at = int(known.searchsorted(times[0]))
    gap = {"moment": known[at - 1].strftime(CLOCK), "until": known[at].strftime(CLOCK)}
    return Note.of("deficit_gap", "caution", **gap, **who)


def line_remarks(case: CropReadings) -> tuple[Note, ...]:
    """Say where a fully watered line is provisional or carried beyond what it was published for.

    Parameters
    ----------
    case : CropReadings
        With ``vpd_kpa`` in its table.

    Returns
    -------
    tuple of Note
    """
    notes = NoteList()
    for crop, profile, here in case.crops():
        line, vpd = profile.baseline, case.table.loc[here & case.counted, "vpd_kpa"].dropna()
        if line is None or vpd.empty:
            continue
        if line.provisional:
            source = profile.sources["baseline"].cite.partition(" (abstract")[0]
            notes.say("line_provisional", "caution", crop=crop, source=source)
        low, high = line.vpd_range_kpa or (0.0, np.inf)
        beyond = int(((vpd < low) | (vpd > high)).sum())
        if beyond:
            published = {"low_kpa": low, "high_kpa": high}
            met = {"least_kpa": vpd.min(), "most_kpa": vpd.max()}
            notes.say("line_carried_on", "caution", crop=crop, count=beyond, **published, **met)
    return tuple(notes)


def young_remarks(case: CropReadings) -> tuple[Note, ...]:
    """Say which blocks are young and what that limits.

    Parameters
    ----------
    case : CropReadings
        Readings with their blocks.

    Returns
    -------
    tuple of Note
    """
    notes = NoteList()
    for crop, profile, here in case.crops():
        if profile.young is None:
            continue
        young, limits = here & case.counted, profile.young
        young &= young_rows(case.places, case.days, limits.years)
        if not young.any():
            continue
        found = {"crop": crop, "years": limits.years, "blocks": case.blocks_of(young)}
        if limits.allowance_bar is None:
            notes.say("young_target", driest_bar=limits.driest_target_bar, **found)
        else:
            notes.say("young_allowance", allowance_bar=limits.allowance_bar, **found)
    return tuple(notes)


def shift_remarks(case: CropReadings, middle_kpa: float) -> tuple[Note, ...]:
    """Say that readings were carried to the visit's middle weather, and which could not be.

    Parameters
    ----------
    case : CropReadings
        With ``vpd_kpa`` and ``weather_shift_bar`` in its table.
    middle_kpa : float
        The visit's middle deficit [kPa].

    Returns
    -------
    tuple of Note
    """
    notes, shift = NoteList(), case.table["weather_shift_bar"].to_numpy()[case.counted]
    if len(shift) and np.abs(shift).max() >= SHIFT_WORTH_SAYING_BAR:
        span = {"least_bar": shift.min(), "most_bar": shift.max()}
        notes.say("carried_to_middle_weather", middle_kpa=middle_kpa, **span)
    without = [crop for crop in case.measured() if case.profiles[crop].baseline is None]
    if without:
        notes.say("not_carried_without_line", "caution", crops=without)
    lined = (case.places["crop"].notna() & ~case.places["crop"].isin(without)).to_numpy()
    blind = case.counted & lined & case.table["vpd_kpa"].isna().to_numpy()
    if blind.any() and np.isfinite(middle_kpa):
        notes.say("not_carried_without_weather", "caution", count=blind.sum())
    return tuple(notes)


def absolute_remarks(case: CropReadings) -> tuple[Note, ...]:
    """Say whose readings are held against a season's absolute figure, in which the day's heat is stress.

    Parameters
    ----------
    case : CropReadings
        With ``target_bar`` and ``allowance_bar`` in its table.

    Returns
    -------
    tuple of Note
    """
    notes, table = NoteList(), case.table
    if case.settings.map.rank_by != "below_target":
        return ()
    bare = case.counted & table["allowance_bar"].isna().to_numpy()
    no_air = case.counted & table["vpd_kpa"].isna().all()
    for crop, profile, here in case.crops():
        if not (here & (bare | no_air)).any():
            continue
        if profile.baseline is None:
            notes.say("absolute_without_line", "caution", crop=crop)
        elif no_air.any():
            notes.say("absolute_without_weather", "caution", crop=crop)
        else:
            notes.say("absolute_few_days", "caution", crop=crop)
    return tuple(notes)


def wet_remarks(case: CropReadings) -> tuple[Note, ...]:
    """Mark, not praise, trees wetter than a fully watered one where that harms the crop.

    Parameters
    ----------
    case : CropReadings
        With ``too_wet`` in its table.

    Returns
    -------
    tuple of Note
    """
    notes = NoteList()
    for crop, _, here in case.crops():
        wet = here & case.counted & case.table["too_wet"].to_numpy(bool)
        if wet.any():
            found = {"count": wet.sum(), "blocks": case.blocks_of(wet)}
            notes.say("too_wet", "warning", crop=crop, **found)
    return tuple(notes)
