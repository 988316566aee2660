"""Readings: which trees a crew goes to, what its gauge shows, and the mistakes it makes."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from drawing.ground import Frame, stream
from drawing.plans import (
    CHAMBER_OFFSET_BAR,
    CHAMBER_STEP_BAR,
    ERROR_SD_BAR,
    GPS_SD_M,
    Block,
    Dialect,
    Ranch,
    Visit,
)
from drawing.truth import baseline_bar
from drawing.weather import deficit_kpa

CREWS = (("1", "A"), ("2", "B"))
PLACES_IN_A_BLOCK = 9


@dataclass(frozen=True)
class Season:
    """What the readings of a ranch are made from."""

    ranch: Ranch
    weather: pd.DataFrame
    truth: list[pd.DataFrame]


def measured_trees(ranch: Ranch, trees: pd.DataFrame) -> dict[str, list[int]]:
    """Mark the trees of each block that crews return to: spread over its valve zones, faulty ones first."""
    rng = stream(ranch, 7)
    first = {fault.valve for fault in ranch.faults}
    marked = {}
    for block, here in trees[trees["inner"]].groupby("block", sort=False):
        valves = list(rng.permutation(sorted(set(here["valve"]))))
        valves.sort(key=lambda name: name not in first)
        turn = [valves[i % len(valves)] for i in range(PLACES_IN_A_BLOCK)]
        marked[str(block)] = [int(rng.choice(here.index[here["valve"] == valve])) for valve in turn]
    return marked


def draw(season: Season, trees: pd.DataFrame) -> pd.DataFrame:
    """Draw all visits, in the order in which people wrote them down."""
    rng = stream(season.ranch, 8)
    marked = measured_trees(season.ranch, trees)
    rows: list[dict[str, Any]] = []
    for i, visit in enumerate(season.ranch.visits):
        walked = _walk(season.ranch, i, marked, rng)
        clean = [_read(stop, season, i, rng) for stop in walked]
        rows += _with_dirt(clean, visit, season.ranch.dialect, rng)
    table = pd.DataFrame(rows)
    _place(table, season, trees, rng)
    return table


def _walk(
    ranch: Ranch, i: int, marked: dict[str, list[int]], rng: np.random.Generator
) -> list[dict[str, Any]]:
    """Share the blocks of a visit among its days and crews, and give every stop its minute."""
    visit = ranch.visits[i]
    teams = [(day, crew) for day in visit.days for crew in CREWS[: ranch.crews]]
    share = len(ranch.blocks) / len(teams)
    stops = []
    for t, (day, (crew, chamber)) in enumerate(teams):
        blocks = ranch.blocks[round(t * share) : round((t + 1) * share)]
        trees = [tree for b in blocks for tree in _chosen(marked[b.name], _count(ranch, b, i), i, rng)]
        leaves = [(tree, "1") for tree in trees]
        for again in sorted(rng.choice(len(trees), max(1, len(trees) // 12), replace=False), reverse=True):
            leaves.insert(again + 1, (trees[again], "2"))
        # The other team's first trees are read with this chamber too, to compare the two gauges.
        leaves += [(marked[b.name][0], "3") for b in _other(ranch, t, share)]
        stops += [
            {
                "visit": i,
                "day": day,
                "crew": crew,
                "chamber": chamber,
                "tree": tree,
                "leaf": leaf,
                "minute": m,
            }
            for (tree, leaf), m in zip(leaves, _minutes(len(leaves), rng), strict=True)
        ]
    return stops


def _other(ranch: Ranch, team: int, share: float) -> tuple[Any, ...]:
    """Blocks of the other crew of the same day whose first tree is read twice."""
    other = team + 1 if team % 2 == 0 else team - 1
    return ranch.blocks[round(other * share) : round(other * share) + (1 if share < 4 else 2)]


def _count(ranch: Ranch, block: Block, i: int) -> int:
    """Trees of a block at a visit: the usual few, and more at the last one."""
    return block.readings[-1 if i == len(ranch.visits) - 1 else 0]


def _chosen(marked: list[int], count: int, i: int, rng: np.random.Generator) -> list[int]:
    """Take the first marked trees at every visit, others in turn, and now and then a later one instead."""
    standing = (count + 1) // 2
    others = marked[standing:]
    turn = i * (count - standing) % len(others)
    chosen = marked[:standing] + (others[turn:] + others[:turn])[: count - standing]
    rest = [tree for tree in marked if tree not in chosen]
    if rng.random() < 0.5 and rest:
        chosen[-1] = rest[int(rng.integers(0, len(rest)))]
    return chosen


def _minutes(count: int, rng: np.random.Generator) -> list[int]:
    """Minutes after 13:00, rising, two or three apart in a full day and slower in a short one."""
    pace = min(5.0, 112.0 / count)
    return [int(4 + pace * k + rng.integers(0, 2)) for k in range(count)]


def _read(stop: dict[str, Any], season: Season, i: int, rng: np.random.Generator) -> dict[str, Any]:
    """Close one leaf in the chamber and write down what the gauge shows."""
    tree = season.truth[i].loc[stop["tree"]]
    crop = season.ranch.crops[tree["crop"]]
    time = dt.datetime.combine(stop["day"], dt.time(13)) + dt.timedelta(minutes=stop["minute"])
    vpd = deficit_kpa(season.weather, pd.DatetimeIndex([time]))
    swp = float(tree["swp_bar"] + baseline_bar(crop, vpd)[0] - tree["baseline_bar"])
    shown = -swp + CHAMBER_OFFSET_BAR[stop["chamber"]] + rng.normal(0.0, ERROR_SD_BAR)
    again = shown + rng.normal(0.12, 0.2) if rng.random() < 0.2 else None
    step = CHAMBER_STEP_BAR[stop["chamber"]]
    return {
        **stop,
        "time": time,
        "bagged": time - dt.timedelta(minutes=int(rng.integers(12, 31))),
        "pressure": round(shown / step) * step,
        "recheck": None if again is None else round(again / step) * step,
        "note": str(rng.choice(season.ranch.dialect.notes)) if rng.random() < 0.07 else "",
        "swp_bar": round(swp, 2),
        "dirt": "",
    }


def _early(row: dict[str, Any]) -> None:
    row["time"] -= dt.timedelta(hours=2, minutes=50)
    row["bagged"] -= dt.timedelta(hours=2, minutes=50)
    row["pressure"] -= 2.0


def _clock_12h(row: dict[str, Any]) -> None:
    row["time"] -= dt.timedelta(hours=12)
    row["bagged"] -= dt.timedelta(hours=12)


def _short_bag(row: dict[str, Any]) -> None:
    row["bagged"] = row["time"] - dt.timedelta(minutes=3)
    row["pressure"] += 2.6


def _no_value(row: dict[str, Any]) -> None:
    row["pressure"] = None


def _negative(row: dict[str, Any]) -> None:
    row["pressure"] = -row["pressure"]


def _mega(row: dict[str, Any]) -> None:
    row["pressure"] /= 10.0


def _far_recheck(row: dict[str, Any]) -> None:
    row["recheck"] = row["pressure"] + 2.8


def _mark(row: dict[str, Any]) -> None:
    """Leave the figures alone: the row is spoilt where its place is written."""
    row["note"] = ""


SPOIL = {
    "early": ("outside_window", _early),
    "clock_12h": ("outside_window", _clock_12h),
    "short_bag": ("short_bag", _short_bag),
    "no_value": ("no_value", _no_value),
    "sign_read_as_potential": ("sign_read_as_potential", _negative),
    "unit_suspect": ("unit_suspect", _mega),
    "recheck_apart": ("recheck_apart", _far_recheck),
    "lonlat_swapped": ("lonlat_swapped", _mark),
    "outside_blocks": ("outside_blocks", _mark),
}


def _with_dirt(
    rows: list[dict[str, Any]], visit: Visit, dialect: Dialect, rng: np.random.Generator
) -> list[dict[str, Any]]:
    """Spoil one row for each mistake of a visit, never a repeat leaf nor the tree that has one."""
    repeated = {row["tree"] for row in rows if row["leaf"] != "1"}
    free = [k for k, row in enumerate(rows) if row["tree"] not in repeated]
    picked = sorted(int(k) for k in rng.choice(free, len(visit.dirt), replace=False))
    twice = []
    remarks = {"early": dialect.on_the_way, "no_value": dialect.broke}
    for k, kind in zip(picked, rng.permutation(visit.dirt), strict=True):
        if kind == "duplicate":
            twice.append(k)
            continue
        rows[k]["dirt"], spoil = SPOIL[str(kind)]
        rows[k]["recheck"] = None
        spoil(rows[k])
        rows[k]["note"] = remarks.get(str(kind), rows[k]["note"])
    for k in reversed(twice):
        rows.insert(k + 1, {**rows[k], "dirt": "duplicate"})
    return rows


def _place(table: pd.DataFrame, season: Season, trees: pd.DataFrame, rng: np.random.Generator) -> None:
    """Add where the phone said each tree was."""
    uv = trees.loc[table["tree"], ["u", "v"]].to_numpy() + rng.normal(0.0, GPS_SD_M, (len(table), 2))
    uv[(table["dirt"] == "outside_blocks").to_numpy()] += (-620.0, -540.0)
    twin = (table["dirt"] == "duplicate").to_numpy()
    uv[twin] = uv[np.flatnonzero(twin) - 1]
    table[["lon", "lat"]] = Frame(season.ranch).lonlat(uv).round(6)
    swapped = table["dirt"] == "lonlat_swapped"
    table.loc[swapped, ["lon", "lat"]] = table.loc[swapped, ["lat", "lon"]].to_numpy()
    table["tree_id"] = trees.loc[table["tree"], "tree_id"].to_numpy()
    table["block"] = trees.loc[table["tree"], "block"].to_numpy()
    table["valve"] = trees.loc[table["tree"], "valve"].to_numpy()
