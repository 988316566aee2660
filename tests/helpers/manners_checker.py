"""An independent look at the manners of a water plan: raw facts and the two tables in, violations out.

Depth, length, rest and number of sets by system, soil and crop; the days before harvest; valves to be looked
at first; sources, pumps, gates and crews. Shares no code with the planner; hours and what pumps can give are
looked at by :mod:`helpers.water_checker`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from zoneinfo import ZoneInfo

import pandas as pd

from helpers.manners_facts import (
    CATCH_UP,
    CATCH_UP_READ,
    DAYS_APART,
    SETS_A_WEEK,
    TREES_IN_BLOCK,
    TREES_READ,
    WALNUT_SPAN,
    YOUNG_YEARS,
    Ranch,
    Valve,
)
from helpers.water_checker import may_run, may_turn

NEAR = 1e-6
HOUR = dt.timedelta(hours=1)
DAY_CLOCKS = ("00:00", "24:00")


@dataclass(frozen=True)
class Span:
    """One opening and closing, in UTC."""

    start: dt.datetime
    end: dt.datetime

    @property
    def hours(self) -> float:
        return (self.end - self.start) / HOUR


@dataclass(frozen=True)
class At:
    """A valve with its row of the plan and its sets, the earliest first."""

    ranch: Ranch
    valve: Valve
    row: dict
    mine: list[Span]


def bad_manners(ranch: Ranch, plan: list[dict], sets: list[dict]) -> list[str]:
    """Every promise of the manners that a plan breaks, in words."""
    spans: dict[str, list[Span]] = defaultdict(list)
    for one in sets:
        start, end = (one[name].to_pydatetime().astimezone(dt.UTC) for name in ("start", "end"))
        spans[one["valve"]].append(Span(start, end))
    found: list[str] = []
    ranch = _pulsed(ranch, sets, found)
    found += _heads(ranch, plan)
    for row in plan:
        valve, mine = ranch.by_name[row["valve"]], sorted(spans[row["valve"]], key=lambda span: span.start)
        at = At(ranch, valve, row, mine)
        for rule in BY_VALVE:
            found += [f"{valve.name} ({valve.system}, {valve.crop}): {what}" for what in rule(at)]
    for look in OVER_ALL:
        found += look(ranch, spans)
    return found


def _pulsed(ranch: Ranch, sets: list[dict], found: list[str]) -> Ranch:
    """The ranch with the mean rate of valves that are opened and closed by a timer; odd pulses are told."""
    shares: dict[str, float] = {}
    for one in sets:
        opened, closed = (float(one.get(name) or math.nan) for name in ("pulse_on_min", "pulse_off_min"))
        if math.isnan(opened):
            continue
        shares[one["valve"]] = opened / (opened + closed)
        if not 5 <= opened <= ranch.water.get("pulse_minutes", 30.0) or not ranch.runs_off(
            ranch.by_name[one["valve"]]
        ):
            found.append(f"{one['valve']} is pulsed, {opened:g} min open, {closed:g} min closed")
    valves = [replace(v, rate_mm_h=v.rate_mm_h * shares.get(v.name, 1.0)) for v in ranch.valves]
    return replace(ranch, valves=tuple(valves))


def _heads(ranch: Ranch, plan: list[dict]) -> list[str]:
    """A head of water goes through all checks of a block that may run and need water, or does not come."""
    status: dict[tuple[str, str], set[bool]] = defaultdict(set)
    for row in plan:
        valve = ranch.by_name[row["valve"]]
        if valve.system == "flood" and row.get("status") in {"watered", "watered in part", "dry"}:
            status[valve.block, valve.pump].add(row["status"] != "dry")
    return [
        f"some checks of {block} at {pump} run and some do not"
        for (block, pump), runs in status.items()
        if len(runs) > 1
    ]


def _barred(at: At) -> Iterator[str]:
    ranch, valve, mine = at.ranch, at.valve, at.mine
    thin = valve.block_trees < TREES_IN_BLOCK and not ranch.water.get("amounts_anyway", False)
    reasons = {"its soil does not take the rate": ranch.runs_off(valve), "too few trees were read": thin}
    yield from (f"runs though {why}" for why, holds in reasons.items() if holds and mine)


def _length(at: At) -> Iterator[str]:
    ranch, valve, mine = at.ranch, at.valve, at.mine
    most = ranch.most_set_hours(valve)
    for one in mine:
        if one.hours > most + NEAR:
            yield f"a set of {one.hours:g} h, {one.hours * valve.rate_mm_h:.1f} mm; at most {most:g} h"
        if valve.system == "flood" and (
            abs(one.hours - round(one.hours)) > NEAR or not _on_the_hour(ranch, one)
        ):
            yield f"a check from {one.start} to {one.end}: no full hours"
        if one.hours > _short_hours(at) + NEAR:
            yield f"a set of {one.hours:g} h for young trees; at most {_short_hours(at):.2f} h"
    lengths = [one.hours for one in mine]
    if mine and max(lengths) - min(lengths) > _length_step(ranch, valve) + NEAR:
        yield f"unequal sets of {lengths} h"


def _short_hours(at: At) -> float:
    """Longest set of trees under four years: a third of the week's use, more where rests are long."""
    ranch, valve = at.ranch, at.valve
    if valve.planted is None or ranch.first.year - valve.planted >= YOUNG_YEARS:
        return math.inf
    apart = ranch.by_system("days_apart", DAYS_APART, valve.system, 0.0)
    rest = max(ranch.rest_hours(valve), WALNUT_SPAN - ranch.wet_hours(valve))
    a_week = ranch.by_system("sets_a_week", SETS_A_WEEK, valve.system, math.inf)
    sets = max(1, min(3, a_week, 168 // max(rest + 24, 24 * apart)))
    week = _use_mm(ranch, valve, at.row) * 7 / ranch.factor(valve) / valve.rate_mm_h
    return max(week / sets, ranch.least_set_hours(valve) / 2, _length_step(ranch, valve))


def _on_the_hour(ranch: Ranch, one: Span) -> bool:
    return one.start.astimezone(ZoneInfo(ranch.zone)).minute == 0


def _use_mm(ranch: Ranch, valve: Valve, row: dict) -> float:
    """What the crop uses a day, from what the plan says of the days from its reading to the next turn."""
    read = ranch.read_on.get(valve.name, ranch.visit[1])
    return float(row["etc_until_mm"]) / max(1, (ranch.next_turn - read).days - 1)


def _most_hours(ranch: Ranch, valve: Valve, row: dict) -> float:
    """Hours over the plan by the crop's use of its days; a check takes its least depth to be covered."""
    times = CATCH_UP_READ if valve.trees >= TREES_READ else CATCH_UP
    times = 1.0 if ranch.is_held(valve) or row["inspect"] else times
    net = times * _use_mm(ranch, valve, row) * (ranch.next_turn - ranch.first).days
    hours = net / ranch.factor(valve) / valve.rate_mm_h
    if valve.system != "flood":
        return hours
    whole = _length_step(ranch, valve)
    return max(hours, math.ceil(ranch.least_set_hours(valve) / whole - NEAR) * whole)


def _week_hours(ranch: Ranch, valve: Valve, row: dict) -> float:
    """Hours in any seven days: their share of what the plan may bring, or one set of the least depth."""
    days, step = (ranch.next_turn - ranch.first).days, _length_step(ranch, valve)
    share = _most_hours(ranch, valve, row) * min(1.0, 7 / days)
    least = max(min(ranch.least_set_hours(valve), ranch.most_set_hours(valve)), valve.min_hours)
    return max(share, math.ceil(least / step - NEAR) * step)


def _length_step(ranch: Ranch, valve: Valve) -> float:
    """Hours that lengths of sets are multiples of: the step of the settings, for a check full hours."""
    step = float(ranch.water.get("step_hours", 0.5))
    return max(1.0, step) if valve.system == "flood" else step


def _dose(at: At) -> Iterator[str]:
    ranch, valve, row, mine = at.ranch, at.valve, at.row, at.mine
    most = _most_hours(ranch, valve, row)
    if sum(one.hours for one in mine) > most + NEAR:
        why = "held until it is looked at" if row["inspect"] else "by what the crop uses"
        yield f"{sum(one.hours for one in mine):g} h in all, at most {most:.2f} {why}"
    rolling, week = _week_hours(ranch, valve, row), dt.timedelta(days=7)
    for one in mine:
        wet = sum(_within(other, one.start, one.start + week) for other in mine)
        if wet > rolling + NEAR:
            yield f"{wet:g} h in the seven days from {one.start}, at most {rolling:.2f}"
    if ranch.is_held(valve) and "drier_than_block" not in str(row["inspect"]):
        yield "is not on the list to look at"
    if row["inspect"] and ranch.was_looked_at(valve):
        yield f"is to be looked at ({row['inspect']}) though it was on {valve.checked}"


def _least(at: At) -> Iterator[str]:
    """No token sets: as deep as is useful, or as much as rules, dose and hours let a set be."""
    ranch, valve, row, mine = at.ranch, at.valve, at.row, at.mine
    useful = min(ranch.least_set_hours(valve), ranch.most_set_hours(valve), _most_hours(ranch, valve, row))
    useful = min(useful, _short_hours(at))
    if mine and min(one.hours for one in mine) < useful:
        useful = min(useful, _longest_stretch(ranch, valve))
    for one in mine:
        if one.hours < useful - _length_step(ranch, valve) + NEAR or one.hours < valve.min_hours - NEAR:
            yield f"a token set of {one.hours:g} h; useful from {useful:g}, runs at least {valve.min_hours:g}"


def _longest_stretch(ranch: Ranch, valve: Valve) -> float:
    """Hours from first opening to last closing in the longest stretch that the clock allows a valve."""
    hours, crew = ranch.water.get("hours", DAY_CLOCKS), ranch.water.get("crew_hours") or DAY_CLOCKS
    zone, quarter = ZoneInfo(ranch.zone), dt.timedelta(minutes=15)
    moment = dt.datetime.combine(ranch.first, dt.time(0), zone).astimezone(dt.UTC)
    longest, opened = dt.timedelta(0), None
    for _ in range((int(ranch.water.get("days", 7)) + 1) * 96 + 1):
        local = moment.astimezone(zone)
        minute = local.hour * 60 + local.minute
        turns = may_turn(minute, crew) and (valve.system != "flood" or local.minute == 0)
        if opened is not None and turns:
            longest = max(longest, moment - opened)
        if not may_run(minute, hours) or not _has_water(ranch, valve, local.date()):
            opened = None
        elif opened is None and turns:
            opened = moment
        moment += quarter
    return longest / HOUR


def _has_water(ranch: Ranch, valve: Valve, day: dt.date) -> bool:
    return ranch.has_water(valve, day) and not ranch.is_before_harvest(valve, day)


def _of_log(ranch: Ranch, valve: Valve) -> list[Span]:
    """Sets of a valve by the log; rows less than an hour apart are one."""
    joined: list[Span] = []
    for start, end in sorted(ranch.logged.get(valve.name, ())):
        if joined and start - joined[-1].end < HOUR:
            joined[-1] = Span(joined[-1].start, max(joined[-1].end, end))
        else:
            joined.append(Span(start, end))
    return joined


def _rest(at: At) -> Iterator[str]:
    """Rest and days apart, after the sets of the log too; of two sets of the log nothing is told."""
    ranch, valve, logged = at.ranch, at.valve, _of_log(at.ranch, at.valve)
    rest = ranch.rest_hours(valve) * HOUR
    apart = 24.0 * ranch.by_system("days_apart", DAYS_APART, valve.system, 0.0) * HOUR
    for before, after in pairwise(_by_start([*at.mine, *logged])):
        if before in logged and after in logged:
            continue
        if after.start - before.end < rest:
            yield f"opens at {after.start}, closed at {before.end}, to rest {rest}"
        if after.start - before.start < apart:
            yield f"opens at {before.start} and {after.start}, less than {apart} apart"


def _week_and_roots(at: At) -> Iterator[str]:
    """Sets within seven days, and hours of water within 72, with those of the log."""
    ranch, valve = at.ranch, at.valve
    every = _by_start([*at.mine, *_of_log(ranch, valve)])
    a_week = int(min(ranch.by_system("sets_a_week", SETS_A_WEEK, valve.system, math.inf), 10**6))
    for k, (first, past) in enumerate(zip(every, every[a_week:], strict=False)):
        ours = any(one in at.mine for one in every[k : k + a_week + 1])
        if ours and past.start - first.start < 168 * HOUR:
            yield f"over {a_week:g} sets in seven days from {first.start}"
    for one in at.mine:
        wet = sum(_within(other, one.end - WALNUT_SPAN * HOUR, one.end) for other in every)
        if wet > ranch.wet_hours(valve) + NEAR:
            yield f"{wet:g} h of water in the {WALNUT_SPAN:g} h to {one.end}"


def _by_start(spans: list[Span]) -> list[Span]:
    return sorted(spans, key=lambda span: span.start)


def _within(one: Span, start: dt.datetime, end: dt.datetime) -> float:
    return max(0.0, (min(one.end, end) - max(one.start, start)) / HOUR)


def _days(at: At) -> Iterator[str]:
    ranch, valve, mine = at.ranch, at.valve, at.mine
    for one in mine:
        for day in _local_days(ranch, one):
            if not ranch.has_water(valve, day):
                yield f"runs on {day}, when its source gives no water"
            if ranch.is_before_harvest(valve, day):
                yield f"runs on {day}, cut off before harvest"


def _local_days(ranch: Ranch, one: Span) -> list[dt.date]:
    zone = ZoneInfo(ranch.zone)
    first, last = (
        one.start.astimezone(zone).date(),
        (one.end - dt.timedelta(seconds=1)).astimezone(zone).date(),
    )
    return [first + dt.timedelta(days=k) for k in range((last - first).days + 1)]


def _volumes(ranch: Ranch, spans: dict[str, list[Span]]) -> list[str]:
    used: dict[str | None, float] = defaultdict(float)
    for name, mine in spans.items():
        valve = ranch.by_name[name]
        used[ranch.source_of(valve)] += sum(one.hours for one in mine) * valve.flow_m3_h
    sources = ranch.water.get("sources", {})
    found = [
        f"source {name}: {used[name]:.1f} m3 of {volume}"
        for name, volume in sources.items()
        if used[name] > volume * (1 + NEAR)
    ]
    reserve = ranch.water.get("reserve", 0.0)
    held = sources and (reserve or any(ranch.source_of(valve) not in sources for valve in ranch.valves))
    there = ranch.water.get("available", sum(sources.values()) if held else math.inf)
    total = sum(used.values())
    return found + (
        [f"{total:.1f} m3 of {there} less {reserve}"] if total > (there - reserve) * (1 + NEAR) else []
    )


def _pumps(ranch: Ranch, spans: dict[str, list[Span]]) -> list[str]:
    changes: dict[str, dict[dt.datetime, float]] = defaultdict(lambda: defaultdict(float))
    for name, mine in spans.items():
        valve = ranch.by_name[name]
        for one in mine:
            changes[valve.pump][one.start] += valve.flow_m3_h
            changes[valve.pump][one.end] -= valve.flow_m3_h
    found: list[str] = []
    for pump, events in changes.items():
        found += _habits(ranch, pump, sorted(events.items()))
    return found


def _habits(ranch: Ranch, pump: str, events: list[tuple[dt.datetime, float]]) -> Iterator[str]:
    least = float(ranch.water.get("pump_least", {}).get(pump, 0.0))
    flow, starts = 0.0, defaultdict(int)
    for moment, change in events:
        if flow <= NEAR < flow + change:
            starts[moment.astimezone(ZoneInfo(ranch.zone)).date()] += 1
        flow += change
        if NEAR < flow < least * (1 - NEAR):
            yield f"pump {pump} gives {flow:.1f} m3/h from {moment}, at least {least}"
    most = ranch.water.get("pump_starts")
    yield from (f"pump {pump} starts {n} times on {day}" for day, n in starts.items() if most and n > most)


def _turns(ranch: Ranch, spans: dict[str, list[Span]]) -> list[str]:
    most = ranch.turns_in_half_an_hour()
    dry, pooled = _dry_turns(ranch, spans)
    every = [
        (moment, name) for name, mine in spans.items() for one in mine for moment in (one.start, one.end)
    ]
    moments = sorted(moment for moment, name in every if (moment, ranch.by_name[name].pump) not in dry)
    in_pauses = [
        f"{turned} valves are turned in the pause from {begin}, at most {room}"
        for begin, end, room in pooled
        if (turned := sum(begin <= moment <= end for moment, _ in every)) > room
    ]
    return (
        in_pauses[:1]
        + [
            f"{most + 1} valves are turned from {a} to {b}"
            for a, b in zip(moments, moments[most:], strict=False)
            if b - a < HOUR / 2
        ][:1]
    )


def _dry_turns(
    ranch: Ranch, spans: dict[str, list[Span]]
) -> tuple[set[tuple[dt.datetime, str]], list[tuple[dt.datetime, dt.datetime, int]]]:
    """Moments and pumps at which valves are turned on dry pipes, and the pauses with what the crew can turn.

    A pump that stands still through the hours of dear power has its valves closed as they begin and opened as
    they end by a crew that has all of these hours for it.
    """
    dear = ranch.water.get("dear_hours", ("16:00", "21:00"))
    crew = ranch.water.get("crew_hours") or DAY_CLOCKS
    dry: set[tuple[dt.datetime, str]] = set()
    pooled = []
    for day in range(int(ranch.water.get("days", 7)) + 1) if dear else ():
        date = ranch.first + dt.timedelta(days=day)
        begin, end = (
            dt.datetime.combine(date, dt.time.fromisoformat(clock), ZoneInfo(ranch.zone)).astimezone(dt.UTC)
            for clock in dear
        )
        stands = {valve.pump for valve in ranch.valves} - {
            ranch.by_name[name].pump
            for name, mine in spans.items()
            if any(one.start < end and one.end > begin for one in mine)
        }
        edges = {(moment, pump) for moment in (begin, end) for pump in stands}
        used = {
            (m, ranch.by_name[n].pump)
            for n, mine in spans.items()
            for one in mine
            for m in (one.start, one.end)
        }
        if edges & used:
            dry |= edges
            minutes = [
                begin + k * dt.timedelta(minutes=5) for k in range((end - begin) // dt.timedelta(minutes=5))
            ]
            there = 5 * sum(_is_there(moment, crew, ranch.zone) for moment in minutes)
            pooled.append((begin, end, ranch.turns_in_half_an_hour() * (there // 30)))
    return dry, pooled


def _is_there(moment: dt.datetime, crew: tuple[str, str], zone: str) -> bool:
    local = moment.astimezone(ZoneInfo(zone))
    return may_turn(local.hour * 60 + local.minute, crew)


def _gates(ranch: Ranch, spans: dict[str, list[Span]]) -> list[str]:
    """Checks of one pump are opened from gate to gate in each week of the plan."""
    zone = ZoneInfo(ranch.zone)
    clock = dt.time(0)
    hours = ranch.water.get("hours", DAY_CLOCKS)
    if hours[1] <= hours[0]:
        clock = dt.time.fromisoformat(hours[0])
    begins = dt.datetime.combine(ranch.first, clock, zone).astimezone(dt.UTC)
    rows = []
    for valve in (ranch.by_name[name] for name in spans):
        for one in spans[valve.name] if valve.system == "flood" else []:
            week = (one.start - begins) // (168 * HOUR)
            rows.append(
                ((valve.pump, ranch.source_of(valve) or ""), week, one.start, _gate(valve), valve.name)
            )
    rows.sort()
    return [
        f"{after[4]} is opened at {after[2]}, after {before[4]} further down"
        for before, after in pairwise(rows)
        if before[:2] == after[:2] and before[2] < after[2] and after[3] < before[3]
    ]


def _gate(valve: Valve) -> tuple[float, int]:
    return (math.inf if valve.gate is None else valve.gate), int(
        "".join(c for c in valve.name if c.isdigit()) or 0
    )


Fits = Callable[[list[dict], list[dict]], list[str]]
Rule = Callable[[At], Iterator[str]]
BY_VALVE: tuple[Rule, ...] = (_barred, _length, _dose, _least, _rest, _week_and_roots, _days)
OVER_ALL = (_volumes, _pumps, _turns, _gates)


def needless_dear_sets(ranch: Ranch, plan: list[dict], sets: list[dict], fits: Fits) -> list[str]:
    """Sets in the hours of dear power that would find another place beside all the others as they are.

    ``fits`` looks at hours and pumps of a plan and its sets.
    """
    dear = ranch.water.get("dear_hours", ("16:00", "21:00"))
    found = []
    for k, one in enumerate(sets):
        if not dear or ranch.by_name[one["valve"]].system == "flood" or not _is_dear(ranch, one, dear):
            continue
        for by in (pd.Timedelta(hours=h) for h in range(-24 * ranch.water["days"], 24 * ranch.water["days"])):
            moved = {**one, "start": one["start"] + by, "end": one["end"] + by}
            others = [*sets[:k], *sets[k + 1 :]]
            if not _may_move(ranch, moved, others) or _is_dear(ranch, moved, dear):
                continue
            if not fits(plan, [*others, moved]) and not bad_manners(ranch, plan, [*others, moved]):
                found.append(f"{one['valve']} runs from {one['start']}, could from {moved['start']}")
                break
    return found


def idle_heads(ranch: Ranch, plan: list[dict], sets: list[dict], fits: Fits) -> list[str]:
    """Checks of a block that wait for a head which is free, though they could be opened and closed then.

    Each check after a gap is tried on every full hour of the gap, beside all the others as they are.
    """
    heads: dict[tuple[str, str, int], list[dict]] = defaultdict(list)
    count: dict[str, int] = defaultdict(int)
    for one in sorted(sets, key=lambda one: one["start"]):
        valve = ranch.by_name[one["valve"]]
        if valve.system == "flood":
            heads[valve.block, valve.pump, count[valve.name]].append(one)
            count[valve.name] += 1
    found = []
    for turn in heads.values():
        free = turn[0]["end"]
        for one in turn[1:]:
            hours = (one["start"] - free) // pd.Timedelta(hours=1)
            for by in (pd.Timedelta(hours=h) for h in range(hours, 0, -1)):
                moved = {**one, "start": one["start"] - by, "end": one["end"] - by}
                others = [moved if other is one else other for other in sets]
                if not fits(plan, others) and not bad_manners(ranch, plan, others):
                    found.append(f"{one['valve']} is opened at {one['start']}, could be at {moved['start']}")
                    break
            free = max(free, one["end"])
    return found


def _may_move(ranch: Ranch, one: dict, others: list[dict]) -> bool:
    """Whether a look at the clock and at the pump speaks for a place at all."""
    zone, hours = ZoneInfo(ranch.zone), ranch.water.get("hours", DAY_CLOCKS)
    starts, ends = (one[name].tz_convert(zone) for name in ("start", "end"))
    if starts.date() < ranch.first or not may_run(starts.hour * 60 + starts.minute, hours):
        return False
    last = ends - pd.Timedelta(minutes=1)
    if not may_run(last.hour * 60 + last.minute, hours):
        return False
    own = ranch.by_name[one["valve"]]
    # Walnut rests until no two sets lie within its 72 h, however short they are: that may cost dear hours.
    rest = pd.Timedelta(hours=WALNUT_SPAN - ranch.wet_hours(own) if own.crop == "walnut" else 0.0)
    mine = [other for other in others if other["valve"] == own.name]
    if any(other["start"] - rest < one["end"] and one["start"] - rest < other["end"] for other in mine):
        return False
    beside = [
        ranch.by_name[other["valve"]].flow_m3_h
        for other in others
        if ranch.by_name[other["valve"]].pump == own.pump and other["start"] <= one["start"] < other["end"]
    ]
    return sum(beside) + own.flow_m3_h <= ranch.water["pumps"][own.pump] * (1 + NEAR)


def _is_dear(ranch: Ranch, one: dict, dear: tuple[str, str]) -> bool:
    moment, zone = one["start"].tz_convert("UTC"), ZoneInfo(ranch.zone)
    while moment < one["end"]:
        local = moment.tz_convert(zone)
        if may_run(local.hour * 60 + local.minute, dear):
            return True
        moment += pd.Timedelta(minutes=15)
    return False
