"""Crop water use: daily reference evapotranspiration times the crop coefficient (ETc = Kc ETo)."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.evapotranspiration import climate_adjusted_kc, crop_coefficient

ASSUMED_ETO_MM = 6.0
"""Reference evapotranspiration of a summer day in a dry valley [mm]: common practice, no source."""
ASSUMED_KC = 1.0
"""Crop coefficient where a profile has none: a full cover using as much water as the reference grass."""
USUAL_DAYS = 7

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
    """

    by_day: Mapping[dt.date, float]
    other_mm: float
    source: EtoSource
    climate: Climate | None = None
    worked_out: bool = False

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


def crop_use_mm(profile: CropProfile, eto: ReferenceEt, first: dt.date, until: dt.date) -> float:
    """Add up crop evapotranspiration.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    eto : ReferenceEt
        Reference evapotranspiration.
    first, until : date
        From the start of the first day to the start of the last; nothing where they are in no order.

    Returns
    -------
    float
        [mm]: FAO Irrigation and Drainage Paper 56, equation 56, ETc = Kc ETo; tabulated Kc of mid and late
        season by equation 62 (from memory, cross-checked), a ranch's own as they are.
    """
    days = [first + dt.timedelta(days=k) for k in range((until - first).days)]
    if not days:
        return 0.0
    points = _points(profile, eto.climate)
    kc = crop_coefficient(days, points) if points else np.full(len(days), ASSUMED_KC)
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
        False for coefficients set by the ranch, which are taken to hold there.
    """
    return profile.crop_coefficient is not None and not profile.is_own("crop_coefficient")


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
