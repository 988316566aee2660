"""What a fully watered tree shows in the air of the moment, and the air at a moment between two records."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from stressmap.agronomy.vapour_pressure import actual_kpa, humidity_pct
from stressmap.core.arrays import Floats

LONGEST_GAP = pd.Timedelta(hours=2)
"""Two weather records further apart than this are not joined by a line."""


def baseline_bar(vpd_kpa: ArrayLike, *, intercept_bar: float, slope_bar_per_kpa: float) -> Floats:
    """Midday stem water potential of a fully watered tree.

    The straight line of "Stem-water potential as a sensitive indicator of water stress in prune trees",
    Journal of the American Society for Horticultural Science 117(4):607-611, 1992: for prune and almond
    -4.1 - 1.2·VPD over about 0.5 to 6 kPa (coefficients from memory, cross-checked). A higher deficit
    than the crop's published range is answered by the same line carried on.

    Parameters
    ----------
    vpd_kpa : float or array of float, any shape
        Vapour pressure deficit [kPa], 0 and up; NaN where unknown.
    intercept_bar : float
        Potential in saturated air [bar], not positive.
    slope_bar_per_kpa : float
        Change with the deficit [bar/kPa], not positive.

    Returns
    -------
    array of float, same shape
        Potential [bar], negative; NaN where the deficit is.

    Raises
    ------
    ValueError
        If a deficit is negative or the line rises with the deficit.

    Examples
    --------
    >>> baseline_bar([1.0, 4.0], intercept_bar=-4.1, slope_bar_per_kpa=-1.2).round(1).tolist()
    [-5.3, -8.9]
    """
    vpd = np.asarray(vpd_kpa, dtype=np.float64)
    if (vpd < 0.0).any():
        msg = f"vapour pressure deficit [kPa] must not be negative; lowest {float(np.nanmin(vpd)):g}"
        raise ValueError(msg)
    if intercept_bar > 0.0 or slope_bar_per_kpa > 0.0:
        line = f"{intercept_bar:g}, {slope_bar_per_kpa:g}"
        msg = f"intercept [bar] and slope [bar/kPa] must not be positive: {line}"
        raise ValueError(msg)
    return np.asarray(intercept_bar + slope_bar_per_kpa * vpd)


def interpolate(times: pd.DatetimeIndex, known_at: pd.DatetimeIndex, known: ArrayLike) -> Floats:
    """Read a record between its moments, along straight lines no longer than two hours.

    Parameters
    ----------
    times : DatetimeIndex, n of them
        When to read, timezone-aware; NaT gives NaN.
    known_at : DatetimeIndex, m of them
        When it was recorded, timezone-aware, rising.
    known : array of float, shape (m,)
        What was recorded; NaN counts as not recorded.

    Returns
    -------
    array of float, shape (n,)
        NaN before the first, after the last and inside a longer gap.

    Examples
    --------
    >>> at = pd.DatetimeIndex(["2026-07-14 13:00", "2026-07-14 14:00", "2026-07-14 17:00"], tz="UTC")
    >>> when = pd.DatetimeIndex(["2026-07-14 13:15", "2026-07-14 15:00", "2026-07-14 17:00"], tz="UTC")
    >>> interpolate(when, at, [30.0, 34.0, 40.0]).tolist()
    [31.0, nan, 40.0]
    """
    values = np.asarray(known, dtype=np.float64)
    have = np.isfinite(values)
    values, result = values[have], np.full(len(times), np.nan)
    if not have.any():
        return result
    seconds = _seconds(known_at[have])
    wanted = _seconds(times)
    asked = np.flatnonzero(~np.asarray(times.isna()))
    right = np.searchsorted(seconds, wanted[asked], side="left").clip(0, len(seconds) - 1)
    left = (np.searchsorted(seconds, wanted[asked], side="right") - 1).clip(0)
    span = seconds[right] - seconds[left]
    inside = (seconds[left] <= wanted[asked]) & (wanted[asked] <= seconds[right])
    joined = inside & (span <= LONGEST_GAP.total_seconds())
    result[asked[joined]] = np.interp(wanted[asked[joined]], seconds, values)
    return result


def air_at(times: pd.DatetimeIndex, weather: pd.DataFrame) -> tuple[Floats, Floats]:
    """Temperature and humidity at moments, from a weather table.

    Parameters
    ----------
    times : DatetimeIndex, n of them
        Timezone-aware; NaT gives NaN.
    weather : DataFrame
        Columns ``time`` (timezone-aware, rising), ``temp_c`` [°C] and ``rh_pct`` [%].

    Returns
    -------
    temp_c : array of float, shape (n,)
        [°C]; NaN where two records more than two hours apart would have to be joined.
    rh_pct : array of float, shape (n,)
        [%].

    Examples
    --------
    >>> at = pd.DatetimeIndex(["2026-07-14 13:00", "2026-07-14 14:00"], tz="UTC")
    >>> table = pd.DataFrame({"time": at, "temp_c": [30.0, 32.0], "rh_pct": [40.0, 30.0]})
    >>> [float(v[0]) for v in air_at(pd.DatetimeIndex(["2026-07-14 13:30"], tz="UTC"), table)]
    [31.0, 35.0]
    """
    known_at = pd.DatetimeIndex(weather["time"])
    return interpolate(times, known_at, weather["temp_c"]), interpolate(times, known_at, weather["rh_pct"])


def air_at_trees(readings: pd.DataFrame, weather: pd.DataFrame | None) -> tuple[Floats, Floats]:
    """Temperature and humidity at the trees: as measured there, else from the weather table, else none.

    Where only the temperature was measured at the tree, the station's vapour pressure is carried there, not
    its relative humidity: air that is warmed holds the same water at a lower humidity.

    Parameters
    ----------
    readings : DataFrame, n rows
        Columns ``time`` (timezone-aware), ``temp_c`` [°C], ``rh_pct`` [%]; plausible or NaN.
    weather : DataFrame or None
        As for :func:`air_at`.

    Returns
    -------
    temp_c, rh_pct : array of float, shape (n,)
        [°C] and [%]; NaN where neither source has it.

    Examples
    --------
    >>> at = pd.DatetimeIndex(["2026-07-14 13:00"], tz="UTC")
    >>> station = pd.DataFrame({"time": at, "temp_c": [30.0], "rh_pct": [40.0]})
    >>> tree = pd.DataFrame({"time": at, "temp_c": [33.0], "rh_pct": [float("nan")]})
    >>> [round(float(v[0]), 1) for v in air_at_trees(tree, station)]
    [33.0, 33.7]
    """
    temp = readings["temp_c"].to_numpy(np.float64, copy=True)
    humidity = readings["rh_pct"].to_numpy(np.float64, copy=True)
    if weather is None or weather.empty:
        return temp, humidity
    station_c, station_pct = air_at(pd.DatetimeIndex(readings["time"]), weather)
    carried = ~np.isnan(temp) & np.isnan(humidity)
    humidity[carried] = humidity_pct(temp[carried], actual_kpa(station_c[carried], station_pct[carried]))
    humidity = np.where(np.isnan(humidity), station_pct, humidity)
    return np.where(np.isnan(temp), station_c, temp), humidity


def _seconds(times: pd.DatetimeIndex) -> Floats:
    return np.asarray(times.as_unit("us").asi8 / 1e6, dtype=np.float64)
