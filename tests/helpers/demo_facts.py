"""A ranch's raw files and the tables of a run, as the checker of manners takes them."""

from __future__ import annotations

import datetime as dt
import json
import math
import tomllib
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from helpers.manners_facts import Ranch, Valve
from helpers.water_checker import Limits

M3_H = {"m3/h": 1.0, "gpm": 0.003785411784 * 60.0, "L/s": 3.6}
M3 = {"m3": 1.0, "ML": 1000.0, "acre-ft": 1233.48183754752}
"""Guide for the Use of the International System of Units, NIST SP 811, appendix B (from memory)."""


def tables_of(out: Path) -> tuple[list[dict], list[dict]]:
    """Plan and timetable as they were written."""
    plan = pd.read_csv(out / "water_plan.csv", keep_default_na=False, na_values={"etc_until_mm": ""})
    sets = pd.read_csv(out / "timetable.csv", keep_default_na=False)
    for name in ("start", "end"):
        sets[name] = [pd.Timestamp(text) for text in sets[name]]
    return plan.to_dict("records"), sets.to_dict("records")


def ranch_of(settings_file: Path, out: Path, *, south: bool = False) -> Ranch:
    """Facts of a ranch from its settings, outlines and what a run says of readings and ranks."""
    settings = tomllib.loads(settings_file.read_text(encoding="utf-8"))
    water = _in_plain_numbers(settings["water"])
    first = water["from"]
    used = pd.read_csv(out / "readings.csv").query("used")
    visit = _visit_of(out)
    blocks, valves = (
        gpd.read_file(settings_file.parent / settings["files"][name]) for name in ("blocks", "valves")
    )
    ranked = pd.read_csv(out / "valves.csv").set_index("valve")
    ranked["area_ha"] = valves.set_index("valve").to_crs(blocks.estimate_utm_crs()).area / 1e4
    trees = {by: used.groupby(by)["tree_id"].nunique() for by in ("valve", "block")}
    last = {by: used.groupby(by)["time"].max() for by in ("valve", "block")}
    places = blocks.set_index("block")
    made, read_on = [], {}
    for row in valves.itertuples():
        place, rank = places.loc[row.block], ranked.loc[row.valve]
        flow = _number(row.flow_m3_h, math.nan)
        rate = _number(row.rate_mm_h, math.nan) if math.isnan(flow) else flow / rank.area_ha / 10.0
        made.append(
            Valve(
                name=row.valve, block=row.block, crop=place.crop, system=place.irrigation, rate_mm_h=rate,
                area_ha=rank.area_ha, planted=_number(place.planted, None), harvest=place.get("harvest"),
                min_hours=_number(row.min_hours, 0.0), max_hours=_number(row.max_hours, math.inf),
                pump=row.pump, trees=int(trees["valve"].get(row.valve, 0)),
                block_trees=int(trees["block"].get(row.block, 0)), stress_bar=rank.stress_bar,
                stress_se_bar=rank.stress_se_bar,
            )
        )  # fmt: skip
        moment = last["valve"].get(row.valve, last["block"].get(row.block))
        read_on[row.valve] = visit[1] if moment is None else dt.datetime.fromisoformat(moment).date()
    return Ranch(
        zone=settings["ranch"]["timezone"], first=first, next_turn=first + dt.timedelta(days=water["days"]),
        visit=visit, valves=tuple(made), water=water, south=south, read_on=read_on,
    )  # fmt: skip


def limits_of(ranch: Ranch) -> Limits:
    """The same for the checker of hours and pumps."""
    water = ranch.water
    return Limits(
        zone=ranch.zone, first=ranch.first, days=water["days"], volume_m3=water.get("available", math.inf),
        hours=water.get("hours", ("00:00", "24:00")), crew=water.get("crew_hours"), pumps=water["pumps"],
        min_hours={one.name: one.min_hours for one in ranch.valves},
        max_hours={one.name: one.max_hours for one in ranch.valves},
        flow={one.name: one.flow_m3_h for one in ranch.valves},
        pump_of={one.name: one.pump for one in ranch.valves},
    )  # fmt: skip


def _visit_of(out: Path) -> tuple[dt.date, dt.date]:
    first, last = json.loads((out / "run.json").read_text(encoding="utf-8"))["visit"]
    return dt.date.fromisoformat(first), dt.date.fromisoformat(last)


def _in_plain_numbers(water: dict[str, Any]) -> dict[str, Any]:
    made = dict(water)
    made |= {name: _amount(made[name], M3) for name in ("available", "reserve") if name in made}
    made["pumps"] = {name: _amount(flow, M3_H) for name, flow in made["pumps"].items()}
    return made


def _amount(text: str, units: dict[str, float]) -> float:
    number, unit = text.split(" ", 1)
    return float(number) * units[unit]


def _number(value: Any, other: Any) -> Any:
    return other if value is None or value == "" or pd.isna(value) else float(value)
