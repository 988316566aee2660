"""Vapour pressure of the air by FAO-56: what the air could hold, what it holds, and the deficit.

FAO Irrigation and Drainage Paper 56, Crop evapotranspiration, Rome 1998, chapter 3. Degrees Celsius in,
kilopascals out, arrays or single numbers. The saturation formula is over water and good to better than half
a percent from 0 to 50 °C; here it is taken from -40 to 60 °C and refused beyond. A missing value (NaN) in
gives a missing value out; an impossible one is refused, never turned into NaN.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from stressmap.core.arrays import Floats

LOWEST_C, HIGHEST_C = -40.0, 60.0
"""Air temperatures [°C] that these formulas are taken for."""


def _within(values: ArrayLike, low: float, high: float, what: str) -> Floats:
    array = np.asarray(values, dtype=np.float64)
    wrong = (array < low) | (array > high)
    if wrong.any():
        first = float(np.atleast_1d(array)[np.atleast_1d(wrong)][0])
        count = int(wrong.sum())
        msg = f"{what} must be between {low:g} and {high:g}; {count} value(s) are not, first {first:g}"
        raise ValueError(msg)
    return array


def saturation_kpa(temp_c: ArrayLike) -> Floats:
    """Vapour pressure of air that holds all the water it can (FAO-56 equation 11).

    Parameters
    ----------
    temp_c : float or array of float, any shape
        Air temperature [°C], -40 to 60.

    Returns
    -------
    array of float, same shape
        Saturation vapour pressure [kPa].

    Raises
    ------
    ValueError
        If a temperature is out of range.

    Examples
    --------
    >>> saturation_kpa([20.0, 35.0]).round(3).tolist()
    [2.338, 5.623]
    """
    temp = _within(temp_c, LOWEST_C, HIGHEST_C, "temperature [°C]")
    return np.asarray(0.6108 * np.exp(17.27 * temp / (temp + 237.3)))


def saturation_slope_kpa_per_c(temp_c: ArrayLike) -> Floats:
    """Slope of the saturation curve (FAO-56 equation 13).

    Parameters
    ----------
    temp_c : float or array of float, any shape
        Air temperature [°C], -40 to 60.

    Returns
    -------
    array of float, same shape
        Slope [kPa/°C].

    Raises
    ------
    ValueError
        If a temperature is out of range.

    Examples
    --------
    >>> float(saturation_slope_kpa_per_c(30.0).round(3))
    0.243
    """
    temp = _within(temp_c, LOWEST_C, HIGHEST_C, "temperature [°C]")
    return np.asarray(4098.0 * saturation_kpa(temp) / (temp + 237.3) ** 2)


def mean_saturation_kpa(max_c: ArrayLike, min_c: ArrayLike) -> Floats:
    """Mean saturation vapour pressure of a day, from its extremes (FAO-56 equation 12).

    Parameters
    ----------
    max_c, min_c : float or array of float, shapes that broadcast
        Highest and lowest temperature of the day [°C], -40 to 60.

    Returns
    -------
    array of float
        [kPa]; more than that of the mean temperature, since the curve bends upwards.

    Raises
    ------
    ValueError
        If a temperature is out of range.

    Examples
    --------
    >>> float(mean_saturation_kpa(24.5, 15.0).round(2))
    2.39
    """
    return np.asarray((saturation_kpa(max_c) + saturation_kpa(min_c)) / 2.0)


def actual_kpa(temp_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Vapour pressure of the air as it is (FAO-56 equation 10, turned round).

    Parameters
    ----------
    temp_c : float or array of float
        Air temperature [°C], -40 to 60.
    rh_pct : float or array of float, shape that broadcasts
        Relative humidity at that moment [%], 0 to 100.

    Returns
    -------
    array of float
        Actual vapour pressure [kPa].

    Raises
    ------
    ValueError
        If a temperature or humidity is out of range.

    Examples
    --------
    >>> float(actual_kpa(25.0, 54.0).round(3))
    1.711
    """
    humidity = _within(rh_pct, 0.0, 100.0, "relative humidity [%]")
    return np.asarray(saturation_kpa(temp_c) * humidity / 100.0)


def daily_actual_kpa(
    extremes_c: tuple[ArrayLike, ArrayLike], extremes_pct: tuple[ArrayLike, ArrayLike]
) -> Floats:
    """Mean actual vapour pressure of a day, from its extremes (FAO-56 equation 17).

    Parameters
    ----------
    extremes_c : tuple of (lowest, highest)
        Temperature [°C], -40 to 60.
    extremes_pct : tuple of (lowest, highest)
        Relative humidity [%], 0 to 100; the highest goes with the lowest temperature.

    Returns
    -------
    array of float
        [kPa].

    Raises
    ------
    ValueError
        If a temperature or humidity is out of range.

    Examples
    --------
    >>> float(daily_actual_kpa((18.0, 25.0), (54.0, 82.0)).round(2))
    1.7
    """
    coolest, warmest = extremes_c
    driest, dampest = extremes_pct
    return np.asarray((actual_kpa(coolest, dampest) + actual_kpa(warmest, driest)) / 2.0)


def deficit_kpa(temp_c: ArrayLike, rh_pct: ArrayLike) -> Floats:
    """Vapour pressure deficit: how strongly the air pulls water out of a leaf.

    Parameters
    ----------
    temp_c : float or array of float
        Air temperature [°C], -40 to 60.
    rh_pct : float or array of float, shape that broadcasts
        Relative humidity at that moment [%], 0 to 100.

    Returns
    -------
    array of float
        Deficit [kPa]; never negative, zero in saturated air.

    Raises
    ------
    ValueError
        If a temperature or humidity is out of range.

    Examples
    --------
    >>> float(deficit_kpa(40.0, 20.0).round(2))
    5.9
    """
    humidity = _within(rh_pct, 0.0, 100.0, "relative humidity [%]")
    return np.asarray(saturation_kpa(temp_c) * (1.0 - humidity / 100.0))


def humidity_pct(temp_c: ArrayLike, vapour_kpa: ArrayLike) -> Floats:
    """Relative humidity of air at another temperature that holds the same water (FAO-56 equation 10).

    Parameters
    ----------
    temp_c : float or array of float
        Air temperature [°C], -40 to 60.
    vapour_kpa : float or array of float, shape that broadcasts
        Actual vapour pressure [kPa], 0 and up.

    Returns
    -------
    array of float
        Relative humidity [%], at most 100: what is over condenses.

    Raises
    ------
    ValueError
        If a temperature or pressure is out of range.

    Examples
    --------
    >>> float(humidity_pct(30.0, actual_kpa(25.0, 54.0)).round(1))
    40.3
    """
    vapour = _within(vapour_kpa, 0.0, np.inf, "vapour pressure [kPa]")
    return np.asarray(np.minimum(100.0 * vapour / saturation_kpa(temp_c), 100.0))
