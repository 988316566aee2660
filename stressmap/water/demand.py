"""How much the crops use: reference evapotranspiration day by day, times the crop coefficient."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.evapotranspiration import crop_coefficient

ASSUMED_ETO_MM = 6.0
"""Reference evapotranspiration of a summer day in a dry valley [mm]: common practice, no source."""
ASSUMED_KC = 1.0
"""Crop coefficient where a profile has none: a full cover as thirsty as the reference grass."""
USUAL_DAYS = 7

EtoSource = Literal["weather", "set", "assumed"]


@dataclass(frozen=True)
class Eto:
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
    """

    by_day: Mapping[dt.date, float]
    other_mm: float
    source: EtoSource

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


def reference(by_day: Mapping[dt.date, float], *, before: dt.date, set_mm: float | None = None) -> Eto:
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
    Eto

    Examples
    --------
    >>> reference({}, before=dt.date(2026, 7, 16)).source
    'assumed'
    >>> reference({dt.date(2026, 7, 15): 7.0}, before=dt.date(2026, 7, 16)).on(dt.date(2026, 7, 20))
    7.0
    """
    known = [by_day[day] for day in sorted(by_day) if day < before][-USUAL_DAYS:]
    if set_mm is not None:
        return Eto(by_day, set_mm, "set")
    if known:
        return Eto(by_day, float(np.mean(known)), "weather")
    return Eto(by_day, ASSUMED_ETO_MM, "assumed")


def crop_use_mm(profile: CropProfile, eto: Eto, first: dt.date, until: dt.date) -> float:
    """Add up crop evapotranspiration.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    eto : Eto
        Reference evapotranspiration.
    first, until : date
        From the start of the first day to the start of the last; nothing where they are in no order.

    Returns
    -------
    float
        [mm]: FAO Irrigation and Drainage Paper 56, equation 56, ETc = Kc ETo.
    """
    days = [first + dt.timedelta(days=k) for k in range((until - first).days)]
    if not days:
        return 0.0
    points = profile.crop_coefficient.points if profile.crop_coefficient else ()
    kc = crop_coefficient(days, points) if points else np.full(len(days), ASSUMED_KC)
    return float(kc @ [eto.on(day) for day in days])
