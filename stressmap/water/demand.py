"""How much the crops use: reference evapotranspiration day by day, times the crop coefficient."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from stressmap.agronomy.crops import CropProfile, Stage
from stressmap.agronomy.target import through_season
from stressmap.settings import parse_month_day

ASSUMED_ETO_MM = 6.0
"""Reference evapotranspiration of a summer day in a dry valley [mm]: common practice, no source."""
ASSUMED_KC = 0.9
"""Crop coefficient where a profile has none: full cover of stone fruit, FAO-56 table 12."""
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


def coefficient(profile: CropProfile, day: dt.date) -> float:
    """Give the crop coefficient on a day.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    day : date
        Local.

    Returns
    -------
    float
        On reference evapotranspiration of grass.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> coefficient(load_profiles({}, "ranch.toml")["prune"], dt.date(2026, 7, 14))
    0.9
    """
    if profile.crop_coefficient is None:
        return ASSUMED_KC
    return float(through_season([day], profile.crop_coefficient.points)[0])


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
    return float(sum(coefficient(profile, day) * eto.on(day) for day in days))


def stage_on(profile: CropProfile, day: dt.date) -> Stage | None:
    """Find the growth stage of a day.

    Parameters
    ----------
    profile : CropProfile
        The crop, its season already that of the hemisphere.
    day : date
        Local.

    Returns
    -------
    Stage or None
        The one that began last; None where the profile has none.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> stage_on(load_profiles({}, "ranch.toml")["prune"], dt.date(2026, 7, 14)).text.en
    'fruit sizing'
    """
    if not profile.stages:
        return None
    dated = sorted((parse_month_day(stage.begins), k) for k, stage in enumerate(profile.stages))
    begun = [k for begins, k in dated if begins <= (day.month, day.day)]
    return profile.stages[begun[-1] if begun else dated[-1][1]]
