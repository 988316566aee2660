"""How dry the air is expected to be at the hours of a day to come."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stressmap.agronomy.baseline import air_at
from stressmap.agronomy.vapour_pressure import deficit_kpa
from stressmap.core.arrays import Floats

DAYS_BEFORE = 14
"""Days whose same hour tells what is expected where the weather file does not reach the day: a judgement."""


def expected_deficit_kpa(moments: pd.DatetimeIndex, weather: pd.DataFrame | None) -> Floats:
    """Give the deficit that is expected at moments.

    Parameters
    ----------
    moments : DatetimeIndex, h of them
        Aware of their zone.
    weather : DataFrame or None
        As :data:`stressmap.core.schemas.WEATHER`.

    Returns
    -------
    array of float, shape (h,)
        [kPa]: as the file has it where it reaches the moment, be it measured or forecast; else the median of
        the same hour of the last 14 days that it has; NaN where it has none of them.

    Examples
    --------
    >>> hours = pd.date_range("2026-07-01", periods=72, freq="h", tz="UTC")
    >>> table = pd.DataFrame({"time": hours, "temp_c": 30.0, "rh_pct": 40.0})
    >>> asked = pd.DatetimeIndex(["2026-07-02 13:00", "2026-07-06 13:00", "2026-08-30 13:00"], tz="UTC")
    >>> expected_deficit_kpa(asked, table).round(2).tolist()
    [2.55, 2.55, nan]
    """
    if weather is None or weather.empty:
        return np.full(len(moments), np.nan)
    own = deficit_kpa(*air_at(moments, weather))
    earlier = [
        deficit_kpa(*air_at(_days_before(moments, days), weather)) for days in range(1, DAYS_BEFORE + 1)
    ]
    usual = pd.DataFrame(np.array(earlier)).median().to_numpy(np.float64)
    return np.where(np.isfinite(own), own, usual)


def _days_before(moments: pd.DatetimeIndex, days: int) -> pd.DatetimeIndex:
    """Give the same hours of an earlier day, as clocks showed them."""
    return pd.DatetimeIndex(moments - pd.DateOffset(days=days))
