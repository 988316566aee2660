"""Evapotranspiration day by day from a weather table, by the best method that each day allows.

In order: the station's own reference evapotranspiration; FAO-56 Penman-Monteith by the hour; the same by the
day's extremes; the temperature-only equation. FAO Irrigation and Drainage Paper 56, Rome 1998.
"""

from __future__ import annotations

from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from stressmap.agronomy import evapotranspiration as et
from stressmap.agronomy import radiation as rad
from stressmap.agronomy import vapour_pressure
from stressmap.agronomy.baseline import interpolate
from stressmap.agronomy.crops import CropProfile
from stressmap.core.arrays import Floats
from stressmap.core.notes import Note, Noted, NoteList

HOURS_MISSED = 2
"""A day may lack so many hours and still be worked out by the hour."""
SPARSEST_HOURS = 3.5
"""A day whose records are further apart than this has no known extremes."""
MJ_PER_WH = 0.0036
LOW_SUN_MJ = 0.5
"""Under this radiation above the atmosphere [MJ/m2/h] the clearness of the sky has no meaning."""

MEASURED = ("temp_c", "rh_pct", "wind_m_s", "solar_w_m2")
METHODS = ("station", "hourly", "daily", "temperature", "none")
"""Where a day's reference evapotranspiration can come from, the best first."""


@dataclass(frozen=True)
class Site:
    """Where the weather is.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        [degrees], negative in the south and in the west.
    elevation_m : float
        Above the sea [m].
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float = 0.0


def reference_et(weather: pd.DataFrame, site: Site, zone: ZoneInfo) -> Noted[pd.DataFrame]:
    """Work out the reference evapotranspiration of each day that a weather table touches.

    Parameters
    ----------
    weather : DataFrame
        As :data:`stressmap.core.schemas.WEATHER`.
    site : Site
        Where it was measured.
    zone : ZoneInfo
        The ranch's, for what a day is.

    Returns
    -------
    Noted of DataFrame
        Indexed by local day: ``eto_mm`` [mm/day] (NaN where not known) and ``method``: ``"station"``,
        ``"hourly"``, ``"daily"``, ``"temperature"`` or ``"none"``.
    """
    record = weather.reindex(columns=["time", *MEASURED, "eto_mm"])
    record = record.assign(time=pd.DatetimeIndex(record["time"]).tz_convert(zone)).set_index("time")
    windless = bool(record["wind_m_s"].isna().all())
    days = pd.DatetimeIndex(record.index).tz_localize(None).normalize()
    rows = {
        day: _of_day(pd.Timestamp(str(day)).tz_localize(zone), part, record, site)
        for day, part in record.groupby(days)
    }
    result = pd.DataFrame.from_dict(rows, orient="index", columns=["eto_mm", "method"])
    result.index.name = "day"
    return Noted(result.astype({"eto_mm": float}), _remarks(result, windless=windless))


def _of_day(start: pd.Timestamp, part: pd.DataFrame, record: pd.DataFrame, site: Site) -> tuple[float, str]:
    lead = pd.Timedelta(hours=2)
    first, last = (day.tz_convert("UTC") for day in (start, start + pd.DateOffset(days=1)))
    middles = pd.date_range(first + pd.Timedelta(minutes=30), last, freq="h")
    own = _station_sum(part)
    if own is not None:
        return own, "station"
    around = record[(record.index >= first - lead) & (record.index <= last + lead)]
    hours = _hours(middles, around)
    if hours is not None:
        return _by_hour(middles, hours, site), "hourly"
    if not _spans(part["temp_c"], start):
        return float("nan"), "none"
    if _spans(part["rh_pct"], start) and _spans(part["solar_w_m2"], start):
        return _by_extremes(part, site), "daily"
    above = rad.extraterrestrial_mj(start.day_of_year, site.latitude_deg)
    depth = et.temperature_only_mm_day(part["temp_c"].max(), part["temp_c"].min(), above)
    return float(depth), "temperature"


def _station_sum(part: pd.DataFrame) -> float | None:
    """Sum the station's own hours of a day; None where more than an hour or so is missing."""
    known = part["eto_mm"].dropna()
    if known.empty:
        return None
    clocks = pd.DatetimeIndex(known.index).hour
    return float(known.sum() * 24.0 / len(known)) if clocks.nunique() >= 24 - HOURS_MISSED else None


def _hours(middles: pd.DatetimeIndex, around: pd.DataFrame) -> dict[str, Floats] | None:
    """Read the record at the middle of each hour of a day; None where too many hours lack something."""
    known_at = pd.DatetimeIndex(around.index).tz_convert("UTC")
    columns = [name for name in MEASURED if name != "wind_m_s" or around[name].notna().any()]
    hours = {name: interpolate(middles, known_at, around[name]) for name in columns}
    if any(np.isnan(values).sum() > HOURS_MISSED for values in hours.values()):
        return None
    filled = {name: np.asarray(pd.Series(v).ffill().bfill(), dtype=np.float64) for name, v in hours.items()}
    return {"wind_m_s": np.full(len(middles), et.USUAL_WIND_M_S), **filled}


def _by_hour(middles: pd.DatetimeIndex, hours: dict[str, Floats], site: Site) -> float:
    temp, solar = hours["temp_c"], hours["solar_w_m2"] * MJ_PER_WH
    above = rad.extraterrestrial_hourly_mj(middles, site.latitude_deg, site.longitude_deg)
    clear = rad.clear_sky_mj(above, site.elevation_m)
    clearness = rad.night_filled(solar / np.maximum(clear, LOW_SUN_MJ), above > LOW_SUN_MJ)
    actual = vapour_pressure.actual_kpa(temp, hours["rh_pct"])
    lost = rad.net_longwave_mj((temp + 273.16) ** 4, actual, clearness, hours=1.0)
    air = et.Air(temp, vapour_pressure.saturation_kpa(temp), actual, hours["wind_m_s"])
    depth = et.penman_monteith_mm_hour(
        air, rad.net_shortwave_mj(solar) - lost, daylight=above > 0.0, elevation_m=site.elevation_m
    )
    return float(depth.sum())


def _spans(values: pd.Series, start: pd.Timestamp) -> bool:
    """Tell whether records cover the course of a day closely enough for its extremes and sums."""
    known = values.dropna().index
    if len(known) == 0:
        return False
    hours = ((pd.DatetimeIndex(known) - start) / pd.Timedelta(hours=1)).to_numpy(np.float64)
    return bool(np.diff(np.concatenate([[0.0], hours, [24.0]])).max() <= SPARSEST_HOURS)


def _by_extremes(part: pd.DataFrame, site: Site) -> float:
    warm, cool = float(part["temp_c"].max()), float(part["temp_c"].min())
    damp, dry = float(part["rh_pct"].max()), float(part["rh_pct"].min())
    at = pd.DatetimeIndex(part.index)
    above = rad.extraterrestrial_mj(int(at[0].day_of_year), site.latitude_deg)
    known = part["solar_w_m2"].dropna()
    seconds = ((pd.DatetimeIndex(known.index) - at[0]) / pd.Timedelta(seconds=1)).to_numpy(np.float64)
    solar = float(np.trapezoid(known.to_numpy(np.float64), seconds)) / 1e6
    actual = vapour_pressure.daily_actual_kpa((cool, warm), (dry, damp))
    clearness = solar / rad.clear_sky_mj(above, site.elevation_m)
    net = rad.net_shortwave_mj(solar) - rad.net_longwave_mj(rad.kelvin4_of_day(warm, cool), actual, clearness)
    wind = float(part["wind_m_s"].mean()) if part["wind_m_s"].notna().any() else et.USUAL_WIND_M_S
    air = et.Air((warm + cool) / 2.0, vapour_pressure.mean_saturation_kpa(warm, cool), actual, wind)
    return float(et.penman_monteith_mm_day(air, net, elevation_m=site.elevation_m))


def _remarks(result: pd.DataFrame, *, windless: bool) -> tuple[Note, ...]:
    notes, counts = NoteList(), result["method"].value_counts()
    for method in METHODS:
        if method in counts:
            notes.say("reference_et", count=counts[method], method=f"et_{method}")
    if windless and result["method"].isin(["hourly", "daily"]).any():
        notes.say("usual_wind", "caution", wind_m_s=et.USUAL_WIND_M_S)
    return tuple(notes)


def crop_et(reference: pd.DataFrame, profile: CropProfile) -> Noted[pd.Series]:
    """Work out what a crop uses each day: reference evapotranspiration times its coefficient of the day.

    Parameters
    ----------
    reference : DataFrame
        From :func:`reference_et`.
    profile : CropProfile
        The crop; without a coefficient the reference itself is taken, and said.

    Returns
    -------
    Noted of Series of float
        [mm/day] by local day; NaN where the reference is.
    """
    if profile.crop_coefficient is None:
        note = Note.of("no_crop_coefficient", "caution", crop=profile.name)
        return Noted(reference["eto_mm"].rename("etc_mm"), (note,))
    kc = et.crop_coefficient(reference.index, profile.crop_coefficient.points)
    return Noted((reference["eto_mm"] * kc).rename("etc_mm"))
