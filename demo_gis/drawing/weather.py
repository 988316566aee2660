"""An hourly summer: a dry valley's days, with a cool spring, warm and cool weeks and one hot spell."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pandas as pd

from drawing.ground import Floats, stream
from drawing.plans import Climate, Ranch

COOLEST_HOUR, WARMEST_HOUR = 6.0, 16.5


def vapour_pressure_kpa(temp_c: Floats) -> Floats:
    """Saturation vapour pressure over water [kPa]: FAO Irrigation and Drainage Paper 56, equation 11."""
    return 0.6108 * np.exp(17.27 * temp_c / (temp_c + 237.3))


def _persistent(rng: np.random.Generator, days: int, sd: float) -> Floats:
    """Weather that remembers: each day 0.7 of the day before."""
    shocks = rng.normal(0.0, sd * math.sqrt(1 - 0.7**2), days)
    out = np.zeros(days)
    for i, shock in enumerate(shocks):
        out[i] = 0.7 * (out[i - 1] if i else 0.0) + shock
    return out


def _days(ranch: Ranch) -> pd.DataFrame:
    """Highest and lowest temperature, dew point and sky of each day, and of the days beside the season."""
    climate, rng = ranch.climate, stream(ranch, 3)
    dates = pd.date_range(climate.start - dt.timedelta(days=1), climate.end + dt.timedelta(days=1))
    away = (dates - pd.Timestamp(climate.warmest)).days.to_numpy() / 110.0
    high = climate.max_c - climate.spring_drop_c * away**2 + _persistent(rng, len(dates), 2.4)
    first, last = (pd.Timestamp(day) for day in climate.hot_spell)
    high = high + np.where((dates >= first) & (dates <= last), 5.0, 0.0)
    low = high - 16.5 + rng.normal(0.0, 1.2, len(dates))
    dew = np.minimum(9.0 - 1.5 * away**2 + _persistent(rng, len(dates), 1.5), low - 1.0)
    cloudy = rng.random(len(dates)) < 0.15 * np.minimum(1.0, away**2 * 2)
    return pd.DataFrame(
        {"high": high, "low": low, "dew": dew, "sky": np.where(cloudy, 0.55, 1.0)}, index=dates
    )


def _temperature(days: pd.DataFrame, hours: Floats) -> Floats:
    """Ease between each day's lowest and highest; hours count from the first of ``days``."""
    at = np.ravel([(24.0 * d + COOLEST_HOUR, 24.0 * d + WARMEST_HOUR) for d in range(len(days))])
    value = np.ravel(days[["low", "high"]].to_numpy())
    i = np.clip(np.searchsorted(at, hours, side="right") - 1, 0, len(at) - 2)
    done = (hours - at[i]) / (at[i + 1] - at[i])
    return value[i] + (value[i + 1] - value[i]) * (1 - np.cos(math.pi * done)) / 2


def _sunshine(climate: Climate, day_of_year: Floats, hour: Floats) -> Floats:
    """Sun's height as a sine, 0 below the horizon."""
    declination = np.radians(23.44) * np.sin(2 * math.pi * (day_of_year - 81) / 365)
    latitude = math.radians(climate.latitude)
    angle = np.radians(15.0 * (hour - climate.solar_noon))
    height = math.sin(latitude) * np.sin(declination)
    return np.maximum(0.0, height + math.cos(latitude) * np.cos(declination) * np.cos(angle))


def hourly(ranch: Ranch) -> pd.DataFrame:
    """Draw the season hour by hour, local clock, rounded as a station reports."""
    days = _days(ranch)
    times = pd.date_range(
        ranch.climate.start, ranch.climate.end + dt.timedelta(days=1), freq="h", inclusive="left"
    )
    hours = (times - days.index[0]).total_seconds().to_numpy() / 3600.0
    today = days.loc[times.normalize()]
    temp = _temperature(days, hours)
    humid = 100.0 * vapour_pressure_kpa(today["dew"].to_numpy()) / vapour_pressure_kpa(temp)
    clock = times.hour.to_numpy(dtype=float)
    sun = _sunshine(ranch.climate, times.dayofyear.to_numpy(dtype=float), clock - 0.5)
    gusts = stream(ranch, 4).normal(0.0, 0.35, len(times))
    breeze = 1.6 + 1.5 * np.exp(-(((clock - 17.0) / 4.0) ** 2))
    return pd.DataFrame(
        {
            "time": times,
            "temp_c": np.round(temp, 1),
            "rh_pct": np.round(np.clip(humid, 8.0, 98.0)),
            "wind_m_s": np.round(np.clip(breeze + gusts, 0.2, None), 1),
            "solar_w_m2": np.round(1010.0 * sun**1.15 * today["sky"].to_numpy()),
        }
    )


def deficit_kpa(weather: pd.DataFrame, times: pd.DatetimeIndex) -> Floats:
    """Vapour pressure deficit at moments between the hours [kPa], from the rounded table."""
    temp = weather["temp_c"].to_numpy()
    deficit = vapour_pressure_kpa(temp) * (1 - weather["rh_pct"].to_numpy() / 100.0)
    start = weather["time"].iloc[0]
    at = (weather["time"] - start).dt.total_seconds().to_numpy()
    return np.interp((times - start).total_seconds().to_numpy(), at, deficit)
