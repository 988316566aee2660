"""Net irrigation requirement of each valve zone until its next turn [mm], step by step.

1. Stress: how far the trees are below the target, the fully watered line less the allowance [bar] (without a
   target, over the first edge between priorities), with its 90 % interval.
2. Water that is short now: stress times the water per bar of the root zone. The log is a second estimate:
   since the last set the trees have used crop evapotranspiration, and of that the target allows only
   (baseline - target) in bars to be missing. Where the log says drier than the readings it raises
   the shortage, at most to the end of the readings' interval.
3. Until the next turn: plus crop evapotranspiration from the day after the visit, less what ran after
   the visit, less what the fall of the target allows meanwhile; never below zero, never over what the root
   zone holds.
4. On the field: that depth divided by the system's uniformity or its efficiency, one of the two.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from stressmap.agronomy.crops import CropProfile, Edge3, edges_for, for_variety
from stressmap.agronomy.evapotranspiration import stage_on
from stressmap.agronomy.harvest import at_harvest
from stressmap.agronomy.orchard import Orchard
from stressmap.core.settings import RankBy, Water
from stressmap.water import irrigation_system, root_zone
from stressmap.water.application_limits import (
    WETTED_SHARE,
    cut_off_before,
    most_over_days_mm,
    readily_available_mm,
)
from stressmap.water.crop_water_use import ReferenceEt, crop_use_mm, effective_rain_mm, is_tabulated
from stressmap.water.hydraulics import Hydraulics, hydraulics_of, number_or, text_or_none
from stressmap.zoning.ranking import Z_90, limit_on_figure
from stressmap.zoning.urgency import limit_of

USUAL_STEP_BAR = 2.0
"""Bars between two priorities of most crops; where a crop's are closer, a bar of it counts more."""
YOUNG_YEARS = 4
"""Trees planted fewer years ago have less than a full canopy."""


@dataclass(frozen=True)
class RequirementFacts:
    """Data that requirements are worked out from, beside the valves.

    Parameters
    ----------
    water : Water
        ``[water]``.
    orchard : Orchard
        The blocks' crops, with allowances and seasons.
    rank_by : str
        The mapped figure.
    visit_end : date
        Last day of the visit.
    start, next_turn : date
        First day of the plan, and the day by which water must last.
    eto : ReferenceEt
        Reference evapotranspiration.
    log : DataFrame or None
        As ``core.schemas.IRRIGATION``.
    edges_bar : tuple of float or None
        Of the map's settings; they go before the crops' own.
    """

    water: Water
    orchard: Orchard
    rank_by: RankBy
    visit_end: dt.date
    start: dt.date
    next_turn: dt.date
    eto: ReferenceEt
    log: pd.DataFrame | None
    edges_bar: Edge3 | None = None


@dataclass(frozen=True)
class Requirement:
    """Irrigation requirement of a valve zone with every intermediate step; a row of the requirement table.

    ``daily_use_mm`` is what the crop uses a day at its stress; ``most_net_mm_a_set`` what the wetted root
    zone takes at once, ``most_net_mm`` what the days of the plan may bring in all; after ``cut_off`` no
    water runs before harvest; ``limit_bar`` is the crop's limit as stress below the target, NaN where it has
    none; ``inspect`` holds why the valve is to be looked at before it is opened.
    """

    valve: str
    block: str
    crop: str
    pump: str | None
    area_ha: float
    weight: float
    stage: str
    harm: float
    step_bar: float
    stress_bar: float
    dry_bar: float
    dry_se_bar: float
    let_down_bar: float
    target_end_bar: float
    mm_per_bar: float
    short_mm: float
    etc_since_mm: float
    etc_until_mm: float
    given_mm: float
    need_mm: float
    need_low_mm: float
    need_high_mm: float
    factor: float
    rate_mm_h: float
    flow_m3_h: float
    min_hours: float
    max_hours: float
    hours_needed: float
    assumed: tuple[str, ...]
    system: str = irrigation_system.DEFAULT_SYSTEM
    texture: str = root_zone.DEFAULT_SOIL
    wetted_share: float = 1.0
    daily_use_mm: float = 0.0
    most_net_mm_a_set: float = float("inf")
    most_net_mm: float = float("inf")
    cut_off: dt.date | None = None
    limit_bar: float = float("nan")
    inspect: tuple[str, ...] = ()

    @property
    def end_bar(self) -> float:
        """Stress at the next turn if no water comes [bar]; below zero: wetter than the target."""
        return self.dry_bar - self.let_down_bar + (self.etc_until_mm - self.given_mm) / self.mm_per_bar


def requirements(
    valves: pd.DataFrame, data: pd.DataFrame, blocks: pd.DataFrame, facts: RequirementFacts
) -> list[Requirement]:
    """Work out the irrigation requirement of every valve zone.

    Parameters
    ----------
    valves : DataFrame, n rows
        In rank order, with the columns of ``zoning.ranking.COLUMNS``.
    data : DataFrame
        As ``core.schemas.VALVES``.
    blocks : DataFrame
        As ``core.schemas.BLOCKS``.
    facts : RequirementFacts
        The rest.

    Returns
    -------
    list of Requirement, length n
        In the order of ``valves``.
    """
    own: Any = data.set_index("valve")
    places = blocks.set_index("block").loc[valves["block"]].reset_index()
    places["crop"] = valves["crop"].to_numpy()
    days = [np.datetime64(d, "D") for d in (facts.visit_end, facts.next_turn)]
    baseline = valves["baseline_bar"].to_numpy(np.float64)
    held = valves[["baseline_bar", "target_bar"]].reset_index(drop=True)
    limit = limit_on_figure(held.assign(limit_bar=facts.orchard.limits(places)), "below_target")
    now, then = (facts.orchard.targets(places, np.full(len(places), day), baseline) for day in days)
    made, context = [], _Context(facts)
    for k, row in enumerate(valves.itertuples()):
        place = places.iloc[k]
        made.append(_need(row, own.loc[row.valve], place, context, (float(now[k]), float(then[k]))))
        e3 = context.profile(place).edges.below_target
        made[-1] = replace(made[-1], limit_bar=float(limit_of(e3, limit[k])))
    return made


def table(found: list[Requirement]) -> pd.DataFrame:
    """Give the requirements as a table.

    Parameters
    ----------
    found : list of Requirement
        n of them.

    Returns
    -------
    DataFrame, n rows
        A column per step.
    """
    return pd.DataFrame([asdict(one) for one in found])


class _Context:
    """The facts, with the log by valve, and crop water use worked out once for each span of days."""

    def __init__(self, facts: RequirementFacts) -> None:
        self.facts = facts
        self.log = {} if facts.log is None else dict(list(facts.log.groupby("valve", sort=False)))
        self._used: dict[tuple[Any, ...], float] = {}
        self._profiles: dict[tuple[str, str | None, str | None], CropProfile] = {}

    def profile(self, place: pd.Series) -> CropProfile:
        """Return the profile of a place's variety, moved to its own harvest."""
        key = place["crop"], text_or_none(place.get("variety")), text_or_none(place.get("harvest"))
        if key not in self._profiles:
            crop, variety, harvest = key
            self._profiles[key] = at_harvest(for_variety(self.facts.orchard.profiles[crop], variety), harvest)
        return self._profiles[key]

    def crop_use_mm(self, place: pd.Series, first: dt.date, until: dt.date, below_bar: float) -> float:
        """Return what trees so far below their fully watered line use over some days [mm]."""
        planted = number_or(place["planted"], np.nan)
        known = None if np.isnan(planted) else planted
        names = place["crop"], text_or_none(place.get("variety")), text_or_none(place.get("harvest"))
        key = *names, known, first, until, round(below_bar, 2)
        if key not in self._used:
            self._used[key] = crop_use_mm(
                self.profile(place),
                self.facts.eto,
                first,
                until,
                planted=known,
                below_baseline_bar=round(below_bar, 2),
            )
        return self._used[key]


def _need(
    row: Any, data: pd.Series, place: pd.Series, context: _Context, target: tuple[float, float]
) -> Requirement:
    facts = context.facts
    profile = context.profile(place)
    assumed: list[str] = []
    let_down = target[0] - target[1] if np.isfinite(target).all() else 0.0
    dry, se, step = _stress_below_target(row, profile, facts, assumed)
    below = max(0.0, number_or(row.baseline_bar - row.swp_bar, 0.0))
    etc_until = context.crop_use_mm(
        place, facts.visit_end + dt.timedelta(days=1), facts.next_turn, min(below, _allowed_bar(row))
    )
    daily = etc_until / max(1, (facts.next_turn - facts.visit_end).days - 1)
    texture = _texture(place, facts.water, assumed)
    storage = _root_zone_of(texture, profile, daily, facts.water, assumed)
    hydraulics = hydraulics_of(row.area_ha, data, place, facts.water, assumed)
    since, ran = _log_depths((row, place, below / 2.0), context, hydraulics, assumed)
    given = ran + effective_rain_mm(facts.eto, facts.visit_end + dt.timedelta(days=1), facts.next_turn)
    short_by_log = since - storage.mm_per_bar * _allowed_bar(row)
    high_bar = dry + Z_90 * se
    most = high_bar if dry > 0.0 else min(0.0, let_down)
    short = [
        _shortage_mm(bar, most, storage.mm_per_bar, short_by_log) for bar in (dry, dry - Z_90 * se, high_bar)
    ]
    later = etc_until - given - storage.mm_per_bar * let_down
    need, low, high = (min(storage.capacity_mm, max(0.0, mm + later)) for mm in short)
    wetted = number_or(place.get("wetted_share"), WETTED_SHARE[hydraulics.system])
    use = etc_until / max(1, (facts.next_turn - facts.visit_end).days - 1)
    stage = stage_on(facts.start + (facts.next_turn - facts.start) // 2, profile)
    unknown = {
        "stage": stage is None,
        "kc": profile.crop_coefficient is None,
        "young": _without_young_shares(profile)
        and facts.start.year - number_or(place["planted"], 0.0) < YOUNG_YEARS,
        "eto": facts.eto.source == "assumed",
        "max_hours": not np.isfinite(number_or(data["max_hours"], np.inf)),
        "kc_fitted": is_tabulated(profile) and facts.eto.climate is not None,
        "kc_table": is_tabulated(profile) and facts.eto.climate is None,
        "log": short[0] > dry * storage.mm_per_bar,
    }
    assumed += [code for code, holds in unknown.items() if holds]
    return Requirement(
        valve=row.valve, block=row.block, crop=row.crop, pump=text_or_none(data["pump"]), area_ha=row.area_ha,
        weight=float(place["weight"]), stage=stage.text.en if stage else "",
        harm=stage.harm if stage else 1.0, step_bar=step, stress_bar=float(row.stress_bar),
        dry_bar=short[0] / storage.mm_per_bar, dry_se_bar=se, let_down_bar=let_down, target_end_bar=target[1],
        mm_per_bar=storage.mm_per_bar, short_mm=short[0], etc_since_mm=since, etc_until_mm=etc_until,
        given_mm=given, need_mm=need, need_low_mm=low, need_high_mm=high, factor=hydraulics.factor,
        rate_mm_h=hydraulics.rate, flow_m3_h=hydraulics.flow, min_hours=number_or(data["min_hours"], 0.0),
        max_hours=number_or(data["max_hours"], np.inf),
        hours_needed=irrigation_system.set_hours(need, row.area_ha, hydraulics.flow, hydraulics.factor),
        assumed=tuple(assumed), system=hydraulics.system, texture=texture, wetted_share=wetted,
        daily_use_mm=use,
        most_net_mm_a_set=readily_available_mm(
            texture, profile, wetted, root_depth_m=facts.water.root_depth_m
        ),
        most_net_mm=most_over_days_mm(
            use, (facts.next_turn - facts.start).days, int(getattr(row, "readings", 0))
        ),
        cut_off=cut_off_before(profile, facts.start),
    )  # fmt: skip


def _without_young_shares(profile: CropProfile) -> bool:
    """Tell whether a full canopy is taken for young trees too."""
    return profile.crop_coefficient is not None and profile.crop_coefficient.young_kc_mid is None


def _shortage_mm(dry: float, most: float, mm_per_bar: float, short_by_log: float) -> float:
    """Give what is short by the readings, raised by the log at most to a stress that they still allow.

    Trees that are not under their target are not given a shortage by the log alone.
    """
    by_tree = dry * mm_per_bar
    if not np.isfinite(short_by_log) or short_by_log <= by_tree:
        return by_tree
    return max(by_tree, min(short_by_log, most * mm_per_bar))


def _stress_below_target(
    row: Any, profile: CropProfile, facts: RequirementFacts, assumed: list[str]
) -> tuple[float, float, float]:
    """Give stress below the target, its standard error, and the bars between two priorities."""
    if not np.isfinite(row.stress_bar):
        assumed.append("stress")
        return 0.0, 0.0, USUAL_STEP_BAR
    if np.isfinite(row.target_bar):
        edges = profile.edges.below_target
        return row.target_bar - row.swp_bar, row.stress_se_bar, (edges[2] - edges[0]) / 2.0
    assumed.append("target")
    edges = edges_for(profile, facts.rank_by, facts.edges_bar, facts.orchard.settings_file)
    return row.stress_bar - edges[0], row.stress_se_bar, (edges[2] - edges[0]) / 2.0


def _allowed_bar(row: Any) -> float:
    """Give how far below fully watered the target lets the trees be; infinite where that is not known."""
    allowed = row.baseline_bar - row.target_bar
    return float(allowed) if np.isfinite(allowed) else float("inf")


def _texture(place: pd.Series, water: Water, assumed: list[str]) -> str:
    soil = text_or_none(place["soil"]) or water.soil
    texture = root_zone.texture_class(soil or "")
    if texture is None:
        assumed.append("soil" if soil is None else "soil_not_known")
    return texture or root_zone.DEFAULT_SOIL


def _root_zone_of(
    texture: str, profile: CropProfile, daily_mm: float, water: Water, assumed: list[str]
) -> root_zone.RootZone:
    if water.mm_per_bar is not None:
        return root_zone.RootZone(water.mm_per_bar, float("inf"))
    assumed.append("mm_per_bar")
    return root_zone.root_zone(texture, profile, daily_mm, root_depth_m=water.root_depth_m)


def _log_depths(
    zone: tuple[Any, pd.Series, float], context: _Context, hydraulics: Hydraulics, assumed: list[str]
) -> tuple[float, float]:
    """Give the crop's use since the last set, less half the rain, and the net depth that ran after the visit.

    The zone comes with how far its trees stood below their line since then: on the mean half of what they
    do now [bar]. Both depths in mm.
    """
    row, place, below = zone
    facts, mine = context.facts, context.log.get(row.valve)
    if mine is None:
        assumed.append("no_log")
        return float("nan"), 0.0
    days = pd.Series([moment.date() for moment in mine["end"]], index=mine.index)
    before = mine[days <= facts.visit_end]
    since = float("nan")
    if len(before):
        last = max(moment.date() for moment in before["end"])
        until = facts.visit_end + dt.timedelta(days=1)
        used = context.crop_use_mm(place, last, until, below)
        since = max(0.0, used - effective_rain_mm(facts.eto, last, until))
    after = mine[(days > facts.visit_end) & (days < facts.start + dt.timedelta(days=1))]
    hours = (after["end"] - after["start"]).dt.total_seconds().to_numpy() / 3600.0
    gross = np.where(after["mm"].notna(), after["mm"].to_numpy(dtype=float), hours * hydraulics.rate)
    return since, float(gross.sum()) * hydraulics.factor
