"""One weather for a visit: its middle deficit, what carries a reading there, and what is usual for a day."""

from __future__ import annotations

from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.agronomy.crops import BaselineLine
from stressmap.agronomy.vapour_pressure import deficit_kpa
from stressmap.core.arrays import Floats

SLOPE_ERROR = 0.2
"""Standard error of the slope of a fully watered line, as a share of it: a judgement, no source."""
MIDDAY_HOURS = (13, 15)
"""Local clock between which a deficit counts as midday, both ends in."""
USUAL_WITHIN_DAYS = 15
"""Days before and after a date whose middays make what is usual for it."""
USUAL_FROM_DAYS = 10
"""So many of those days must have a midday on record."""


def middle_deficit_kpa(vpd_kpa: Floats) -> float:
    """Give the middle weather of a visit: the mean deficit of the readings in use.

    Parameters
    ----------
    vpd_kpa : array of float, shape (n,)
        Vapour pressure deficit at each reading in use [kPa]; NaN is passed over.

    Returns
    -------
    float
        [kPa]; NaN where none is known.

    Examples
    --------
    >>> middle_deficit_kpa(np.array([3.0, 5.0, np.nan]))
    4.0
    """
    known = vpd_kpa[np.isfinite(vpd_kpa)]
    return float(known.mean()) if len(known) else float("nan")


def weather_shift_bar(vpd_kpa: Floats, line: BaselineLine, middle_kpa: float) -> Floats:
    """Give what to add to a potential to have it in the visit's middle weather.

    Parameters
    ----------
    vpd_kpa : array of float, shape (n,)
        Deficit of the reading's own minute [kPa]; where NaN, the reading stays as it is.
    line : BaselineLine
        The crop's fully watered line, along which it is carried.
    middle_kpa : float
        From :func:`middle_deficit_kpa`.

    Returns
    -------
    array of float, shape (n,)
        [bar]; positive where the air was drier than in the middle.

    Examples
    --------
    >>> line = BaselineLine(intercept_bar=-4.1, slope_bar_per_kpa=-1.2)
    >>> weather_shift_bar(np.array([3.0, 5.0, np.nan]), line, 4.0).round(1).tolist()
    [-1.2, 1.2, 0.0]
    """
    return np.nan_to_num(line.slope_bar_per_kpa * (middle_kpa - vpd_kpa))


def shift_error_bar(shift_bar: Floats) -> float:
    """Give the standard error that carrying adds to a reading, from the error of the line's slope.

    Parameters
    ----------
    shift_bar : array of float, shape (n,)
        From :func:`weather_shift_bar`, of the readings in use.

    Returns
    -------
    float
        Root mean square over the readings [bar]; 0 without any.

    Examples
    --------
    >>> shift_error_bar(np.array([1.0, -1.0]))
    0.2
    """
    return float(np.sqrt(np.mean((SLOPE_ERROR * shift_bar) ** 2))) if len(shift_bar) else 0.0


@dataclass(frozen=True)
class UsualWeather:
    """The midday deficits on record, for what is usual about a date.

    Parameters
    ----------
    days : array of datetime64[D], shape (m,)
        Local day of each midday record.
    vpd_kpa : array of float, shape (m,)
        Its deficit [kPa], known everywhere.
    """

    days: NDArray[np.datetime64] = field(default_factory=lambda: np.empty(0, dtype="datetime64[D]"))
    vpd_kpa: Floats = field(default_factory=lambda: np.empty(0))

    def on(self, days: NDArray[np.datetime64]) -> Floats:
        """Give the usual midday deficit of dates: the median within 15 days of each.

        Parameters
        ----------
        days : array of datetime64[D], shape (n,)
            Local dates; NaT gives NaN.

        Returns
        -------
        array of float, shape (n,)
            [kPa]; NaN where fewer than ten days about the date have a midday on record.
        """
        each, at = np.unique(days.astype("datetime64[D]"), return_inverse=True)
        return np.array([self._of(day) for day in each], dtype=np.float64)[at]

    def _of(self, day: np.datetime64) -> float:
        if np.isnat(day):
            return float("nan")
        near = np.abs((self.days - day).astype(int)) <= USUAL_WITHIN_DAYS
        if len(np.unique(self.days[near])) < USUAL_FROM_DAYS:
            return float("nan")
        return float(np.median(self.vpd_kpa[near]))


def usual_weather(weather: pd.DataFrame | None, zone: ZoneInfo | str) -> UsualWeather:
    """Gather the midday deficits of a weather record.

    Parameters
    ----------
    weather : DataFrame or None
        As :data:`stressmap.core.schemas.WEATHER`.
    zone : ZoneInfo
        Of the ranch.

    Returns
    -------
    UsualWeather
        Empty without weather.

    Examples
    --------
    >>> at = pd.date_range("2026-07-01 13:00", periods=20, freq="D", tz="UTC")
    >>> table = pd.DataFrame({"time": at, "temp_c": 30.0, "rh_pct": 50.0})
    >>> usual_weather(table, "UTC").on(np.array(["2026-07-10", "2026-09-10"], dtype="datetime64[D]")).round(2)
    array([2.12,  nan])
    """
    if weather is None or weather.empty:
        return UsualWeather()
    local = pd.DatetimeIndex(weather["time"]).tz_convert(zone)
    minute = local.hour * 60 + local.minute
    known = (weather["temp_c"].notna() & weather["rh_pct"].notna()).to_numpy()
    midday = known & (minute >= 60 * MIDDAY_HOURS[0]) & (minute <= 60 * MIDDAY_HOURS[1])
    table = weather[midday]
    days = local[midday].tz_localize(None).to_numpy().astype("datetime64[D]")
    return UsualWeather(days, deficit_kpa(table["temp_c"].to_numpy(), table["rh_pct"].to_numpy()))
