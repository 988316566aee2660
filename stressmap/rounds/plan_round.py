"""From what is known to a round: candidates, their worth, ways between them, a plan in time, stops."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import NoteList
from stressmap.geostat.samples import Places
from stressmap.rounds.candidates import BlockTrees, rows_of_blocks, trees_of_block
from stressmap.rounds.later_errors import later_covariance
from stressmap.rounds.plan_bound import worth_bound
from stressmap.rounds.round import WHY, Round, RoundTask, StandingTree, Stop, TimeSpent, Way
from stressmap.rounds.timed_plan import STEPS, timed_plan
from stressmap.rounds.timed_task import Clockwork, TimedPlan, TimedTask
from stressmap.rounds.tree_rows import TreeRows
from stressmap.rounds.ways import Lanes, RanchWays
from stressmap.rounds.worth import ValuedTree, valued
from stressmap.zoning.value_of_information import expected_gain

MOST_BLOCKS = 40
"""Blocks whose trees are considered: those with most to learn, and those that the season wants."""
CANDIDATES, CANDIDATES_A_CREW = 80, 40
"""Trees among which the plan chooses: so many, and so many for each crew."""
FIRST_STEPS = 150_000
"""Changes tried from each seed where the blocks are chosen."""
COVERED_90 = 1.645
"""Standard deviations on either side of a normal mean that hold 90 %."""


@dataclass(frozen=True)
class _Chosen:
    """Candidates of all blocks, valued."""

    trees: list[ValuedTree]
    blocks: dict[int, BlockTrees]
    rows: dict[int, tuple[Any, TreeRows]]

    def __len__(self) -> int:
        return len(self.trees)

    @property
    def xy(self) -> Floats:
        return np.array([self.blocks[t.block].places.xy[t.place] for t in self.trees]).reshape(-1, 2)

    @property
    def block(self) -> Ints:
        return np.array([t.block for t in self.trees], dtype=np.int64)

    def standing(self, i: int) -> StandingTree | None:
        return self.blocks[self.trees[i].block].standing[self.trees[i].place]

    def cautions(self, i: int) -> tuple[str, ...]:
        return self.blocks[self.trees[i].block].cautions[self.trees[i].place]

    def place(self, i: int) -> Places:
        return self.blocks[self.trees[i].block].places.take([self.trees[i].place])


@dataclass(frozen=True)
class _Planned:
    chosen: _Chosen
    ways: RanchWays | None
    timed: TimedTask
    plan: TimedPlan


def plan_round(task: RoundTask) -> Round:
    """Plan the next measuring round.

    It is planned twice: over all blocks, and again among more trees of the blocks that the first plan visits.

    Parameters
    ----------
    task : RoundTask
        What it is planned from.

    Returns
    -------
    Round
        The same for the same task.
    """
    first = _planned(task, _blocks_considered(task), steps=FIRST_STEPS)
    visited = sorted({int(first.chosen.block[i]) for i in np.flatnonzero(first.plan.crew >= 0)})
    second = _planned(task, visited) if visited else first
    best = max(second, first, key=lambda one: one.plan.worth)
    chosen, ways, timed, plan = best.chosen, best.ways, best.timed, best.plan
    stops = _stops(task, chosen, plan)
    bound = max(worth_bound(timed), plan.worth)
    crews = len({stop.crew for stop in stops})
    legs = _legs(plan, ways, timed) if ways else ()
    return Round(stops, crews, plan.worth, bound, _notes(task, chosen, stops), legs, _spent(timed, plan))


def _planned(task: RoundTask, positions: list[int], *, steps: int = STEPS) -> _Planned:
    """Plan a round among the candidates of some blocks."""
    chosen = _choose(task, positions)
    ways = _ways(task, chosen)
    timed = timed_task(task, chosen.trees, ways.seconds() if ways else np.zeros((0, 0), np.int64))
    timed = replace(timed, start=ways.start_seconds() if ways else None)
    return _Planned(chosen, ways, timed, timed_plan(timed, steps=steps))


def timed_task(task: RoundTask, trees: list[ValuedTree], seconds: Ints) -> TimedTask:
    """Put worth, ways and rules of a round into whole seconds after the window opens.

    Parameters
    ----------
    task : RoundTask
        With hours and rules.
    trees : list of ValuedTree
        n candidates.
    seconds : array of int, shape (n, n)
        Ways between them [s].

    Returns
    -------
    TimedTask
    """
    rules, hours = task.rules, task.hours
    clockwork = Clockwork(
        earliest=math.ceil((hours.earliest - hours.opens).total_seconds()),
        closes=math.floor((hours.closes - hours.opens).total_seconds()),
        bag=math.ceil(rules.bag_seconds),
        read=math.ceil(rules.read_seconds),
        least=math.ceil(60 * rules.least_bagged_minutes),
        most=math.floor(60 * rules.most_bagged_minutes),
    )
    twice = np.array([bool({"second_leaf", "both_chambers"} & set(one.why)) for one in trees], dtype=bool)
    worth = np.array([max(one.worth, 1e-9) for one in trees])
    return TimedTask(worth, seconds, clockwork, rules.crews, rules.trees, twice=twice)


def _choose(task: RoundTask, positions: list[int]) -> _Chosen:
    rows = rows_of_blocks(task, positions)
    blocks = {position: trees_of_block(task, position, rows[position][1]) for position in rows}
    count = CANDIDATES + CANDIDATES_A_CREW * task.rules.crews
    return _Chosen(valued(task, list(blocks.values()), count), blocks, rows)


def _blocks_considered(task: RoundTask) -> list[int]:
    """Choose the blocks with most to learn for the decision; those that the season wants come first."""
    decision, wants = task.decision, task.wants
    perfect = expected_gain(decision.figures.mean - decision.threshold_bar, decision.figures.se)
    perfect = np.nan_to_num(perfect * decision.weight, nan=np.inf)
    names = task.ground.valves
    wanted = {*wants.due_days, *wants.before, *wants.after}
    asked = {tree.block for tree in task.standing if tree.tree_id in wants.asked}
    urgent = names["valve"].isin(wanted) | names["block"].isin(wants.never_read | asked)
    scored = names[["block"]].assign(gain=perfect, urgent=urgent.to_numpy())
    blocks = scored.groupby("block").agg(gain=("gain", "sum"), urgent=("urgent", "any"))
    found = blocks.reindex(task.ground.blocks["block"]).fillna({"gain": 0.0, "urgent": False})
    order = np.lexsort((-found["gain"].to_numpy(float), ~found["urgent"].to_numpy(bool)))
    return sorted(int(position) for position in order[:MOST_BLOCKS])


def _ways(task: RoundTask, chosen: _Chosen) -> RanchWays | None:
    if not len(chosen):
        return None
    outlines = list(task.ground.blocks.geometry)
    trees = chosen.xy, chosen.block
    return RanchWays(chosen.rows, outlines, trees, task.rules, Lanes(task.roads, task.gates, task.start))


def _stops(task: RoundTask, chosen: _Chosen, plan: TimedPlan) -> tuple[Stop, ...]:
    taken = np.flatnonzero(plan.crew >= 0)
    order = taken[np.lexsort((plan.bag_at[taken], plan.crew[taken]))]
    why = _told(task, chosen, [int(i) for i in order])
    names = _Names(task)
    return tuple(
        _stop(task, chosen, plan, names, (number, int(i), why[int(i)]))
        for number, i in enumerate(order, start=1)
    )


def _stop(
    task: RoundTask, chosen: _Chosen, plan: TimedPlan, names: _Names, which: tuple[int, int, tuple[str, ...]]
) -> Stop:
    number, i, why = which
    place, tree, position = chosen.place(i), chosen.standing(i), chosen.trees[i].block
    outline, rows = chosen.rows[position]
    row, tree_number = _row_and_number(rows, outline, place.xy)
    mean, sd = _expected(task, place, int(plan.read_at[i]))
    block = str(task.ground.blocks["block"].iloc[position])

    def clock(second: int) -> dt.datetime:
        # A sum on an aware clock of one zone is wrong over a change of the hour; UTC knows none.
        at = task.hours.opens.astimezone(dt.UTC) + dt.timedelta(seconds=second)
        return at.astimezone(task.hours.opens.tzinfo)

    return Stop(
        number=number,
        crew=int(plan.crew[i]) + 1,
        tree_id=tree.tree_id if tree else names.new(block, row, tree_number),
        block=block,
        valve=str(task.ground.valves["valve"].iloc[int(place.valve[0])]),
        row=row,
        tree_number=tree_number,
        x=float(place.xy[0, 0]),
        y=float(place.xy[0, 1]),
        bag_at=clock(int(plan.bag_at[i])),
        read_at=clock(int(plan.read_at[i])),
        why=why,
        expected_bar=mean,
        expected_low_bar=mean - COVERED_90 * sd,
        expected_high_bar=mean + COVERED_90 * sd,
        known=tree is not None,
        row_bearing=math.nan if row is None else rows.bearing_deg,
    )


def _told(task: RoundTask, chosen: _Chosen, taken: list[int]) -> dict[int, tuple[str, ...]]:
    """Say what each stop is for: a want whose tree is not taken goes to another taken tree of its valve."""
    found = {i: set(chosen.trees[i].why) for i in taken}
    valves = task.ground.valves["valve"]
    for code, wanted in (
        ("valve_due", set(task.wants.due_days)),
        ("after_irrigation", set(task.wants.after)),
        ("before_irrigation", set(task.wants.before)),
    ):
        for i in taken:
            valve = str(valves.iloc[int(chosen.place(i).valve[0])])
            if valve in wanted:
                found[i].add(code)
                wanted.discard(valve)
    return {i: (*(c for c in WHY if c in codes), *chosen.cautions(i)) for i, codes in found.items()}


class _Names:
    """Makes names of trees that never had one, each once."""

    def __init__(self, task: RoundTask) -> None:
        self._used = {tree.tree_id for tree in task.standing}

    def new(self, block: str, row: int | None, number: int | None) -> str:
        """Give the name of a new tree: block, row and tree, as far as they are known, then a count."""
        name = block + (f" R{row}" if row else "") + (f" T{number}" if number else "")
        bare, count = name, 0
        while name in self._used or (not number and not count):
            count += 1
            name = f"{bare} N{count}"
        self._used.add(name)
        return name


def _row_and_number(rows: TreeRows, outline: Any, xy: Floats) -> tuple[int | None, int | None]:
    if not rows.told:
        return None, None
    row, number = rows.numbered(outline, xy)
    return int(row[0]), int(number[0]) or None


def _expected(task: RoundTask, place: Places, second: int) -> tuple[float, float]:
    """Foretell a reading: mean and standard deviation, tree and reading error included [bar]."""
    if task.targets is None:
        return math.nan, math.nan
    joint = later_covariance(task.surface, (place, np.zeros(1, dtype=np.int64), 1), task.days_ahead)
    variance = float(joint.covariance[0, 0]) + joint.noise
    mean = float(task.surface.predict(place).mean[0])
    added = task.targets.bar[int(place.block[0])]
    return mean + float(np.interp(second / 60, task.targets.minute, added)), math.sqrt(max(variance, 0.0))


def _legs(plan: TimedPlan, ways: RanchWays, timed: TimedTask) -> tuple[Way, ...]:
    found = []
    for crew, actions in enumerate(plan.actions, start=1):
        trees = [tree for tree, _ in actions]
        if trees and timed.start is not None:
            found.append(Way(crew, ways.how, float(timed.start[trees[0]]), ways.start_line(trees[0])))
        for one, other in pairwise(trees):
            if one != other:
                how, line = ways.line(one, other)
                found.append(Way(crew, how, float(timed.ways[one, other]), line))
        if trees and timed.start is not None:
            home = ways.start_line(trees[-1])[::-1]
            found.append(Way(crew, ways.how, float(timed.start[trees[-1]]), home))
    return tuple(found)


def _spent(timed: TimedTask, plan: TimedPlan) -> TimeSpent:
    taken = plan.crew >= 0
    bagging, reading = float(timed.bag[taken].sum()), float(timed.read[taken].sum())
    legs = [pair for actions in plan.actions for pair in pairwise(tree for tree, _ in actions)]
    travel = float(sum(timed.ways[one, other] for one, other in legs))
    if timed.start is not None:
        travel += float(sum(timed.start[actions[0][0]] for actions in plan.actions if actions))
    out = sum(bool(actions) for actions in plan.actions)
    hours = float(out * (timed.clockwork.closes - timed.clockwork.earliest))
    return TimeSpent(bagging, reading, travel, hours - bagging - reading - travel)


def _notes(task: RoundTask, chosen: _Chosen, stops: tuple[Stop, ...]) -> tuple[Any, ...]:
    notes = NoteList()
    guessed = [position for position, (_, rows) in chosen.rows.items() if not rows.told]
    seen = {stop.block for stop in stops}
    names = [name for name in task.ground.blocks["block"].iloc[guessed] if name in seen]
    if names:
        notes.say("round_rows_guessed", "caution", blocks=names, count=len(names))
    unknown = sorted(task.wants.asked - {tree.tree_id for tree in task.standing})
    if unknown:
        notes.say("round_trees_unknown", "caution", trees=unknown, count=len(unknown))
    missed = sorted(task.wants.asked - set(unknown) - task.wants.read_today - {s.tree_id for s in stops})
    if missed:
        notes.say("round_trees_missed", "caution", trees=missed, count=len(missed))
    if not stops:
        notes.say("round_empty", "warning")
    return tuple(notes)
