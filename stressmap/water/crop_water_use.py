"""Crop water use: daily reference evapotranspiration times the crop coefficient (ETc = Kc ETo)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.evapotranspiration import climate_adjusted_kc, crop_coefficient
from stressmap.agronomy.water_use import stress_coefficient, young_shares

ASSUMED_ETO_MM = 6.0
"""Reference evapotranspiration of a summer day in a dry valley [mm]: common practice, no source."""
ASSUMED_KC = 1.0
"""Crop coefficient where a profile has none: a full cover using as much water as the reference grass."""
USUAL_DAYS = 7
EFFECTIVE_RAIN = 0.5
"""Share of the rain of the growing season that reaches the trees: 0.5 to 0.6, "Sacramento Valley ET Report"
(weekly), notes, 2017 (read); the lesser."""

EtoSource = Literal["weather", "set", "assumed"]


@dataclass(frozen=True)
class Climate:
    """How windy and dry the last weeks were.

    Parameters
    ----------
    wind_m_s : float
        Mean, taken as measured 2 m above the ground [m/s].
    rh_min_pct : float
        Mean of the days' lowest humidity [%].
    """

    wind_m_s: float
    rh_min_pct: float


@dataclass(frozen=True)
class ReferenceEt:
    """Reference evapotranspiration, known days and a figure for the others.

    Parameters
    ----------
    by_day : mapping of date to float
        [mm/day].
    other_mm : float
        For days that are not among them [mm/day].
    source : str
        Where ``other_mm`` is from: the last known days of the ``"weather"``, ``"set"`` by the ranch, or
        ``"assumed"``.
    climate : Climate or None
        What tabulated crop coefficients are fitted to; None where wind or humidity are not known.
    worked_out : bool
        Whether days were worked out from sun, air and wind, not measured by the station as such.
    rain_by_day : mapping of date to float
        Rain of known days [mm], all of it; none on days that are not among them.
    """

    by_day: Mapping[dt.date, float]
    other_mm: float
    source: EtoSource
    climate: Climate | None = None
    worked_out: bool = False
    rain_by_day: Mapping[dt.date, float] = field(default_factory=lambda: MappingProxyType({}))

    def on(self, day: dt.date) -> float:
        """Give a day's figure.

        Parameters
        ----------
        day : date
            Local.

        Returns
        -------
        float
            [mm/day].
        """
        return self.by_day.get(day, self.other_mm)


def reference(
    by_day: Mapping[dt.date, float], *, before: dt.date, set_mm: float | None = None
) -> ReferenceEt:
    """Settle the reference evapotranspiration of known and of coming days.

    Parameters
    ----------
    by_day : mapping of date to float
        Known days [mm/day].
    before : date
        Coming days get the mean of the last seven known days before this one.
    set_mm : float, optional
        What the ranch expects of coming days [mm/day]; goes before that mean.

    Returns
    -------
    ReferenceEt

    Examples
    --------
    >>> reference({}, before=dt.date(2026, 7, 16)).source
    'assumed'
    >>> reference({dt.date(2026, 7, 15): 7.0}, before=dt.date(2026, 7, 16)).on(dt.date(2026, 7, 20))
    7.0
    """
    known = [by_day[day] for day in sorted(by_day) if day < before][-USUAL_DAYS:]
    if set_mm is not None:
        return ReferenceEt(by_day, set_mm, "set")
    if known:
        return ReferenceEt(by_day, float(np.mean(known)), "weather")
    return ReferenceEt(by_day, ASSUMED_ETO_MM, "assumed")


def daily_rain(weather: pd.DataFrame | None, zone: ZoneInfo) -> dict[dt.date, float]:
    """Add up the rain of each local day.

    Parameters
    ----------
    weather : DataFrame or None
        As :data:`stressmap.core.schemas.WEATHER`.
    zone : ZoneInfo
        The ranch's, for what a day is.

    Returns
    -------
    dict of date to float
        [mm], of the days with a figure for rain.
    """
    if weather is None or "rain_mm" not in weather:
        return {}
    known = weather[weather["rain_mm"].notna()]
    days = pd.DatetimeIndex(known["time"]).tz_convert(zone).date
    sums = known["rain_mm"].groupby(days).sum()
    return {day: float(mm) for day, mm in zip(sorted(set(days)), sums, strict=True)}


def effective_rain_mm(eto: ReferenceEt, first: dt.date, until: dt.date) -> float:
    """Add up the rain that reaches the trees.

    Parameters
    ----------
    eto : ReferenceEt
        With the rain of the days.
    first, until : date
        From the start of the first day to the start of the last; nothing where they are in no order.

    Returns
    -------
    float
        [mm]: half of what fell.

    Examples
    --------
    >>> rainy = ReferenceEt({}, 5.0, "set", rain_by_day={dt.date(2026, 5, 2): 12.0})
    >>> effective_rain_mm(rainy, dt.date(2026, 5, 1), dt.date(2026, 5, 8))
    6.0
    """
    return EFFECTIVE_RAIN * sum(mm for day, mm in eto.rain_by_day.items() if first <= day < until)


def crop_use_mm(
    profile: CropProfile,
    eto: ReferenceEt,
    first: dt.date,
    until: dt.date,
    *,
    planted: float | None = None,
    below_baseline_bar: float = 0.0,
) -> float:
    """Add up crop evapotranspiration.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    eto : ReferenceEt
        Reference evapotranspiration.
    first, until : date
        From the start of the first day to the start of the last; nothing where they are in no order.
    planted : float, optional
        Year, for trees that do not cover the ground yet; default: full-grown.
    below_baseline_bar : float
        How far the trees are below the fully watered line in those days [bar]; default: they lack nothing.

    Returns
    -------
    float
        [mm]: FAO Irrigation and Drainage Paper 56, equation 56, ETc = Kc ETo; tabulated Kc of mid and late
        season by equation 62 (from memory, cross-checked), measured ones and a ranch's own as they are. A
        profile moved by :func:`stressmap.agronomy.harvest.at_harvest` uses water by its own harvest.
    """
    days = [first + dt.timedelta(days=k) for k in range((until - first).days)]
    if not days:
        return 0.0
    points = _points(profile, eto.climate)
    kc = crop_coefficient(days, points) if points else np.full(len(days), ASSUMED_KC)
    kc = kc * young_shares(profile, days, planted) * stress_coefficient(profile, below_baseline_bar)
    return float(kc @ [eto.on(day) for day in days])


def is_tabulated(profile: CropProfile) -> bool:
    """Tell whether a crop has coefficients from a table, for a standard climate.

    Parameters
    ----------
    profile : CropProfile
        The crop.

    Returns
    -------
    bool
        False for coefficients set by the ranch or measured where the crop is grown, which are taken to hold.
    """
    own = profile.crop_coefficient
    return own is not None and own.standard_climate and not profile.is_own("crop_coefficient")


def _points(profile: CropProfile, climate: Climate | None) -> tuple[tuple[str, float], ...]:
    own = profile.crop_coefficient
    if own is None:
        return ()
    if climate is None or not is_tabulated(profile):
        return own.points
    # Equation 62 is for mid and late season: the lowest coefficient is that of the first stage.
    least = min(kc for _, kc in own.points)
    fitted = climate_adjusted_kc(
        [kc for _, kc in own.points], climate.wind_m_s, climate.rh_min_pct, own.height_m
    ).tolist()
    return tuple((day, kc if kc <= least else new) for (day, kc), new in zip(own.points, fitted, strict=True))
