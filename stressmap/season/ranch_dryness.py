"""Dryness of a ranch's valve zones from its weather, its log, soils and crops."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from stressmap.agronomy.daily_et import crop_et
from stressmap.agronomy.orchard import Orchard
from stressmap.core.arrays import Floats, Ints
from stressmap.core.settings import Water
from stressmap.core.units import M2_PER_HA
from stressmap.geostat.drying_by_soil import MEASURES, SOILS, SoilZones
from stressmap.intake.inputs import Inputs
from stressmap.intake.last_season import read_last_season
from stressmap.quality.record_spans import log_reaches
from stressmap.season.dryness import (
    SOIL_CLASS,
    WaterDays,
    felt_dryness,
    usual_gap_days,
    with_closed_books,
)
from stressmap.season.last_year import as_last_season
from stressmap.water.application_limits import WETTED_SHARE
from stressmap.water.crop_water_use import EFFECTIVE_RAIN, daily_rain, reference
from stressmap.water.hydraulics import Hydraulics, hydraulics_of, number_or, text_or_none
from stressmap.water.ranch_inputs import daily_eto
from stressmap.water.root_zone import DEFAULT_SOIL, available_mm_per_m, texture_class

USE_DAYS = 14
"""Days of late by which the share of the reference evapotranspiration that trees use is told."""
LEAST_SHARE = 0.1
"""Trees that use less than this share of the reference tell no more of water."""
LEAD_DAYS = 45
"""Days before the first visit from which on sets are taken from the log, where it has them."""


@dataclass(frozen=True)
class RanchWater:
    """What the dryness of a ranch's valve zones is worked out from, in the order of its valves, W of them.

    Parameters
    ----------
    first : date
        The first of the days.
    days : WaterDays
        Weather and sets, D days.
    capacity_mm, gap_days, soil : array, shape (W,)
        As :func:`stressmap.season.dryness.felt_dryness` asks for them.
    kind : array of int, shape (W,)
        Class of soil, its position in :data:`stressmap.geostat.drying_by_soil.SOILS`.
    """

    first: dt.date
    days: WaterDays
    capacity_mm: Floats
    gap_days: Floats
    soil: Floats
    kind: Ints

    def followed_by(self, et_mm: Floats, set_mm: Floats) -> RanchWater:
        """Put days to come behind; as :meth:`WaterDays.followed_by`."""
        return replace(self, days=self.days.followed_by(et_mm, set_mm))

    def use_share(self) -> Floats:
        """Give what the trees of each zone used of the reference evapotranspiration of late, shape (W,)."""
        days = self.days
        if days.use_mm is None:
            return np.ones(len(self.soil))
        late = slice(max(0, days.known - USE_DAYS), days.known)
        return np.asarray(days.use_mm[late].mean(axis=0) / max(float(days.et_mm[late].mean()), 1e-9))

    def soil_zones(self) -> SoilZones:
        """Give the zones' soils, for what visits tell of drying by soil."""
        share = self.use_share()
        return SoilZones(self.kind, self.soil, (1.0 + share) / (2.0 * np.maximum(share, LEAST_SHARE)))

    def as_taught(self, blocks: Sequence[str], before: Mapping[str, tuple[float, float]]) -> RanchWater:
        """Let dryness count by what the season before taught; as :func:`as_last_season`."""
        return replace(self, soil=as_last_season(self.soil, self.use_share(), blocks, before))

    def dryness(self) -> Floats:
        """Work out the dryness at the end of each day, shape (D, W) [mm]."""
        return felt_dryness(self.days, self.capacity_mm, self.gap_days, self.soil)

    def dryness_on(self, ordinal: Floats) -> Floats:
        """Give the dryness in the morning of some days, shape (H, W) [mm].

        Parameters
        ----------
        ordinal : array, shape (H,)
            Ordinals of the calendar; before the first day that day's is given, after the last the last's.

        Returns
        -------
        array
            A set of the day itself does not count yet.
        """
        at = np.floor(ordinal).astype(np.int64) - self.first.toordinal() - 1
        return self.dryness()[np.clip(at, 0, len(self.days.et_mm) - 1)]


def ranch_water(
    inputs: Inputs,
    orchard: Orchard,
    since: dt.date,
    until: dt.date,
    measures: Mapping[str, float] = MEASURES,
) -> RanchWater | None:
    """Gather weather and sets from the weeks before a first visit up to a last day.

    Parameters
    ----------
    inputs : Inputs
        What the files hold.
    orchard : Orchard
        The blocks' crops.
    since, until : date
        First day of the first visit, and the last day of all.
    measures : mapping of str to float, optional
        By which dryness counts, by class of soil, where that is not as usual.

    Returns
    -------
    RanchWater or None
        None without valves, without a log that was still kept on the last day and has sets of them, or
        where no day's evapotranspiration is known.
    """
    log = inputs.irrigation
    if log is None or inputs.valves.empty or not log_reaches(log, until):
        return None
    first = max(since - dt.timedelta(days=LEAD_DAYS), log["start"].min().date())
    log = log[(log["end"].dt.date >= first) & (log["start"].dt.date <= until)]
    eto = _eto_between(inputs, first, until)
    if log.empty or eto.empty:
        return None
    known = {pd.Timestamp(str(day)).date(): float(mm) for day, mm in eto.items()}
    other = reference(known, before=until + dt.timedelta(days=1))
    dates = [first + dt.timedelta(days=k) for k in range((until - first).days + 1)]
    et = pd.DataFrame({"eto_mm": [other.on(day) for day in dates]}, index=pd.DatetimeIndex(dates))
    fallen = daily_rain(inputs.weather, inputs.settings.ranch.zone)
    rain = EFFECTIVE_RAIN * np.array([fallen.get(day, 0.0) for day in dates])
    zones = _zones(inputs, orchard)
    by_crop = {crop: crop_et(et, profile).value.to_numpy() for crop, profile in orchard.profiles.items()}
    use = np.column_stack([by_crop[crop] for crop in zones["crop"]])
    sets = _sets(log, zones, (first, until))
    if not sets.any():
        return None
    block = pd.factorize(zones["block"])[0].astype(np.int64)
    known_days = WaterDays(et["eto_mm"].to_numpy(dtype=float), sets, len(dates), rain, use)
    days = with_closed_books(known_days, block)
    capacity, kind = zones["capacity_mm"].to_numpy(dtype=float), zones["kind"].to_numpy(dtype=np.int64)
    soil = np.array([{**MEASURES, **measures}[name] for name in SOILS])[kind]
    water = RanchWater(first, days, capacity, usual_gap_days(sets, block), soil, kind)
    return water.as_taught(zones["block"].tolist(), season_before(inputs))


def season_before(inputs: Inputs) -> dict[str, tuple[float, float]]:
    """Read what the season before taught of each block; nothing without ``[files] last_season``."""
    path = inputs.settings.files.last_season
    return {} if path is None else read_last_season(path)


def _eto_between(inputs: Inputs, first: dt.date, until: dt.date) -> pd.Series:
    """Work out the reference evapotranspiration of the days that matter alone, if those are the fewer.

    Otherwise of all days, which others ask for too and which are then known.
    """
    weather = inputs.weather
    if weather is not None and not weather.empty:
        day = pd.DatetimeIndex(weather["time"]).date
        around = dt.timedelta(days=1)
        mine = (day >= first - around) & (day <= until + around)
        weather = weather if 2 * mine.sum() >= len(mine) else weather[mine]
    found = daily_eto(replace(inputs, weather=weather)).value["eto_mm"].dropna()
    return found[[first <= pd.Timestamp(str(one)).date() <= until for one in found.index]]


def _zones(inputs: Inputs, orchard: Orchard) -> pd.DataFrame:
    """Settle crop, soil, capacity and hydraulics of each valve zone."""
    water, blocks = inputs.settings.water or Water(), orchard.blocks.set_index("block")
    area = inputs.valves.geometry.area / M2_PER_HA
    rows = []
    for (_, data), area_ha in zip(inputs.valves.iterrows(), area, strict=True):
        place = blocks.loc[data["block"]]
        hydraulics = hydraulics_of(float(area_ha), data, place, water, [])
        rows.append(
            {"valve": data["valve"], "block": data["block"], **_soil(place, orchard, hydraulics, water)}
        )
    return pd.DataFrame(rows)


def _soil(place: pd.Series, orchard: Orchard, hydraulics: Hydraulics, water: Water) -> dict[str, object]:
    texture = texture_class(text_or_none(place["soil"]) or water.soil or "") or DEFAULT_SOIL
    wetted = number_or(place.get("wetted_share"), WETTED_SHARE[hydraulics.system])
    depth = water.root_depth_m or orchard.profiles[place["crop"]].roots.depth_m
    return {
        "crop": place["crop"],
        "capacity_mm": available_mm_per_m(texture) * depth * wetted,
        "kind": SOILS.index(SOIL_CLASS[texture]),
        "hydraulics": hydraulics,
    }


def _sets(log: pd.DataFrame, zones: pd.DataFrame, span: tuple[dt.date, dt.date]) -> Floats:
    """Add up what the sets of the log brought each valve zone, on the day it ended, shape (D, W) [mm]."""
    first, until = span
    found = np.zeros(((until - first).days + 1, len(zones)))
    position = {valve: at for at, valve in enumerate(zones["valve"])}
    log = log[log["valve"].isin(list(position))]
    at = np.array([position[valve] for valve in log["valve"]], dtype=np.int64)
    rate, factor = (
        np.array([getattr(one, name) for one in zones["hydraulics"]]) for name in ("rate", "factor")
    )
    hours = (log["end"] - log["start"]).dt.total_seconds().to_numpy(dtype=float) / 3600.0
    mm = log["mm"].to_numpy(dtype=float)
    net = np.where(np.isfinite(mm), mm, hours * rate[at]) * factor[at]
    day = np.array([end.toordinal() for end in log["end"].dt.date], dtype=np.int64) - first.toordinal()
    np.add.at(found, (np.clip(day, 0, len(found) - 1), at), net)
    return found
