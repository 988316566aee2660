"""Evapotranspiration of a season and of the weeks ahead, and the dryness of valve zones that comes of it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.core.notes import Noted, NoteList
from stressmap.core.settings import Water
from stressmap.intake.inputs import Inputs
from stressmap.intake.weather import read_weather
from stressmap.jobs.season_windows import DrynessDays
from stressmap.season.calendar_days import HORIZON_DAYS
from stressmap.season.ranch_dryness import RanchWater
from stressmap.water.crop_water_use import reference
from stressmap.water.ranch_inputs import daily_eto

HOT_DAYS, LATE_DAYS = 7, 30
"""The hottest week of so many days before today is the hot week that may come."""
HOTTER = 1.15
"""Where no such week is known, one that takes so much more: a judgement, no source."""


@dataclass(frozen=True)
class SeasonEt:
    """Reference evapotranspiration of every day from a first one to the horizon.

    Parameters
    ----------
    first, today : int
        Day of position 0, and today.
    mm : array of float, shape (D,)
        As known or expected.
    hot_mm : float
        Of a day of the hot week that may come.
    source : str
        Of the days ahead: ``forecast``, ``weather``, ``set`` or ``assumed``.
    """

    first: int
    today: int
    mm: Floats
    hot_mm: float
    source: str

    @property
    def ahead(self) -> Floats:
        """What is expected of the days from today on, shape (HORIZON_DAYS,)."""
        at = self.today - self.first
        return self.mm[at : at + HORIZON_DAYS]

    @property
    def hot(self) -> Floats:
        """The same with a hot week first."""
        found = self.ahead.copy()
        found[:HOT_DAYS] = np.maximum(found[:HOT_DAYS], self.hot_mm)
        return found


def season_et(inputs: Inputs, first: int, today: int) -> Noted[SeasonEt]:
    """Settle the evapotranspiration of a season.

    Parameters
    ----------
    inputs : Inputs
        Weather, ``[water] eto``, ``[files] forecast``.
    first, today : int
        Days.

    Returns
    -------
    Noted of SeasonEt
        Says what is expected of the days ahead, and from where.
    """
    notes = NoteList()
    known = _by_day(daily_eto(inputs).value)
    usual = reference(
        known, before=dt.date.fromordinal(today + 1), set_mm=(inputs.settings.water or Water()).eto
    )
    source: str = usual.source
    told = notes.keep(_forecast(inputs))
    coming = {day: mm for day, mm in told.items() if day.toordinal() >= today and day not in known}
    if coming:
        source = "forecast"
    every = known | coming
    days = [dt.date.fromordinal(day) for day in range(first, today + HORIZON_DAYS + 1)]
    past = known if usual.source != "set" else {}
    mm = np.array([every.get(day, usual.other_mm) for day in days])
    late = [past.get(dt.date.fromordinal(day)) for day in range(today - LATE_DAYS + 1, today + 1)]
    hot = _hottest([one for one in late if one is not None], usual.other_mm)
    ahead = float(mm[today - first : today - first + HOT_DAYS].mean())
    notes.say("season_et_ahead", mm=ahead, hot_mm=max(hot, ahead), source=f"et_{source}", days=len(coming))
    return notes.beside(SeasonEt(first, today, mm, hot, source))


def _by_day(table: pd.DataFrame) -> dict[dt.date, float]:
    return {pd.Timestamp(str(day)).date(): float(mm) for day, mm in table["eto_mm"].dropna().items()}


def _hottest(late: list[float], usual_mm: float) -> float:
    """Give the mean of the hottest week; without a whole week a little more than usual."""
    if len(late) < HOT_DAYS:
        return HOTTER * usual_mm
    return float(np.convolve(late, np.full(HOT_DAYS, 1.0 / HOT_DAYS), "valid").max())


def _forecast(inputs: Inputs) -> Noted[dict[dt.date, float]]:
    """Read the days to come; a file of days has each day's ``eto`` in one row."""
    path, chosen = inputs.settings.files.forecast, inputs.settings
    if path is None:
        return Noted({})
    read = read_weather(path, zone=chosen.ranch.zone, columns=chosen.columns, order=chosen.reading.date_order)
    table = read.value
    local = pd.DatetimeIndex(table["time"]).tz_convert(chosen.ranch.zone).date
    daily = table["eto_mm"].notna().any() and len(table) <= 2 * len(set(local))
    if daily:
        sums = table["eto_mm"].groupby(local).sum(min_count=1).dropna()
        return Noted({day: float(mm) for day, mm in zip(sums.index, sums, strict=True)}, read.notes)
    return Noted(_by_day(daily_eto(replace(inputs, weather=table)).value), read.notes)


def dryness_days(water: RanchWater | None, et: SeasonEt, zones: int) -> DrynessDays:
    """Run the dryness of valve zones on to the horizon, without water.

    Parameters
    ----------
    water : RanchWater or None
        Up to today; None without log or weather.
    et : SeasonEt
        Of the days.
    zones : int
        How many there are.

    Returns
    -------
    DrynessDays
    """
    if water is None:
        length = len(et.mm)
        return DrynessDays(
            et.first, np.zeros((length, zones)), np.zeros((HORIZON_DAYS + 1, zones)), known=False
        )
    none = np.zeros((HORIZON_DAYS, zones))
    usual = water.followed_by(et.ahead, none).dryness()
    hot = water.followed_by(et.hot, none).dryness()
    # the morning of a day feels what was at the end of the day before
    first = water.first.toordinal() + 1
    return DrynessDays(first, usual, hot[et.today - first :][: HORIZON_DAYS + 1], known=True)
