"""How each valve's ground dries between sets: a bucket, filled by what arrives of the log."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd

from drawing.ground import Floats
from drawing.irrigation import system_of
from drawing.plans import CAPACITY_MM, DRYING_BAR_PER_MM, Block, Ranch, Visit

BALANCE = 0.95
"""Share of the sets that the trees of a block use over the season: the rest drains."""

CONVEX_MM = 300.0
"""Stress grows faster the emptier the ground: by depletion (1 + depletion / this)."""


def daily_et_mm(weather: pd.DataFrame) -> pd.Series:
    """Reference evapotranspiration of each day from warmth and sun, 0.0135 (T + 17.8) Rs [mm].

    FAO Irrigation and Drainage Paper 56 converts 1 MJ/m2 to 0.408 mm (table 3); the formula is the radiation
    form of its equation 52 (from memory).
    """
    by_day = weather.groupby(weather["time"].dt.normalize())
    sun_mm = 0.408 * 3600e-6 * by_day["solar_w_m2"].sum()
    return 0.0135 * (by_day["temp_c"].mean() + 17.8) * sun_mm


def depletion_mm(ranch: Ranch, zones: pd.DataFrame, log: pd.DataFrame, weather: pd.DataFrame) -> pd.DataFrame:
    """What is missing from the ground at each valve at 14:00, as the trees feel it: a row a day [mm]."""
    et = daily_et_mm(weather)
    blocks = {block.name: block for block in ranch.blocks}
    arrives = {fault.valve: (fault.since, fault.arrives) for fault in ranch.faults}
    given = _given_mm(log, zones, blocks, pd.DatetimeIndex(et.index))
    felt = {}
    for name, own in zones.groupby("block", sort=False):
        block, valves = blocks[str(name)], list(own["valve"])
        sound = [valve for valve in valves if valve not in arrives] or valves
        share = BALANCE * given[sound].to_numpy().sum() / len(sound) / et[given.index <= _last(ranch)].sum()
        for valve in valves:
            since, part = arrives.get(valve, (ranch.climate.end, 1.0))
            mm = given[valve].where(given.index < pd.Timestamp(since), part * given[valve])
            felt[valve] = _felt(_bucket(mm.to_numpy(), share * et.to_numpy(), block))
    return pd.DataFrame(felt, index=et.index)


def _last(ranch: Ranch) -> pd.Timestamp:
    return pd.Timestamp(ranch.visits[-1].days[0])


def _given_mm(
    log: pd.DataFrame, zones: pd.DataFrame, blocks: dict[str, Block], days: pd.DatetimeIndex
) -> pd.DataFrame:
    """Depth that each valve put on between 14:00 of the day before and of the day [mm]."""
    rate = {
        valve: system_of(blocks[block]).rate_mm_h
        for valve, block in zip(zones["valve"], zones["block"], strict=True)
    }
    mm = log["hours"] * log["valve"].map(rate)
    day = (log["end"] + pd.Timedelta(hours=10)).dt.normalize()
    sets = pd.DataFrame({"day": day, "valve": log["valve"], "mm": mm})
    table = sets.pivot_table(index="day", columns="valve", values="mm", aggfunc="sum", fill_value=0.0)
    return table.reindex(index=days, columns=list(zones["valve"]), fill_value=0.0)


def _bucket(given: Floats, used: Floats, block: Block) -> Floats:
    """Count what is missing, day by day: never less than nothing, never more than the ground holds."""
    missing, most = np.zeros(len(given)), CAPACITY_MM.get(block.soil, CAPACITY_MM["loam"])
    before = 0.25 * most
    for i, (mm, use) in enumerate(zip(given, used, strict=True)):
        thirst = 1.0 + (block.thirst - 1.0) * (i >= block.thirst_after_days)
        before = missing[i] = min(max(before + thirst * use - mm, 0.0), most)
    return missing


def _felt(missing: Floats) -> Floats:
    """Trees recover over days: half of the way back a day."""
    felt = missing.copy()
    for i in range(1, len(felt)):
        if missing[i] < felt[i - 1]:
            felt[i] = 0.5 * (felt[i - 1] + missing[i])
    return felt


def drying_bar(ranch: Ranch, zones: pd.DataFrame, felt: pd.DataFrame, visit: Visit) -> dict[str, float]:
    """What dry ground adds at a visit beyond the block's usual [bar]; nothing where drying is not drawn."""
    if not ranch.drying:
        return dict.fromkeys(zones["valve"], 0.0)
    days = felt.loc[[pd.Timestamp(day) for day in visit.days]].mean()
    season = felt[(felt.index >= _start(ranch)) & (felt.index <= _last(ranch))].mean()
    faulty = {fault.valve for fault in ranch.faults}
    soils = {block.name: block.soil for block in ranch.blocks}
    added = {}
    for name, own in zones.groupby("block", sort=False):
        valves = list(own["valve"])
        sound = [valve for valve in valves if valve not in faulty] or valves
        usual = float(season[sound].mean())
        per_mm = DRYING_BAR_PER_MM[soils[str(name)]]
        for valve in valves:
            here = float(days[valve])
            added[valve] = per_mm * (_convex(here) - _convex(usual))
    return added


def _start(ranch: Ranch) -> pd.Timestamp:
    return pd.Timestamp(ranch.visits[0].days[0] - dt.timedelta(days=7))


def _convex(missing_mm: float) -> float:
    return missing_mm * (1.0 + missing_mm / CONVEX_MM)
