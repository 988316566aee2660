"""The log of what ran: each system in its rhythm, and what the faulty valves did instead."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import pandas as pd

from drawing.ground import stream
from drawing.plans import Block, Ranch


@dataclass(frozen=True)
class System:
    """Rhythm of an irrigation system in high summer, and what a valve may be asked for."""

    every_days: int
    hours: int
    together: int
    starts: int
    rate_mm_h: float
    min_hours: float
    max_hours: float


SYSTEMS = {
    "drip": System(3, 14, 2, 19, 1.2, 4.0, 24.0),
    "micro_sprinkler": System(7, 22, 1, 18, 1.9, 6.0, 36.0),
    "flood": System(14, 7, 1, 6, 12.0, 4.0, 12.0),
    "drip run like flood": System(9, 44, 2, 7, 1.2, 4.0, 48.0),
    "sprinklers, long gaps": System(11, 34, 1, 18, 1.9, 6.0, 36.0),
}


def system_of(block: Block) -> System:
    """Tell in which rhythm a block is irrigated."""
    return SYSTEMS[block.rhythm or block.irrigation]


def log(ranch: Ranch, zones: pd.DataFrame) -> pd.DataFrame:
    """Run every block from the season's start to the last visit."""
    rng = stream(ranch, 9)
    rows: list[dict[str, Any]] = []
    for block in ranch.blocks:
        system = system_of(block)
        valves = list(zones.loc[zones["block"] == block.name, "valve"])
        day = ranch.climate.start + dt.timedelta(days=int(rng.integers(0, system.every_days)))
        quarter = 15 * int(rng.integers(0, 4))
        while day < ranch.visits[-1].days[0]:
            for k, valve in enumerate(valves):
                starts = dt.datetime.combine(day, dt.time(system.starts, quarter))
                starts += dt.timedelta(days=k // system.together)
                rows.append({"valve": valve, "start": starts, "hours": _hours(ranch, system, valve, starts)})
            day += dt.timedelta(days=max(system.every_days, -(-len(valves) // system.together)))
    last = dt.datetime.combine(ranch.visits[-1].days[0], dt.time(6))
    table = pd.DataFrame(rows)
    table["end"] = table["start"] + pd.to_timedelta(table["hours"], unit="h")
    ran = (table["hours"] > 0) & (table["end"] <= last)
    return table[ran].sort_values(["start", "valve"], kind="stable").reset_index(drop=True)


def _hours(ranch: Ranch, system: System, valve: str, starts: dt.datetime) -> float:
    """Hours of one set: fewer in spring; none or half where that is what ails the valve."""
    weeks = (ranch.climate.warmest - starts.date()).days / 7.0
    hours = round(system.hours * max(0.45, 1.0 - 0.04 * max(0.0, weeks)) * 2) / 2
    for fault in ranch.faults:
        if fault.valve == valve and fault.since <= starts.date():
            return {"sets missed": 0.0, "short sets": round(hours) / 2}.get(fault.cause, hours)
    return hours


def valve_data(ranch: Ranch, zones: pd.DataFrame) -> pd.DataFrame:
    """List each valve's rate or flow, its shortest and longest set, and its pump or ditch."""
    blocks = {block.name: block for block in ranch.blocks}
    word = ranch.dialect.pump
    pumps = {"flood": "Ditch", "drip": f"{word} 1", "micro_sprinkler": f"{word} 2"}
    rows = []
    for valve, block, shape in zip(zones["valve"], zones["block"], zones["shape"], strict=True):
        system = system_of(blocks[block])
        flood = blocks[block].irrigation == "flood"
        rows.append(
            {
                "valve": valve,
                "block": block,
                "rate_mm_h": None if flood else system.rate_mm_h,
                "flow_m3_h": round(system.rate_mm_h * shape.area / 1000.0, 1) if flood else None,
                "min_hours": system.min_hours,
                "max_hours": system.max_hours,
                "pump": pumps[blocks[block].irrigation],
            }
        )
    return pd.DataFrame(rows)
