"""Reference evapotranspiration by FAO-56: Penman-Monteith by day or hour, or from temperature alone.

FAO Irrigation and Drainage Paper 56, Crop evapotranspiration, Rome 1998, chapters 2 to 4: well watered grass
0.12 m high. For temperatures of open land in the growing season; megajoules, kilopascals, degrees Celsius,
metres a second at 2 m in, millimetres out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from stressmap.agronomy.crops import CropProfile, Stage
from stressmap.agronomy.target import Point, calendar_days, through_season
from stressmap.agronomy.vapour_pressure import saturation_slope_kpa_per_c
from stressmap.core.arrays import Floats
from stressmap.core.units import parse_month_day

MM_PER_MJ = 0.408
"""Depth of water that a megajoule per square metre evaporates [mm] (FAO-56 chapter 1)."""
USUAL_WIND_M_S = 2.0
"""Where the wind was not measured (FAO-56 chapter 3: mean of many stations)."""


def air_pressure_kpa(elevation_m: ArrayLike) -> Floats:
    """Mean pressure of the air at an elevation (FAO-56 equation 7).

    Parameters
    ----------
    elevation_m : float or array of float
        Above the sea [m].

    Returns
    -------
    array of float
        [kPa].

    Examples
    --------
    >>> float(air_pressure_kpa(1800.0).round(1))
    81.8
    """
    height = np.asarray(elevation_m, dtype=np.float64)
    return np.asarray(101.3 * ((293.0 - 0.0065 * height) / 293.0) ** 5.26)


def psychrometric_kpa_per_c(elevation_m: ArrayLike) -> Floats:
    """Psychrometric constant at an elevation (FAO-56 equation 8).

    Parameters
    ----------
    elevation_m : float or array of float
        Above the sea [m].

    Returns
    -------
    array of float
        [kPa/°C].

    Examples
    --------
    >>> float(psychrometric_kpa_per_c(1800.0).round(3))
    0.054
    """
    return np.asarray(0.665e-3 * air_pressure_kpa(elevation_m))


def wind_at_2m_m_s(wind_m_s: ArrayLike, height_m: float) -> Floats:
    """Wind at 2 m from wind at another height over grass (FAO-56 equation 47).

    Parameters
    ----------
    wind_m_s : float or array of float
        [m/s].
    height_m : float
        Of the instrument [m], over 0.1.

    Returns
    -------
    array of float
        [m/s].

    Raises
    ------
    ValueError
        If the instrument is as low as the grass.

    Examples
    --------
    >>> float(wind_at_2m_m_s(3.2, 10.0).round(1))
    2.4
    """
    if height_m <= 0.1:
        msg = f"the height of the wind instrument [m] must be over 0.1: {height_m:g}"
        raise ValueError(msg)
    return np.asarray(np.asarray(wind_m_s, dtype=np.float64) * 4.87 / np.log(67.8 * height_m - 5.42))


@dataclass(frozen=True)
class Air:
    """The air that a reference crop stands in.

    Parameters
    ----------
    temp_c : float or array of float
        Mean temperature [°C].
    saturation_kpa, vapour_kpa : float or array of float
        Mean saturation and actual vapour pressure [kPa].
    wind_m_s : float or array of float
        Mean wind at 2 m [m/s].
    """

    temp_c: ArrayLike
    saturation_kpa: ArrayLike
    vapour_kpa: ArrayLike
    wind_m_s: ArrayLike


def penman_monteith_mm_day(
    air: Air, net_radiation: ArrayLike, *, soil_heat: ArrayLike = 0.0, elevation_m: float = 0.0
) -> Floats:
    """Give the reference evapotranspiration of a day (FAO-56 equation 6).

    Parameters
    ----------
    air : Air
        Of the day.
    net_radiation : float or array of float
        [MJ/m2/day].
    soil_heat : float or array of float
        Into the soil [MJ/m2/day]; nothing over a day or ten.
    elevation_m : float
        Above the sea [m].

    Returns
    -------
    array of float
        [mm/day], not negative.

    Examples
    --------
    >>> air = Air(30.2, 4.424, 2.85, 2.0)
    >>> float(penman_monteith_mm_day(air, 14.33, soil_heat=0.14, elevation_m=2.0).round(2))
    5.72
    """
    energy = np.asarray(net_radiation, dtype=np.float64) - np.asarray(soil_heat, dtype=np.float64)
    return _penman_monteith(air, energy, 900.0, elevation_m)


def penman_monteith_mm_hour(
    air: Air, net_radiation: ArrayLike, *, daylight: ArrayLike, elevation_m: float = 0.0
) -> Floats:
    """Give the reference evapotranspiration of an hour (FAO-56 equation 53; soil heat by 45 and 46).

    Parameters
    ----------
    air : Air
        Of the hour.
    net_radiation : float or array of float
        [MJ/m2/h].
    daylight : bool or array of bool
        Whether the sun is up: a tenth of the net radiation then goes into the soil, half of it by night.
    elevation_m : float
        Above the sea [m].

    Returns
    -------
    array of float
        [mm/h], not negative.

    Examples
    --------
    >>> air = Air(38.0, 6.625, 3.445, 3.3)
    >>> float(penman_monteith_mm_hour(air, 1.749, daylight=True, elevation_m=8.0).round(2))
    0.63
    """
    radiation = np.asarray(net_radiation, dtype=np.float64)
    soil_heat = np.where(np.asarray(daylight, dtype=bool), 0.1, 0.5) * radiation
    return _penman_monteith(air, radiation - soil_heat, 37.0, elevation_m)


def _penman_monteith(air: Air, energy: Floats, coefficient: float, elevation_m: float) -> Floats:
    temp, wind = np.asarray(air.temp_c, dtype=np.float64), np.asarray(air.wind_m_s, dtype=np.float64)
    deficit = np.asarray(air.saturation_kpa, dtype=np.float64) - np.asarray(air.vapour_kpa, dtype=np.float64)
    slope, gamma = saturation_slope_kpa_per_c(temp), psychrometric_kpa_per_c(elevation_m)
    drying = gamma * coefficient / (temp + 273.0) * wind * deficit
    depth = (MM_PER_MJ * slope * energy + drying) / (slope + gamma * (1.0 + 0.34 * wind))
    return np.asarray(np.maximum(depth, 0.0))


def temperature_only_mm_day(max_c: ArrayLike, min_c: ArrayLike, extraterrestrial: ArrayLike) -> Floats:
    """Estimate the reference evapotranspiration of a day from its temperatures (FAO-56 equation 52).

    For where humidity, sun and wind are not known: too high in damp air, too low in strong wind.

    Parameters
    ----------
    max_c, min_c : float or array of float
        Extremes of the day [°C].
    extraterrestrial : float or array of float
        Radiation above the atmosphere [MJ/m2/day].

    Returns
    -------
    array of float
        [mm/day], not negative.

    Raises
    ------
    ValueError
        If a highest temperature is under the lowest.

    Examples
    --------
    >>> float(temperature_only_mm_day(26.6, 14.8, 40.55).round(1))
    5.0
    """
    warm, cool = np.asarray(max_c, dtype=np.float64), np.asarray(min_c, dtype=np.float64)
    if (warm < cool).any():
        msg = "a day's highest temperature [°C] is under its lowest"
        raise ValueError(msg)
    depth = 0.0023 * ((warm + cool) / 2.0 + 17.8) * np.sqrt(warm - cool)
    return np.asarray(np.maximum(depth * MM_PER_MJ * np.asarray(extraterrestrial, dtype=np.float64), 0.0))


def crop_coefficient(days: Any, points: tuple[Point, ...]) -> Floats:
    """Give the crop coefficient on days: straight between the points of the season (FAO-56 chapter 6).

    Parameters
    ----------
    days : date, or array, Series or index of dates, n of them
        Local calendar days.
    points : sequence of (str, float)
        Days of the year and coefficients, from a profile's ``crop_coefficient``.

    Returns
    -------
    array of float, shape (n,)

    Examples
    --------
    >>> points = (("03-31", 0.45), ("05-20", 0.90), ("09-27", 0.90), ("10-27", 0.65))
    >>> crop_coefficient(["2026-04-25", "2026-07-14"], points).round(3).tolist()
    [0.675, 0.9]
    """
    return through_season(days, points)


def climate_adjusted_kc(
    kc_table: ArrayLike, wind_m_s: ArrayLike, rh_min_pct: ArrayLike, height_m: float
) -> Floats:
    """Fit a tabulated crop coefficient to wind and dry air (FAO-56 equation 62, mid and late season).

    Parameters
    ----------
    kc_table : float or array of float
        From table 12; where under 0.45, left as it is (FAO-56 chapter 6).
    wind_m_s : float or array of float
        Mean of the stage at 2 m [m/s]; taken as 1 to 6.
    rh_min_pct : float or array of float
        Mean daily lowest humidity of the stage [%]; taken as 20 to 80.
    height_m : float
        Of the crop [m]; taken as 0.1 to 10.

    Returns
    -------
    array of float

    Examples
    --------
    >>> float(climate_adjusted_kc(0.90, 3.0, 25.0, 3.0).round(2))
    1.02
    """
    kc = np.asarray(kc_table, dtype=np.float64)
    wind, humidity = np.clip(wind_m_s, 1.0, 6.0), np.clip(rh_min_pct, 20.0, 80.0)
    climate = 0.04 * (wind - 2.0) - 0.004 * (humidity - 45.0)
    moved = kc + climate * (float(np.clip(height_m, 0.1, 10.0)) / 3.0) ** 0.3
    return np.asarray(np.where(kc < 0.45, kc, moved))


def stage_on(day: Any, profile: CropProfile) -> Stage | None:
    """Find the growth stage of a crop on a day.

    Parameters
    ----------
    day : date
        Local calendar day.
    profile : CropProfile
        The crop.

    Returns
    -------
    Stage or None
        None where the crop's stages are not known.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> stage_on("2026-07-14", load_profiles({}, "ranch.toml")["prune"]).text.en
    'fruit sizing'
    """
    if not profile.stages:
        return None
    today = calendar_days(day)[0].astype(object)
    begun = [s for s in profile.stages if parse_month_day(s.begins) <= (today.month, today.day)]
    return max(begun or profile.stages, key=lambda s: parse_month_day(s.begins))
