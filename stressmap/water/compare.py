"""The plan against what people would do without it, and over what the stress could also be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from stressmap.water.assemble import Case
from stressmap.water.limits import fits
from stressmap.water.plan import relaxed
from stressmap.water.problem import Problem
from stressmap.water.relief import Floats, Ints, curves

SEED = 7
NAMES = ("plan", "equal share", "driest first", "nothing")
HALVINGS = 40


@dataclass(frozen=True)
class Outcome:
    """What one way of sharing the water comes to.

    Parameters
    ----------
    name : str
        One of :data:`NAMES`.
    steps : array of int, shape (n,)
        Time steps of each valve.
    worth : float
        Weighted stress relieved [ha·bar²].
    share : float
        Of all the weighted stress that could be relieved, 0 to 1.
    bar_ha : float
        Plain stress relieved [bar·ha].
    served : int
        Valves that get water.
    water_m3 : float
        [m3].
    """

    name: str
    steps: Ints
    worth: float
    share: float
    bar_ha: float
    served: int
    water_m3: float


@dataclass(frozen=True)
class Judged:
    """The plan over draws of the zone means.

    Parameters
    ----------
    draws : int
        How many.
    chosen : array of float, shape (n,)
        Share of draws in which a plan made for that draw gives the valve water.
    share : dict of str to tuple of float
        For each way of :data:`NAMES` the mean, 5th and 95th percentile of the share relieved.
    best : float
        Share of draws in which the plan relieves at least as much as equal share and driest first.
    """

    draws: int
    chosen: Floats
    share: dict[str, tuple[float, float, float]]
    best: float


def driest_first(case: Case) -> Ints:
    """Give every valve what it needs in the order of dryness until the water or the pump is gone.

    Parameters
    ----------
    case : Case
        Of n valves in rank order.

    Returns
    -------
    array of int, shape (n,)
        Time steps.
    """
    problem = case.problem
    steps = np.zeros(len(problem), dtype=np.int64)
    for i in np.argsort([-need.dry_bar for need in case.needs], kind="stable"):
        steps[i] = problem.most_steps[i]
        while steps[i] and not fits(problem, steps):
            steps[i] = problem.allowed(int(i), int(steps[i]) - 1)
    return steps


def equal_share(case: Case) -> Ints:
    """Give every valve the same depth, none more than it needs, as deep as the limits let.

    Parameters
    ----------
    case : Case
        Of n valves.

    Returns
    -------
    array of int, shape (n,)
        Time steps.
    """
    problem, per_step = case.problem, case.gross_mm_per_step

    def at(depth: float) -> Ints:
        asked = np.minimum(problem.most_steps, np.floor(depth / per_step + 1e-9)).astype(np.int64)
        return np.array([problem.allowed(i, int(k)) for i, k in enumerate(asked)], dtype=np.int64)

    low, high = 0.0, float((problem.most_steps * per_step).max(initial=0.0))
    if fits(problem, at(high)):
        return at(high)
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if fits(problem, at(middle)) else (low, middle)
    return at(low)


def outcomes(case: Case, planned: Ints) -> tuple[Outcome, ...]:
    """Compare the plan with equal share, driest first and nothing, under the same limits.

    Parameters
    ----------
    case : Case
        Of n valves.
    planned : array of int, shape (n,)
        Time steps of the plan.

    Returns
    -------
    tuple of Outcome
        In the order of :data:`NAMES`.
    """
    nothing = np.zeros(len(case.problem), dtype=np.int64)
    ways = (planned, equal_share(case), driest_first(case), nothing)
    return tuple(_outcome(case, name, steps) for name, steps in zip(NAMES, ways, strict=True))


def _outcome(case: Case, name: str, steps: Ints) -> Outcome:
    net = steps * case.net_mm_per_step
    worth, possible = case.thirst.relief(net).sum(), case.thirst.relief(case.thirst.need_mm).sum()
    area = np.array([need.area_ha for need in case.needs])
    return Outcome(
        name=name,
        steps=steps,
        worth=float(worth),
        share=float(worth / possible) if possible > 0 else 1.0,
        bar_ha=float(area @ case.thirst.bars(net)),
        served=int((steps > 0).sum()),
        water_m3=case.problem.volume_of(steps),
    )


def judge(case: Case, ways: tuple[Outcome, ...], draws: int, *, covariance: Floats | None = None) -> Judged:
    """Judge ways of sharing over draws of the zone means.

    Parameters
    ----------
    case : Case
        Of n valves.
    ways : tuple of Outcome
        From :func:`outcomes`.
    draws : int
        How many.
    covariance : array of float, shape (n, n), optional
        Of the zone means [bar²]; by default they are independent.

    Returns
    -------
    Judged
        The same for the same case: the draws are seeded.
    """
    if draws == 0:
        return Judged(0, np.full(len(case.problem), np.nan), {}, float("nan"))
    drawn = _draw(case, draws, covariance)
    chosen = np.zeros(len(case.problem))
    # In the quick plans a valve may get part of its least set: half of it counts as being watered.
    least = np.array([max(0.5, runs[0][0] / 2.0) if runs else np.inf for runs in case.problem.runs])
    shares = np.zeros((len(ways), draws))
    for d in range(draws):
        thirst = case.thirst.drawn(drawn[d])
        possible = thirst.relief(thirst.need_mm).sum()
        for w, way in enumerate(ways):
            relief = thirst.relief(way.steps * case.net_mm_per_step).sum()
            shares[w, d] = relief / possible if possible > 0 else 1.0
        chosen += relaxed(_for_draw(case, drawn[d])) >= least
    told = {
        way.name: (float(s.mean()), float(np.quantile(s, 0.05)), float(np.quantile(s, 0.95)))
        for way, s in zip(ways, shares, strict=True)
    }
    best = float((shares[0] >= shares[1:].max(axis=0) - 1e-12).mean())
    return Judged(draws, chosen / draws, told, best)


def _draw(case: Case, draws: int, covariance: Floats | None) -> Floats:
    generator = np.random.default_rng(SEED)
    noise = generator.standard_normal((draws, len(case.problem)))
    if covariance is None:
        return np.asarray(case.thirst.dry_bar + noise * case.thirst.se_bar)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.clip(values, 0.0, None))
    return np.asarray(case.thirst.dry_bar + noise @ root.T)


def _for_draw(case: Case, dry_bar: Floats) -> Problem:
    """Give the problem as it would be were the stress known to be the draw's."""
    thirst = case.thirst.drawn(dry_bar)
    per_step = case.net_mm_per_step
    limits = np.array([own[-1][1] if own else 0 for own in case.problem.runs]) * case.problem.most_sets
    possible = np.array([why in {"", "no_need"} for why in case.barred])
    most = np.ceil(np.minimum(thirst.need_mm / per_step, np.where(possible, limits, 0)) - 1e-6)
    steps = np.minimum(most, case.problem.hours_steps).astype(np.int64)
    return replace(case.problem, most_steps=steps, curves=curves(thirst, per_step, steps))
