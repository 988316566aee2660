"""Does a station keep the ranch's clock? The sun and the warmth of the day tell.

The middle of the sunshine comes between about 11:00 and 15:00 by any legal clock on land, the warmest time of
day some two to four hours after it. A record whose own comes at another hour was written by another clock,
most often UTC; every deficit read from it would be that of another time of day.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.errors import DataError, Problem

WHOLE_DAY_HOURS = 20
"""A day with records in so many different hours shows its course."""
SUN_HOURS = (10.0, 15.5)
WARM_HOURS = (10.5, 19.0)
WARM_HOURS_FEW_DAYS = (8.5, 21.0)
"""One or two days may be turned about by a front."""
ENOUGH_DAYS = 3
LEAST_SWING_C = 2.0


def check_station_clock(weather: pd.DataFrame, where: str, zone: str) -> None:
    """Refuse a record that was plainly written by another clock.

    Parameters
    ----------
    weather : DataFrame
        ``time`` (in the ranch's zone), ``temp_c`` and ``solar_w_m2``.
    where : str
        File, for the message.
    zone : str
        The ranch's zone, for the message.

    Raises
    ------
    DataError
        If the middle of the sunshine or the warmest time of day is where it cannot be.
    """
    local = pd.DatetimeIndex(weather["time"]).tz_localize(None)
    days, hours = local.normalize(), (local.hour + local.minute / 60.0).to_numpy(np.float64)
    span = pd.Series(local.hour, index=days).groupby(level=0).nunique()
    whole = days.isin(span.index[span >= WHOLE_DAY_HOURS])
    if not whole.any():
        return
    sun, temp = (weather[c].to_numpy(np.float64)[whole] for c in ("solar_w_m2", "temp_c"))
    count = int(days[whole].nunique())
    noon, warmest = _sun_middle(hours[whole], sun), _warmest(hours[whole], temp)
    limits = WARM_HOURS if count >= ENOUGH_DAYS else WARM_HOURS_FEW_DAYS
    if noon is not None and not SUN_HOURS[0] <= noon <= SUN_HOURS[1]:
        raise DataError(_problem(where, zone, "the middle of the sunshine", noon))
    if noon is None and warmest is not None and not limits[0] <= warmest <= limits[1]:
        raise DataError(_problem(where, zone, "the warmest time of day", warmest))


def _sun_middle(hours: NDArray[np.float64], solar: NDArray[np.float64]) -> float | None:
    known = np.isfinite(solar) & (solar > 0.0)
    return _peak(hours[known], solar[known]) if known.sum() >= 5 else None


def _warmest(hours: NDArray[np.float64], temp: NDArray[np.float64]) -> float | None:
    known = np.isfinite(temp)
    if known.sum() < WHOLE_DAY_HOURS or np.ptp(temp[known]) < LEAST_SWING_C:
        return None
    return _peak(hours[known], temp[known] - temp[known].mean())


def _peak(hours: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    """Return the hour at which the daily wave of some values is highest."""
    wave = np.sum(weights * np.exp(2j * np.pi * hours / 24.0))
    return float(np.angle(wave) * 24.0 / (2.0 * np.pi) % 24.0)


def _problem(where: str, zone: str, what: str, hour: float) -> Problem:
    minutes = round(hour * 60.0) % 1440
    clock = f"{minutes // 60:02d}:{minutes % 60 // 30 * 30:02d}"
    return Problem(
        where,
        f"{what} is around {clock}, so its times are not those of {zone}",
        "Write its times with their offset from UTC, as 2026-07-14T20:00Z, or in the ranch's time zone; or "
        "correct [ranch] timezone",
        column="time",
    )
