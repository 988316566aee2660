"""Valve zones whose priority changed since the visit before: what it was, what it is, the greatest first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn
from stressmap.zoning.change import means_before
from stressmap.zoning.priorities import Edges, priority
from stressmap.zoning.ranking import Z_90

ONE_BY_ONE = 60
"""More moves than this are told by block."""


@dataclass(frozen=True)
class Standing:
    """Where a valve zone stood at a visit.

    Parameters
    ----------
    mean, low, high : float
        The ranked figure and the ends of its 90 % interval [bar].
    priority : int
        1 to 4.
    """

    mean: float
    low: float
    high: float
    priority: int


@dataclass(frozen=True)
class PriorityMove:
    """A change of priority of a valve zone, or of zones of one block that made the same one.

    Parameters
    ----------
    valves : tuple of str
        Of the zone or zones, in the order of their rank.
    block : str
        Where.
    before, now : Standing
        At the visit before and at this one; of several zones the mean by area, from the lowest to the highest
        end of their intervals.
    edges : tuple of three floats
        Between the priorities of their crop [bar].
    past_limit : bool
        Whether any of them is past what its crop bears.
    area_ha : float
        Of all of them.
    """

    valves: tuple[str, ...]
    block: str
    before: Standing
    now: Standing
    edges: Edges
    past_limit: bool
    area_ha: float

    @property
    def worse(self) -> bool:
        """Whether it is more urgent than before."""
        return self.now.priority < self.before.priority


def priority_moves(content: Content, order: Sequence[Turn]) -> list[PriorityMove]:
    """List the valve zones whose priority changed: the more urgent ones first, those by priority and rank.

    Parameters
    ----------
    content : Content
        The finished run.
    order : sequence of Turn
        Its valve zones in rank order.

    Returns
    -------
    list of PriorityMove
        None without a visit before; blocks without a reading at either visit are left out.
    """
    if content.previous_visit is None or "gauge_change_bar" not in content.valves:
        return []
    then = means_before(pd.DataFrame(content.valves), content.rank_by)
    read = _read_before(content, content.previous_visit)
    found = []
    for turn, mean, se in zip(order, then.mean.tolist(), then.se.tolist(), strict=True):
        row, edges = turn.row, content.edges_bar[turn.row["crop"]]
        if turn.priority is None or row["block"] not in read or not np.isfinite(mean):
            continue
        before = Standing(mean, mean - Z_90 * se, mean + Z_90 * se, int(priority(mean, edges)))
        now = Standing(row["stress_bar"], row["low_bar"], row["high_bar"], turn.priority)
        if before.priority != now.priority:
            name, block = str(row["valve"]), str(row["block"])
            area = row["area_ha"] or 0.0
            found.append(PriorityMove((name,), block, before, now, edges, turn.past_limit, area))
    return sorted(found, key=_importance)


def by_block(moves: Sequence[PriorityMove]) -> list[PriorityMove]:
    """Put moves of one block from one priority to one other together.

    Parameters
    ----------
    moves : sequence of PriorityMove
        Of single valve zones, in their order.

    Returns
    -------
    list of PriorityMove
        In the same order.
    """
    groups: dict[tuple[str, int, int], list[PriorityMove]] = {}
    for move in moves:
        groups.setdefault((move.block, move.before.priority, move.now.priority), []).append(move)
    return sorted((_joined(group) for group in groups.values()), key=_importance)


def _importance(move: PriorityMove) -> tuple[bool, int, bool]:
    return (not move.worse, move.now.priority if move.worse else 0, not move.past_limit)


def _joined(group: list[PriorityMove]) -> PriorityMove:
    weights = [move.area_ha for move in group]
    return replace(
        group[0],
        valves=tuple(name for move in group for name in move.valves),
        before=_mean([move.before for move in group], weights),
        now=_mean([move.now for move in group], weights),
        past_limit=any(move.past_limit for move in group),
        area_ha=sum(weights),
    )


def _mean(found: list[Standing], weights: list[float]) -> Standing:
    mean = float(np.average([one.mean for one in found], weights=weights if any(weights) else None))
    return Standing(mean, min(one.low for one in found), max(one.high for one in found), found[0].priority)


def _read_before(content: Content, last: dt.date) -> set[str]:
    """Name the blocks that were read on the last day of the visit before or the days joined to it."""
    table = content.readings
    table = table[table["time"].notna() & table["block"].notna()]
    days = pd.Series([time.date() for time in table["time"]], index=table.index, dtype=object)
    first, known = last, set(days)
    while first - dt.timedelta(days=1) in known:
        first -= dt.timedelta(days=1)
    return set(table.loc[[first <= day <= last for day in days], "block"])
