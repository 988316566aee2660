"""What one more reading is worth: for what is watered next, and for the season.

A wrong watering decision costs stress, and the expected cost grows with the variance of a zone's mean: by
``phi(d / s) / (2 s)`` for each bar², where d is how far the mean is from the threshold, s its standard error
on the day of the round, all visits together, and phi the standard normal density (derivative of the unit
normal linear loss, Applied Statistical Decision Theory, Harvard 1961, section 5.4; from memory). The s below
the line is taken as the ranch's usual one: each zone's own would send readings where much is known already
(docs/benchmarks.md). A reading is
worth the variance it takes off, so valued, and a share for the map itself. The expected value of a lone
reading (:mod:`stressmap.zoning.value_of_information`) would not do: one reading seldom turns a decision, so
that zones which need three would get none. Trees are taken one after another, each as if those before it had
been read; the second tells less than the first, so the sum over any of the trees is no more than what they
tell together, and a plan may add these figures up.
What the season wants comes on top, in units of a usual stop (:data:`WEIGHTS`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stressmap.core.arrays import Bools, Floats, Ints
from stressmap.geostat.zone_covariance import ZoneCovariance
from stressmap.rounds.candidates import BlockTrees
from stressmap.rounds.later_errors import later_covariance
from stressmap.rounds.round import RoundTask

WEIGHTS = {
    "asked_for": 50.0, "valve_due": 1.0, "block_never_read": 1.0, "after_irrigation": 0.5,
    "before_irrigation": 0.3, "left_out_last_time": 0.5, "standing_tree": 0.25, "new_tree": 0.25,
}  # fmt: skip
"""What a want adds, in the worth of a usual stop (a judgement)."""
TREES_EACH = {"block_never_read": 3, "valve_due": 1, "after_irrigation": 1, "before_irrigation": 1}
"""Trees of one valve, or block, for which a want counts (3 to 5 trees an orchard: farm press, 2013)."""
SPREAD_SHARE = 0.2
"""What knowing a zone counts whatever is decided, beside the greatest that it can count for the decision, 0.2
(a judgement)."""
LEAST_VARIANCE = 1e-4
"""Of a zone's mean [bar²]: none is known better."""
SHARED_WALK = 0.5
"""Share of the way from a row's end and back, to bag and to read, that one stop costs: others lie on it (a
judgement; of 0, 0.5 and 1 it gave the rounds of most worth on the demo)."""
BOTH_CHAMBERS = 3
"""Trees read with two chambers, in different blocks where there are so many."""
SECOND_LEAF_EVERY = 5
"""Of so many trees one gives a second leaf."""
TWO_LEAVES_WORTH = 1.3
"""Worth of a tree with two leaves beside one: they take nearly as much longer (a judgement)."""


@dataclass(frozen=True)
class ValuedTree:
    """A candidate with its worth, those before it taken for read.

    Parameters
    ----------
    block, place : int
        Position of the block, and of the candidate in its :class:`BlockTrees`.
    worth : float
        [bar ha], wants included.
    why : tuple of str
        Codes of what it is for.
    """

    block: int
    place: int
    worth: float
    why: tuple[str, ...]


@dataclass(frozen=True)
class _Open:
    """A block as far as it is chosen: joint errors of its valve zones, then of its candidates.

    ``rate`` is what a bar² taken off each zone's mean is worth, ``limited`` wants that count for a few trees,
    ``seconds`` what a stop there takes, the drive left out.
    """

    trees: BlockTrees
    members: Ints
    joint: ZoneCovariance
    gain: Floats
    taken: Bools
    rate: Floats
    limited: tuple[tuple[tuple[str, str], ...], ...]
    seconds: Floats
    standing: int = 0


def valued(task: RoundTask, blocks: list[BlockTrees], count: int) -> list[ValuedTree]:
    """Value candidates one after another, those of most worth for the time that they take first.

    Parameters
    ----------
    task : RoundTask
        What the round is planned from.
    blocks : list of BlockTrees
        Candidates.
    count : int
        Trees wanted, at most.

    Returns
    -------
    list of ValuedTree
        In the order they were taken.
    """
    states = {one.block: _opened(task, one) for one in blocks if len(one.places)}
    unit = _usual_worth(list(states.values()), task.rules.trees)
    met: dict[tuple[str, str], int] = {}
    found: list[ValuedTree] = []
    while len(found) < count and any(not state.taken.all() for state in states.values()):
        best = max(
            (_best_of(task, state, met, unit) for state in states.values() if not state.taken.all()),
            key=lambda one: one.worth / states[one.block].seconds[one.place],
        )
        for key in states[best.block].limited[best.place]:
            met[key] = met.get(key, 0) + 1
        states[best.block] = _taken(states[best.block], best.place)
        found.append(best)
    return _with_second_readings(task, found, states)


def _opened(task: RoundTask, trees: BlockTrees) -> _Open:
    members = np.unique(trees.cells.valve[trees.cells.valve >= 0])
    inside = trees.cells.valve >= 0
    zone = np.where(inside, np.searchsorted(members, trees.cells.valve), -1).astype(np.int64)
    places = trees.cells.followed_by(trees.places)
    numbers = np.append(zone, len(members) + np.arange(len(trees.places)))
    count = len(members) + len(trees.places)
    joint = later_covariance(task.surface, (places, numbers, count), task.days_ahead)
    sd = np.sqrt(np.maximum(np.diag(joint.covariance)[: len(members)], LEAST_VARIANCE))
    distance = task.decision.figures.mean[members] - task.decision.threshold_bar
    usual = max(float(np.nanmean(task.decision.figures.se)), 0.01)
    rate = task.decision.weight[members] * variance_worth(distance, sd, usual)
    none = np.zeros(len(trees.places))
    rules = task.rules
    walk = SHARED_WALK * 4 * trees.to_end_m / rules.walk_m_s
    seconds = rules.bag_seconds + rules.read_seconds + walk
    bare = _Open(trees, members, joint, none, none.astype(bool), rate, _limited(task, trees), seconds)
    return replace(bare, gain=_gains(bare))


def variance_worth(distance_bar: Floats, sd_bar: Floats, usual_sd_bar: float) -> Floats:
    """Give what a bar² of variance taken off a zone's mean is worth.

    Parameters
    ----------
    distance_bar : array of float
        Mean less the threshold of watering [bar].
    sd_bar : array of float
        Its standard error, over 0 [bar].
    usual_sd_bar : float
        That of the ranch's zones in the mean [bar].

    Returns
    -------
    array of float
        [1/bar].

    Examples
    --------
    >>> variance_worth(np.array([0.0, 4.0]), np.array([1.0, 1.0]), 1.0).round(3).tolist()
    [0.399, 0.2]
    """
    density = np.exp(-((distance_bar / sd_bar) ** 2) / 2) / np.sqrt(2 * np.pi)
    return np.asarray((density / 2 + SPREAD_SHARE) / usual_sd_bar)


def _gains(state: _Open) -> Floats:
    """Work out what a reading at each candidate tells of the valve zones of its block [bar ha]."""
    known = len(state.members)
    total = np.zeros(len(state.taken))
    for i in np.flatnonzero(~state.taken):
        taken_off = state.joint.shift_sd(known + int(i))[:known] ** 2
        total[i] = float((taken_off * state.rate).sum())
    return total


def _taken(state: _Open, place: int) -> _Open:
    taken = state.taken.copy()
    taken[place] = True
    joint = state.joint.conditioned_on(len(state.members) + place)
    standing = state.standing + (state.trees.standing[place] is not None)
    after = replace(state, joint=joint, taken=taken, standing=standing)
    return replace(after, gain=_gains(after))


def _usual_worth(states: list[_Open], stops: int) -> float:
    """Give the mean worth of the best candidates before any is taken; 1 where nothing is to be learnt."""
    every = np.sort(np.concatenate([state.gain for state in states] or [np.zeros(1)]))[::-1][:stops]
    return float(every.mean()) if every.max() > 0 else 1.0


def _best_of(task: RoundTask, state: _Open, met: dict[tuple[str, str], int], unit: float) -> ValuedTree:
    tried = [_value(task, state, int(place), met, unit=unit) for place in np.flatnonzero(~state.taken)]
    return max(tried, key=lambda one: one.worth / state.seconds[one.place])


def _value(
    task: RoundTask, state: _Open, place: int, met: dict[tuple[str, str], int], *, unit: float
) -> ValuedTree:
    granted = [key[0] for key in state.limited[place] if met.get(key, 0) < TREES_EACH[key[0]]]
    tree = state.trees.standing[place]
    taken = int(state.taken.sum())
    if tree is not None:
        granted += ["asked_for"] if tree.tree_id in task.wants.asked else []
        granted += ["left_out_last_time"] if tree.tree_id in task.wants.left_out else []
        granted += ["standing_tree"] if 2 * state.standing <= taken else []
    elif 2 * state.standing > taken:
        granted.append("new_tree")
    worth = float(state.gain[place]) + unit * sum(WEIGHTS[code] for code in granted)
    why = [*granted, "standing_tree" if tree is not None else "new_tree"]
    if state.gain[place] >= 0.5 * unit:
        why.append("watering_decision")
    return ValuedTree(state.trees.block, place, worth, tuple(dict.fromkeys(why)))


def _limited(task: RoundTask, trees: BlockTrees) -> tuple[tuple[tuple[str, str], ...], ...]:
    """Name, for each candidate, the wants of its valve and block that count for a few trees only."""
    wants = task.wants
    block = str(task.ground.blocks["block"].iloc[trees.block])
    names = task.ground.valves["valve"].tolist()
    of_block = [("block_never_read", block)] if block in wants.never_read else []
    of_valves = {
        "valve_due": wants.due_days,
        "after_irrigation": wants.after,
        "before_irrigation": wants.before,
    }
    return tuple(
        (*of_block, *((code, names[valve]) for code, valves in of_valves.items() if names[valve] in valves))
        for valve in trees.places.valve
    )


def _with_second_readings(
    task: RoundTask, found: list[ValuedTree], states: dict[int, _Open]
) -> list[ValuedTree]:
    """Mark trees for both chambers, and every fifth for a second leaf; both take time and are worth it."""
    marks: dict[int, str] = {}
    if task.wants.chambers > 1:
        standing = [i for i, one in enumerate(found) if states[one.block].trees.standing[one.place]]
        first = {found[i].block: i for i in reversed(standing or range(len(found)))}
        chosen = sorted(first.values()) + [i for i in range(len(found)) if i not in first.values()]
        marks = dict.fromkeys(chosen[:BOTH_CHAMBERS], "both_chambers")
    free = [i for i in range(len(found)) if i not in marks]
    marks |= dict.fromkeys(free[2::SECOND_LEAF_EVERY], "second_leaf")
    return [
        replace(one, worth=TWO_LEAVES_WORTH * one.worth, why=(*one.why, marks[i])) if i in marks else one
        for i, one in enumerate(found)
    ]
