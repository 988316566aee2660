"""An independent look at a water plan: raw limits and the two tables in, violations out.

Shares no code with the planner: times are walked through minute by minute on the local clock.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import pairwise
from zoneinfo import ZoneInfo

import pandas as pd

MINUTE = dt.timedelta(minutes=1)


@dataclass
class Limits:
    zone: str
    first: dt.date
    days: int
    volume_m3: float = float("inf")
    hours: tuple[str, str] = ("00:00", "24:00")
    crew: tuple[str, str] | None = None
    pumps: dict[str, float] = field(default_factory=dict)
    min_hours: dict[str, float] = field(default_factory=dict)
    max_hours: dict[str, float] = field(default_factory=dict)
    flow: dict[str, float] = field(default_factory=dict)
    pump_of: dict[str, str] = field(default_factory=dict)
    out_of_service: tuple[str, ...] = ()
    turns: int | None = None
    rest_hours: float = 0.0


def clock(text: str) -> int:
    h, m = text.split(":")
    return int(h) * 60 + int(m)


def may_run(minute: int, hours: tuple[str, str]) -> bool:
    a, b = clock(hours[0]), clock(hours[1])
    return a <= minute < b if a < b else (minute >= a or minute < b)


def may_turn(minute: int, crew: tuple[str, str]) -> bool:
    a, b = clock(crew[0]), clock(crew[1])
    if a < b:
        return a <= minute <= b or (b == 1440 and minute == 0)
    return minute >= a or minute <= b


def minute_of_day(moment: dt.datetime, zone: ZoneInfo) -> int:
    local = moment.astimezone(zone)
    assert local.second == 0
    return local.hour * 60 + local.minute


def violations(limits: Limits, plan: list[dict], sets: list[dict]) -> list[str]:
    found: list[str] = []
    found += _times(limits, sets)
    found += _pump_loads(limits, sets)
    found += _valves(limits, plan, sets)
    total = sum(
        (s["end"] - s["start"]).total_seconds() / 3600 * limits.flow[s["valve"]] * open_share(s) for s in sets
    )
    if total > limits.volume_m3 * (1 + 1e-9) + 1e-9:
        found.append(f"water {total} over {limits.volume_m3}")
    told = sum(row["m3"] for row in plan)
    if abs(total - told) > 1e-6 * max(1.0, total):
        found.append(f"plan says {told} m3, timetable {total}")
    return found


def open_share(one: dict) -> float:
    """The share of its time that a valve is open: less than 1 where a timer pulses it."""
    opened, closed = (float(one.get(name) or "nan") for name in ("pulse_on_min", "pulse_off_min"))
    return 1.0 if opened != opened else opened / (opened + closed)  # noqa: PLR0124 - NaN


def _times(limits: Limits, sets: list[dict]) -> list[str]:
    zone, found = ZoneInfo(limits.zone), []
    over = clock(limits.hours[1]) <= clock(limits.hours[0])
    begin = dt.datetime.combine(limits.first, dt.time(0), zone)
    last = limits.first + dt.timedelta(days=limits.days)
    end = dt.datetime.combine(last, dt.time(0), zone)
    if over:
        end += dt.timedelta(minutes=clock(limits.hours[1]))
    for s in sets:
        opens, closes = s["start"].to_pydatetime(), s["end"].to_pydatetime()
        if opens.astimezone(dt.UTC) < begin.astimezone(dt.UTC):
            found.append(f"{s['valve']} opens before the plan begins: {opens}")
        if closes.astimezone(dt.UTC) > end.astimezone(dt.UTC):
            found.append(f"{s['valve']} closes after the plan ends: {closes}")
        found += _clocks(limits, s["valve"], opens.astimezone(dt.UTC), closes.astimezone(dt.UTC))
    return found


def _clocks(limits: Limits, valve: str, opens: dt.datetime, closes: dt.datetime) -> list[str]:
    zone, found, moment = ZoneInfo(limits.zone), [], opens
    while moment < closes:
        if not may_run(minute_of_day(moment, zone), limits.hours):
            found.append(f"{valve} runs at {moment.astimezone(zone)}")
            break
        moment += MINUTE
    for turn in (opens, closes):
        if limits.crew and not may_turn(minute_of_day(turn, zone), limits.crew):
            found.append(f"{valve} is turned at {turn} without a crew")
    return found


def _pump_loads(limits: Limits, sets: list[dict]) -> list[str]:
    found = []
    changes: dict[str, list[tuple[dt.datetime, int, float]]] = defaultdict(list)
    for s in sets:
        pump = limits.pump_of[s["valve"]]
        flow = limits.flow[s["valve"]]
        changes[pump].append((s["start"].to_pydatetime().astimezone(dt.UTC), 1, flow))
        changes[pump].append((s["end"].to_pydatetime().astimezone(dt.UTC), 0, -flow))
    for pump, events in changes.items():
        load = 0.0
        for moment, _, flow in sorted(events):
            load += flow
            if load > limits.pumps.get(pump, float("inf")) * (1 + 1e-6):
                found.append(f"pump {pump} gives {load} at {moment}")
    return found


def _valves(limits: Limits, plan: list[dict], sets: list[dict]) -> list[str]:
    found = []
    by_valve: dict[str, list[dict]] = defaultdict(list)
    for s in sets:
        by_valve[s["valve"]].append(s)
    for row in plan:
        name, mine = row["valve"], by_valve.pop(row["valve"], [])
        lengths = [(s["end"] - s["start"]).total_seconds() / 3600 for s in mine]
        least, most = limits.min_hours.get(name, 0.0), limits.max_hours.get(name, float("inf"))
        if abs(sum(lengths) - row["hours"]) > 1e-9:
            found.append(f"{name}: plan {row['hours']} h, timetable {sum(lengths)} h")
        if len(lengths) != row["sets"]:
            found.append(f"{name}: plan {row['sets']} sets, timetable {len(lengths)}")
        if any(h < least - 1e-9 or h > most + 1e-9 for h in lengths):
            found.append(f"{name}: sets of {lengths} h, allowed {least} to {most}")
        turns = limits.days if limits.turns is None else limits.turns
        if sum(lengths) > most * turns + 1e-9:
            found.append(f"{name}: {sum(lengths)} h in all, at most {most} x {turns}")
        if name in limits.out_of_service and mine:
            found.append(f"{name} runs though out of service")
        found += _rests(limits, name, mine)
    return found + [f"unknown valve {name}" for name in by_valve]


def needless_splits(limits: Limits, sets: list[dict], *, step_minutes: int) -> list[str]:
    """Valves in several sets although one set would find a place beside all the others."""
    found = []
    for name in sorted({s["valve"] for s in sets}):
        mine = [s for s in sets if s["valve"] == name]
        length = sum(((s["end"] - s["start"]).to_pytimedelta() for s in mine), dt.timedelta())
        if len(mine) > 1 and length.total_seconds() / 3600 <= limits.max_hours.get(name, 1e6) + 1e-9:
            others = [s for s in sets if s["valve"] != name]
            found += [name] if _has_place(limits, name, length, others, step_minutes) else []
    return found


def _has_place(limits: Limits, name: str, length: dt.timedelta, others: list[dict], step: int) -> bool:
    zone = ZoneInfo(limits.zone)
    start = dt.datetime.combine(limits.first, dt.time(0), zone).astimezone(dt.UTC)
    for k in range((limits.days + 1) * 1440 // step):
        opens = start + dt.timedelta(minutes=k * step)
        closes = opens + length
        one = {
            "valve": name,
            "start": pd.Timestamp(opens).tz_convert(zone),
            "end": pd.Timestamp(closes).tz_convert(zone),
        }
        if not _times(limits, [one]) and not _pump_loads(limits, [*others, one]):
            return True
    return False


def _rests(limits: Limits, name: str, sets: list[dict]) -> list[str]:
    spans = sorted((s["start"], s["end"]) for s in sets)
    least = dt.timedelta(hours=max(limits.rest_hours, 1 / 60))
    return [
        f"{name} opens again at {opened}, closed at {closed}"
        for (_, closed), (opened, _) in pairwise(spans)
        if opened - closed < least
    ]
