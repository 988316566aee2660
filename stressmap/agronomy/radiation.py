"""Sun and radiation by FAO-56: what comes from the sun, what the crop keeps.

FAO Irrigation and Drainage Paper 56, Crop evapotranspiration, Rome 1998, chapter 3. Energies in megajoules
per square metre and day (or hour), degrees Celsius, kilopascals, degrees of latitude north, longitude east.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from stressmap.core.arrays import Floats

SOLAR_CONSTANT = 0.0820
"""[MJ/m2/min]."""
STEFAN_BOLTZMANN_DAY = 4.903e-9
"""[MJ/K4/m2/day]."""
REFERENCE_ALBEDO = 0.23


def _sun(day_of_year: ArrayLike, latitude_deg: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Return distance factor, declination, latitude and sunset angle [rad] (equations 22 to 25)."""
    day = np.asarray(day_of_year, dtype=np.float64)
    distance = 1.0 + 0.033 * np.cos(2.0 * np.pi * day / 365.0)
    declination = 0.409 * np.sin(2.0 * np.pi * day / 365.0 - 1.39)
    latitude = np.full_like(day, np.radians(latitude_deg))
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    return distance, declination, latitude, sunset


def extraterrestrial_mj(day_of_year: ArrayLike, latitude_deg: float) -> Floats:
    """Radiation of a day above the atmosphere (FAO-56 equation 21).

    Parameters
    ----------
    day_of_year : int or array of int
        1 to 366.
    latitude_deg : float
        [degrees], negative in the south; between the polar circles.

    Returns
    -------
    array of float
        [MJ/m2/day].

    Examples
    --------
    >>> float(extraterrestrial_mj(246, -20.0).round(1))
    32.2
    """
    distance, declination, latitude, sunset = _sun(day_of_year, latitude_deg)
    level = sunset * np.sin(latitude) * np.sin(declination)
    swing = np.cos(latitude) * np.cos(declination) * np.sin(sunset)
    return np.asarray(24.0 * 60.0 / np.pi * SOLAR_CONSTANT * distance * (level + swing))


def daylight_hours(day_of_year: ArrayLike, latitude_deg: float) -> Floats:
    """Longest possible sunshine of a day (FAO-56 equation 34).

    Parameters
    ----------
    day_of_year : int or array of int
        1 to 366.
    latitude_deg : float
        [degrees].

    Returns
    -------
    array of float
        [h].

    Examples
    --------
    >>> float(daylight_hours(246, -20.0).round(1))
    11.7
    """
    return np.asarray(24.0 / np.pi * _sun(day_of_year, latitude_deg)[3])


def extraterrestrial_hourly_mj(times: pd.DatetimeIndex, latitude_deg: float, longitude_deg: float) -> Floats:
    """Radiation above the atmosphere in the hour around each moment (FAO-56 equations 28 to 33).

    Parameters
    ----------
    times : DatetimeIndex, n of them
        Middles of hours, timezone-aware.
    latitude_deg, longitude_deg : float
        [degrees], negative in the south and in the west.

    Returns
    -------
    array of float, shape (n,)
        [MJ/m2/h]; zero while the sun is down.

    Examples
    --------
    >>> noon = pd.DatetimeIndex(["2026-10-01 14:30"], tz="Etc/GMT+1").tz_convert("UTC")
    >>> extraterrestrial_hourly_mj(noon, 16.22, -16.25).round(2).tolist()
    [3.54]
    """
    utc = times.tz_convert("UTC")
    local = utc + pd.Timedelta(hours=longitude_deg / 15.0)
    distance, declination, latitude, sunset = _sun(local.day_of_year.to_numpy(), latitude_deg)
    season = 2.0 * np.pi * (local.day_of_year.to_numpy() - 81.0) / 364.0
    correction = 0.1645 * np.sin(2.0 * season) - 0.1255 * np.cos(season) - 0.025 * np.sin(season)
    clock = ((local - local.normalize()) / pd.Timedelta(hours=1)).to_numpy(np.float64)
    middle = np.pi / 12.0 * (clock + correction - 12.0)
    half = np.pi / 24.0
    start, end = (np.clip(middle + side * half, -sunset, sunset) for side in (-1.0, 1.0))
    level = (end - start) * np.sin(latitude) * np.sin(declination)
    swing = np.cos(latitude) * np.cos(declination) * (np.sin(end) - np.sin(start))
    return np.asarray(np.maximum(12.0 * 60.0 / np.pi * SOLAR_CONSTANT * distance * (level + swing), 0.0))


def sunshine_radiation_mj(
    extraterrestrial: ArrayLike, sunshine_h: ArrayLike, daylight_h: ArrayLike
) -> Floats:
    """Radiation at the ground from hours of sunshine (FAO-56 equation 35, its default coefficients).

    Parameters
    ----------
    extraterrestrial : float or array of float
        [MJ/m2/day].
    sunshine_h, daylight_h : float or array of float
        Bright sunshine, and the longest possible [h].

    Returns
    -------
    array of float
        [MJ/m2/day].

    Examples
    --------
    >>> float(sunshine_radiation_mj(25.1, 7.1, 10.9).round(2))
    14.45
    """
    share = np.asarray(sunshine_h, dtype=np.float64) / np.asarray(daylight_h, dtype=np.float64)
    return np.asarray((0.25 + 0.50 * share) * np.asarray(extraterrestrial, dtype=np.float64))


def clear_sky_mj(extraterrestrial: ArrayLike, elevation_m: float) -> Floats:
    """Radiation at the ground under a clear sky (FAO-56 equation 37).

    Parameters
    ----------
    extraterrestrial : float or array of float
        [MJ/m2] of a day or an hour.
    elevation_m : float
        Above the sea [m].

    Returns
    -------
    array of float
        [MJ/m2] of the same time.

    Examples
    --------
    >>> float(clear_sky_mj(41.09, 100.0).round(2))
    30.9
    """
    return np.asarray((0.75 + 2e-5 * elevation_m) * np.asarray(extraterrestrial, dtype=np.float64))


def net_shortwave_mj(solar: ArrayLike) -> Floats:
    """Solar radiation that the reference crop keeps (FAO-56 equation 38).

    Parameters
    ----------
    solar : float or array of float
        At the ground [MJ/m2] of a day or an hour.

    Returns
    -------
    array of float
        [MJ/m2] of the same time.

    Examples
    --------
    >>> float(net_shortwave_mj(22.65).round(2))
    17.44
    """
    return np.asarray((1.0 - REFERENCE_ALBEDO) * np.asarray(solar, dtype=np.float64))


def net_longwave_mj(
    kelvin4: ArrayLike, vapour_kpa: ArrayLike, clearness: ArrayLike, *, hours: float = 24.0
) -> Floats:
    """Long-wave radiation that the reference crop loses (FAO-56 equation 39).

    Parameters
    ----------
    kelvin4 : float or array of float
        Fourth power of the temperature [K4]: :func:`kelvin4_of_day` of a day, of the hour's mean for an hour.
    vapour_kpa : float or array of float
        Actual vapour pressure [kPa].
    clearness : float or array of float
        Radiation at the ground over that of a clear sky; taken as 0.25 to 1.
    hours : float
        24 for a day, 1 for an hour.

    Returns
    -------
    array of float
        [MJ/m2] of that time.

    Examples
    --------
    >>> float(net_longwave_mj(kelvin4_of_day(25.1, 19.1), 2.1, 14.5 / 18.8).round(1))
    3.5
    """
    power = STEFAN_BOLTZMANN_DAY * hours / 24.0 * np.asarray(kelvin4, dtype=np.float64)
    dryness = 0.34 - 0.14 * np.sqrt(np.asarray(vapour_kpa, dtype=np.float64))
    cloud = 1.35 * np.clip(np.asarray(clearness, dtype=np.float64), 0.25, 1.0) - 0.35
    return np.asarray(power * dryness * cloud)


def kelvin4_of_day(max_c: ArrayLike, min_c: ArrayLike) -> Floats:
    """Mean fourth power of a day's extreme temperatures (in FAO-56 equation 39).

    Parameters
    ----------
    max_c, min_c : float or array of float
        [°C].

    Returns
    -------
    array of float
        [K4].

    Examples
    --------
    >>> round(float(kelvin4_of_day(26.85, 26.85)) ** 0.25, 2)
    300.01
    """
    warm, cool = (np.asarray(t, dtype=np.float64) + 273.16 for t in (max_c, min_c))
    return np.asarray((warm**4 + cool**4) / 2.0)


def night_filled(clearness: Floats, light: NDArray[np.bool_]) -> Floats:
    """Carry the clearness of the sky through the night (FAO-56 chapter 3, hourly net long-wave radiation).

    Parameters
    ----------
    clearness : array of float, shape (n,)
        Hour by hour; of no meaning in the dark.
    light : array of bool, shape (n,)
        Hours whose clearness has a meaning.

    Returns
    -------
    array of float, shape (n,)
        In the dark that of the last light hour before, before the first that of the first.

    Examples
    --------
    >>> night_filled(np.array([9.0, 0.8, 0.7, 9.0]), np.array([False, True, True, False])).tolist()
    [0.8, 0.8, 0.7, 0.7]
    """
    filled = pd.Series(clearness).where(light).ffill().bfill()
    return np.asarray(filled.to_numpy(), dtype=np.float64)
