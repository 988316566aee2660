"""Net irrigation requirement of each valve zone until its next turn [mm], step by step, from two witnesses.

1. The trees: how far they are below the target, the fully watered line less the allowance [bar] (without a
   target, over the first edge between priorities), with its 90 % interval, times the water per bar of the
   root zone: from soil, roots and wetted share, or measured between two visits where that tells more.
2. The book: a running balance of the valve up to its own last reading; of what is missing the target allows
   (baseline - target) in bars. What is short is the mean of the two by their variances, never outside the
   interval of the trees; the book alone gives no shortage to trees that are not under their target.
3. Until the next turn: plus crop evapotranspiration from the day after the valve's reading, less every
   millimetre that ran after that reading (also what the log has of the plan's own days), less half of the
   rain, less what the fall of the target allows meanwhile; never below zero.
4. On the field: that depth divided by the system's uniformity or its efficiency, one of the two.

Valves that are far drier than their block, whose witnesses are far apart, or that ran and did not relieve
their trees are to be looked at first; until flow or pressure was measured they get no more than the crop
uses.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from stressmap.agronomy.crops import CropProfile, edges_for
from stressmap.agronomy.evapotranspiration import stage_on
from stressmap.agronomy.profile_parts import CropNames, Stage
from stressmap.core.settings import Water
from stressmap.water import irrigation_system, root_zone
from stressmap.water.application_limits import (
    WETTED_SHARE,
    cut_off_before,
    most_over_days_mm,
    readily_available_mm,
    share_of_a_set,
)
from stressmap.water.crop_water_use import effective_rain_mm, is_tabulated
from stressmap.water.hydraulics import hydraulics_of, number_or, text_or_none
from stressmap.water.inspection import apart_from_crop, drier_than_block, is_checked, not_relieved
from stressmap.water.measured_water_per_bar import PRIOR_LOG_SD
from stressmap.water.soil_water_balance import RAN_ERROR, USE_ERROR, Book
from stressmap.water.valve_context import RequirementFacts, ValveContext
from stressmap.zoning.ranking import Z_90, limit_on_figure
from stressmap.zoning.urgency import limit_of

__all__ = ["Requirement", "RequirementFacts", "requirements", "witnesses_apart"]

TOLD_MM = 5.0
"""The book is named where it changes what is short by more than this [mm]."""
DRIEST_BAR = -40.0
"""No course of stress is told below this stem water potential [bar]: field pressure chambers read down to
about -40 bar, and trees that dry have dropped their leaves there; from memory, no text read."""
YOUNG_YEARS = 4
"""Trees planted fewer years ago have no full canopy and shallow roots: common practice, no source."""


@dataclass(frozen=True)
class Requirement:
    """Irrigation requirement of a valve zone with every intermediate step.

    ``daily_use_mm`` is what the crop uses a day at its stress; ``most_net_mm_a_set`` what the wetted root
    zone takes at once, ``most_net_mm`` what the days of the plan may bring in all; after ``cut_off`` no
    water runs before harvest; ``limit_bar`` is the crop's limit as stress below the target, NaN where it has
    none; ``inspect`` holds why the valve is to be looked at before it is opened; ``need_by_trees_mm`` and
    ``need_by_book_mm`` are what each of the two witnesses alone would ask for, NaN where it is not there;
    ``order_only`` marks a block of too few read trees, for which no amounts are worked out; ``missing_mm`` is
    what the root zone lacks on the first day of the plan, NaN where that is not known; ``pulse`` are minutes
    open and closed by turns, ``rate_mm_h`` then the mean over both and ``flow_m3_h`` that of the open valve;
    ``mm_per_bar_log_sd`` is the standard error of the logarithm of ``mm_per_bar``; ``ran`` are openings and
    closings by the log that the plan has to rest after and to keep its days from; ``is_young`` marks trees
    that are watered short and often; ``start_bar`` is the stress on the first day of the plan,
    ``stage_names`` the stage in the languages of the sheets; ``unmet_mm`` is the part of ``etc_until_mm``
    that trees could not use before the plan, as their root zone ran out.
    """

    valve: str
    block: str
    crop: str
    pump: str | None
    area_ha: float
    weight: float
    stage: str
    harm: float
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
    need_by_trees_mm: float = float("nan")
    need_by_book_mm: float = float("nan")
    book_less_trees_mm: float = float("nan")
    order_only: bool = False
    missing_mm: float = float("nan")
    pulse: tuple[int, int] | None = None
    mm_per_bar_log_sd: float = PRIOR_LOG_SD
    ran: tuple[tuple[pd.Timestamp, pd.Timestamp], ...] = ()
    is_young: bool = False
    start_bar: float = float("nan")
    stage_names: CropNames | None = None
    unmet_mm: float = 0.0

    @property
    def mean_flow_m3_h(self) -> float:
        """Flow over the time from opening to closing, pulses and pauses together [m3/h]."""
        return self.flow_m3_h * (self.pulse[0] / sum(self.pulse) if self.pulse else 1.0)

    @property
    def end_bar(self) -> float:
        """Stress at the next turn if no water comes [bar]; below zero: wetter than the target.

        No more than takes the trees to :data:`DRIEST_BAR`.
        """
        used = self.etc_until_mm - self.unmet_mm - self.given_mm
        found = self.dry_bar - self.let_down_bar + used / self.mm_per_bar
        most = self.target_end_bar - DRIEST_BAR
        return min(found, max(most, self.dry_bar)) if np.isfinite(most) else found


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
    harmed = facts.orchard.limits(places, (facts.start, facts.next_turn))
    limit = limit_on_figure(held.assign(limit_bar=harmed), "below_target")
    now, then = (facts.orchard.targets(places, np.full(len(places), day), baseline) for day in days)
    made, context = [], ValveContext(facts)
    for k, row in enumerate(valves.itertuples()):
        place = places.iloc[k]
        one = _need(row, own.loc[row.valve], place, context, (float(now[k]), float(then[k])))
        edges = context.profile(place).edges.below_target
        made.append(replace(one, limit_bar=float(limit_of(edges, limit[k]))))
    return _looked_over(made, valves, own, facts)


def _looked_over(
    found: list[Requirement], valves: pd.DataFrame, own: Any, facts: RequirementFacts
) -> list[Requirement]:
    """Add why valves are to be looked at before they are opened, and hold their dose until that was done.

    A valve whose flow or pressure was measured since the visit began is not listed.
    """
    drier = drier_than_block(valves)
    apart, _ = witnesses_apart(found)
    days = (facts.next_turn - facts.start).days
    looked = []
    for one, is_drier, is_apart in zip(found, drier, apart, strict=True):
        told = {"drier_than_block": is_drier, "witnesses_apart": is_apart}
        told["trouble_reported"] = one.valve in facts.troubles
        why = (*one.inspect, *(code for code, holds in told.items() if holds))
        if why and not is_checked(own.loc[one.valve], facts.visit_begin or facts.visit_end):
            held = min(one.most_net_mm, one.daily_use_mm * days)
            looked.append(replace(one, inspect=why, most_net_mm=held))
        else:
            looked.append(replace(one, inspect=()))
    return looked


def witnesses_apart(found: list[Requirement]) -> tuple[list[bool], dict[str, float]]:
    """Tell where book and trees are apart, and of which crops they are so in most valves.

    Parameters
    ----------
    found : list of Requirement
        n of them.

    Returns
    -------
    tuple of (list of bool, length n, dict of str to float)
        As :func:`stressmap.water.inspection.apart_from_crop` gives it.
    """
    gaps = np.array([one.book_less_trees_mm for one in found])
    return apart_from_crop(gaps, pd.Series([one.crop for one in found]))


def _need(
    row: Any, data: pd.Series, place: pd.Series, context: ValveContext, target: tuple[float, float]
) -> Requirement:
    facts, profile = context.facts, context.profile(place)
    assumed: list[str] = []
    let_down = target[0] - target[1] if np.isfinite(target).all() else 0.0
    dry, se = _stress_below_target(row, profile, facts, assumed)
    after = context.read_on(row.valve, row.block) + dt.timedelta(days=1)
    below = max(0.0, number_or(row.baseline_bar - row.swp_bar, 0.0))
    held = min(below, _allowed_bar(row))
    etc_until = context.crop_use_mm(place, after, facts.next_turn, held)
    use = etc_until / max(1, (facts.next_turn - after).days)
    texture = _texture(place, facts.water, assumed)
    hydraulics = hydraulics_of(row.area_ha, data, place, facts.water, assumed)
    wetted = number_or(place.get("wetted_share"), WETTED_SHARE[hydraulics.system])
    storage = _root_zone_of(texture, profile, (use, wetted), facts.water, assumed)
    book = context.book(row, place, storage, hydraulics)
    ran_dry = _not_relieved(row, book, storage, 2.0 if "mm_per_bar" in assumed else 1.0)
    ran_dry = ran_dry or row.valve in facts.read.not_relieved
    log_sd = PRIOR_LOG_SD
    if not ran_dry and "mm_per_bar" in assumed:
        found, code = context.told_per_bar(row, place, storage, hydraulics, book)
        if found is not None:
            assumed[assumed.index("mm_per_bar")] = code
            storage, log_sd = storage.with_mm_per_bar(found.mm), found.log_sd
            book = context.book(row, place, storage, hydraulics)
    per_bar = storage.mm_per_bar
    given = effective_rain_mm(facts.eto, after, facts.next_turn)
    given += context.ran_between(row, hydraulics, facts.next_turn)
    unmet = context.unmet_mm(row, place, storage, hydraulics, (below, held))
    later = etc_until - unmet - given - per_bar * let_down
    by_start = use * (facts.start - after).days - unmet - context.came_before(row, hydraulics, after)
    high_bar = dry + Z_90 * se
    most = high_bar if dry > 0.0 else max(dry, min(0.0, let_down))
    by_book = _short_by_book(book, storage, row)
    trees = [bar * per_bar for bar in (dry, dry - Z_90 * se, high_bar)]
    known = np.isfinite(row.stress_bar)
    weight = _weight_of_book(book, se * per_bar, known=bool(known))
    short = [
        _between_witnesses((mm, by_book), weight, (trees[1], most * per_bar), known=bool(known))
        for mm in trees
    ]
    need, low, high = (max(0.0, min(storage.capacity_mm, mm) + later) for mm in short)
    unread = context.log_unread(row)
    told = {
        "root_zone_empty": unmet > TOLD_MM,
        "no_log": row.valve not in context.log and not unread,
        "log_unread": unread,
    }
    told["log"] = abs(short[0] - trees[0]) > TOLD_MM
    unknown = told | _unknown(place, data, profile, facts)
    assumed += [code for code, holds in unknown.items() if holds]
    stage = _stage(profile, facts)
    days = (facts.next_turn - facts.start).days
    return Requirement(
        valve=row.valve, block=row.block, crop=row.crop, pump=text_or_none(data["pump"]), area_ha=row.area_ha,
        weight=float(place["weight"]), stage=stage.text.en if stage else "",
        harm=stage.harm if stage else 1.0, stress_bar=float(row.stress_bar),
        dry_bar=short[0] / per_bar, dry_se_bar=se, let_down_bar=let_down, target_end_bar=target[1],
        mm_per_bar=per_bar, short_mm=short[0], etc_since_mm=book.used_mm if book else float("nan"),
        etc_until_mm=etc_until, given_mm=given, need_mm=need, need_low_mm=low, need_high_mm=high,
        factor=hydraulics.factor, rate_mm_h=hydraulics.rate, flow_m3_h=hydraulics.flow,
        min_hours=number_or(data["min_hours"], 0.0), max_hours=number_or(data["max_hours"], np.inf),
        hours_needed=irrigation_system.set_hours(need, row.area_ha, hydraulics.flow, hydraulics.factor),
        assumed=tuple(assumed), system=hydraulics.system, texture=texture, wetted_share=wetted,
        daily_use_mm=use,
        most_net_mm_a_set=readily_available_mm(
            texture, profile, wetted, root_depth_m=facts.water.root_depth_m
        ) * share_of_a_set(
            profile, facts.start, number_or(place["planted"], np.nan),
            very_dry=dry > profile.edges.below_target[2],
        ),
        most_net_mm=most_over_days_mm(use, days, facts.read.in_valve(row.valve)),
        cut_off=cut_off_before(profile, facts.start),
        inspect=("not_relieved",) if ran_dry else (),
        book_less_trees_mm=by_book - trees[0] if known else float("nan"),
        need_by_trees_mm=max(0.0, trees[0] + later) if known else float("nan"),
        need_by_book_mm=float(np.maximum(0.0, by_book + later)),
        order_only=facts.read.too_few(row.block) and not facts.water.amounts_anyway,
        missing_mm=_missing_mm(row, storage, short[0], by_start),
        mm_per_bar_log_sd=log_sd, ran=context.runs(row.valve), is_young=_is_young(place, facts),
        start_bar=(short[0] + by_start) / per_bar, stage_names=stage.text if stage else None,
        unmet_mm=unmet,
    )  # fmt: skip


def _stage(profile: CropProfile, facts: RequirementFacts) -> Stage | None:
    return stage_on(facts.start + (facts.next_turn - facts.start) // 2, profile)


def _unknown(
    place: pd.Series, data: pd.Series, profile: CropProfile, facts: RequirementFacts
) -> dict[str, bool]:
    """Tell what had to be assumed of crop, weather and valve."""
    return {
        "stage": _stage(profile, facts) is None,
        "kc": profile.crop_coefficient is None,
        "harvest": profile.cut_off is not None
        and text_or_none(place.get("harvest")) is None
        and not profile.is_own("harvest"),
        "young": _without_young_shares(profile) and _is_young(place, facts),
        "eto": facts.eto.source == "assumed",
        "max_hours": not np.isfinite(number_or(data["max_hours"], np.inf)),
        "kc_fitted": is_tabulated(profile) and facts.eto.climate is not None,
        "kc_table": is_tabulated(profile) and facts.eto.climate is None,
    }


def _is_young(place: pd.Series, facts: RequirementFacts) -> bool:
    return facts.start.year - number_or(place["planted"], 0.0) < YOUNG_YEARS


def _without_young_shares(profile: CropProfile) -> bool:
    """Tell whether a full canopy is taken for young trees too."""
    return profile.crop_coefficient is not None and profile.crop_coefficient.young_kc_mid is None


def _short_by_book(book: Book | None, storage: root_zone.RootZone, row: Any) -> float:
    """Give what is short by the book: what is missing less what the target allows to be; NaN without one."""
    return book.depletion_mm - storage.mm_per_bar * _allowed_bar(row) if book else float("nan")


def _weight_of_book(book: Book | None, trees_se_mm: float, *, known: bool) -> float:
    """Give the book's share in the mean of the two witnesses, by their variances; all if no tree speaks."""
    if book is None:
        return 0.0
    if not known:
        return 1.0
    return trees_se_mm**2 / max(trees_se_mm**2 + book.se_mm**2, 1e-9)


def _between_witnesses(
    short: tuple[float, float], weight: float, interval: tuple[float, float], *, known: bool
) -> float:
    """Give what is short by both witnesses, no further from the trees than their interval allows [mm].

    Trees that are not under their target are not given a shortage by the book alone.
    """
    by_trees, by_book = short
    if weight <= 0.0 or not np.isfinite(by_book):
        return by_trees
    both = (1.0 - weight) * by_trees + weight * by_book
    if not known:
        return both
    low, high = min(interval[0], by_trees), max(interval[1], by_trees)
    return min(high, max(low, both))


def _not_relieved(row: Any, book: Book | None, storage: root_zone.RootZone, doubt: float) -> bool:
    """Tell whether water ran since the visit before that should have relieved the trees, and did not.

    It should have even if a bar took ``doubt`` times the water that is taken.
    """
    if book is None or book.ran_mm <= 0.0:
        return False
    seen, se = (number_or(getattr(row, name, None), np.nan) for name in ("change_bar", "change_se_bar"))
    per_bar = doubt * storage.mm_per_bar
    expected = (book.used_mm - book.ran_mm) / per_bar
    book_se = float(np.hypot(USE_ERROR * book.used_mm, RAN_ERROR * book.ran_mm)) / per_bar
    return not_relieved((expected, book_se), (seen, se))


def _stress_below_target(
    row: Any, profile: CropProfile, facts: RequirementFacts, assumed: list[str]
) -> tuple[float, float]:
    """Give stress below the target and its standard error."""
    if not np.isfinite(row.stress_bar):
        assumed.append("stress")
        return 0.0, 0.0
    if np.isfinite(row.target_bar):
        return row.target_bar - row.swp_bar, row.stress_se_bar
    assumed.append("target")
    edges = edges_for(profile, facts.rank_by, facts.edges_bar, facts.orchard.settings_file)
    return row.stress_bar - edges[0], row.stress_se_bar


def _missing_mm(row: Any, storage: root_zone.RootZone, short_mm: float, later_mm: float) -> float:
    """Give what the root zone lacks [mm]: what is short, what the target allows, and what came since."""
    missing = short_mm + storage.mm_per_bar * _allowed_bar(row) + later_mm
    return min(storage.capacity_mm, max(0.0, missing)) if np.isfinite(missing) else float("nan")


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
    texture: str, profile: CropProfile, demand: tuple[float, float], water: Water, assumed: list[str]
) -> root_zone.RootZone:
    """Give the storage of soil and crop by use a day and wetted share, or what was measured in its place."""
    measured = profile.mm_per_bar or water.mm_per_bar
    if measured is not None:
        return root_zone.RootZone(measured, float("inf"))
    assumed.append("mm_per_bar")
    daily_mm, wetted = demand
    return root_zone.root_zone(
        texture, profile, daily_mm, wetted_share=wetted, root_depth_m=water.root_depth_m
    )
