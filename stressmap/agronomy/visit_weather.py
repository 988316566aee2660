"""Several days of one visit made comparable: each reading carried to the visit's middle weather."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stressmap.agronomy.baseline import baseline_bar
from stressmap.agronomy.crops import BaselineLine
from stressmap.core.arrays import Floats

UNLIKE_BAR = 1.0
"""Days whose baselines differ by more than this are made comparable."""


@dataclass(frozen=True)
class VisitWeather:
    """The vapour pressure deficit of the days of a visit.

    Parameters
    ----------
    days : array of datetime64[D], shape (d,)
        Those with a deficit known, rising.
    vpd_kpa : array of float, shape (d,)
        Mean over the readings of each [kPa].
    """

    days: NDArray[np.datetime64]
    vpd_kpa: Floats

    @property
    def middle_kpa(self) -> float:
        """The middle one (median) of the days' deficits [kPa]; NaN where none is known."""
        return float(np.median(self.vpd_kpa)) if len(self.vpd_kpa) else float("nan")

    def spread_bar(self, line: BaselineLine) -> float:
        """Give how far apart the days' baselines of a crop are.

        Parameters
        ----------
        line : BaselineLine
            The crop's fully watered line.

        Returns
        -------
        float
            [bar].
        """
        return float(np.ptp(self.vpd_kpa)) * -line.slope_bar_per_kpa if len(self.vpd_kpa) else 0.0


def visit_weather(days: NDArray[np.datetime64], vpd_kpa: Floats) -> VisitWeather:
    """Average the deficit over the readings of each day.

    Parameters
    ----------
    days : array of datetime64[D], shape (n,)
        Day of each reading; NaT is passed over.
    vpd_kpa : array of float, shape (n,)
        [kPa]; NaN is passed over.

    Returns
    -------
    VisitWeather

    Examples
    --------
    >>> days = np.array(["2026-07-14", "2026-07-14", "2026-07-15"], dtype="datetime64[D]")
    >>> visit_weather(days, np.array([3.0, 5.0, 6.0])).middle_kpa
    5.0
    """
    known = np.isfinite(vpd_kpa) & ~np.isnat(days)
    each, at = np.unique(days[known], return_inverse=True)
    sums = np.bincount(at, weights=vpd_kpa[known], minlength=len(each))
    return VisitWeather(each, sums / np.maximum(np.bincount(at, minlength=len(each)), 1))


def weather_shift_bar(
    days: NDArray[np.datetime64], vpd_kpa: Floats, line: BaselineLine, weather: VisitWeather
) -> Floats:
    """Give what to add to a potential to have it in the visit's middle weather.

    Parameters
    ----------
    days : array of datetime64[D], shape (n,)
        Day of each reading.
    vpd_kpa : array of float, shape (n,)
        Deficit at each [kPa]; where NaN, its day's mean is taken.
    line : BaselineLine
        The crop's fully watered line.
    weather : VisitWeather
        The visit's days.

    Returns
    -------
    array of float, shape (n,)
        [bar]; positive on the hotter days; 0 where neither the reading nor its day has a deficit.

    Examples
    --------
    >>> days = np.array(["2026-07-14", "2026-07-15"], dtype="datetime64[D]")
    >>> vpd = np.array([3.0, 5.0])
    >>> line = BaselineLine(intercept_bar=-4.1, slope_bar_per_kpa=-1.2)
    >>> weather_shift_bar(days, vpd, line, visit_weather(days, vpd)).round(1).tolist()
    [-1.2, 1.2]
    """
    by_day = dict(zip(weather.days.astype(int).tolist(), weather.vpd_kpa.tolist(), strict=True))
    of_day = np.array([by_day.get(day, np.nan) for day in days.astype(int).tolist()], dtype=np.float64)
    vpd = np.where(np.isnan(vpd_kpa), of_day, vpd_kpa)
    slope, intercept = line.slope_bar_per_kpa, line.intercept_bar
    middle = baseline_bar(weather.middle_kpa, intercept_bar=intercept, slope_bar_per_kpa=slope)
    return np.nan_to_num(middle - baseline_bar(vpd, intercept_bar=intercept, slope_bar_per_kpa=slope))
