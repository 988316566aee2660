"""The plan against what people would do without it, and over what the stress could also be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from stressmap.core.arrays import Floats, Ints
from stressmap.core.parallel import each
from stressmap.water.benefit import BenefitModel
from stressmap.water.capacity_constraints import OVER, step_rows
from stressmap.water.formulation import PlanInputs

SEED = 7
NAMES = ("plan", "equal share", "driest first", "nothing")
HALVINGS = 40


@dataclass(frozen=True)
class Alternative:
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
class JudgedOverDraws:
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


def driest_first(case: PlanInputs) -> Ints:
    """Give every valve what it needs in the order of dryness until the water or the pump is gone.

    Parameters
    ----------
    case : PlanInputs
        Of n valves in rank order.

    Returns
    -------
    array of int, shape (n,)
        Time steps.
    """
    problem = case.problem
    steps = np.zeros(len(problem), dtype=np.int64)
    rows = step_rows(problem).toarray()
    left = np.ones(len(rows))
    for i in np.argsort([-need.dry_bar for need in case.needs], kind="stable"):
        binding = rows[:, i] > 0
        most = np.floor((left[binding] / rows[binding, i]).min(initial=np.inf) + 1e-9)
        steps[i] = problem.allowed(int(i), int(min(problem.most_steps[i], max(0.0, most))))
        left -= rows[:, i] * steps[i]
    return steps


def equal_share(case: PlanInputs) -> Ints:
    """Give every valve the same depth, none more than it needs, as deep as the limits let.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.

    Returns
    -------
    array of int, shape (n,)
        Time steps.
    """
    problem, per_step = case.problem, case.gross_mm_per_step
    rows = step_rows(problem)

    def at(depth: float) -> Ints:
        asked = np.minimum(problem.most_steps, np.floor(depth / per_step + 1e-9)).astype(np.int64)
        return np.array([problem.allowed(i, int(k)) for i, k in enumerate(asked)], dtype=np.int64)

    low, high = 0.0, float((problem.most_steps * per_step).max(initial=0.0))
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if (rows @ at(middle) <= OVER).all() else (low, middle)
    return at(high) if (rows @ at(high) <= OVER).all() else at(low)


def compare_alternatives(case: PlanInputs, planned: Ints) -> tuple[Alternative, ...]:
    """Compare the plan with equal share, driest first and nothing, under the same limits.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    planned : array of int, shape (n,)
        Time steps of the plan.

    Returns
    -------
    tuple of Alternative
        In the order of :data:`NAMES`.
    """
    nothing = np.zeros(len(case.problem), dtype=np.int64)
    ways = (planned, equal_share(case), driest_first(case), nothing)
    return tuple(_outcome(case, name, steps) for name, steps in zip(NAMES, ways, strict=True))


def _outcome(case: PlanInputs, name: str, steps: Ints) -> Alternative:
    net = steps * case.net_mm_per_step
    worth, possible = case.thirst.relief(net).sum(), case.thirst.relief(case.thirst.need_mm).sum()
    area = np.array([need.area_ha for need in case.needs])
    return Alternative(
        name=name,
        steps=steps,
        worth=float(worth),
        share=float(worth / possible) if possible > 0 else 1.0,
        bar_ha=float(area @ case.thirst.bars(net)),
        served=int((steps > 0).sum()),
        water_m3=case.problem.volume_of(steps),
    )


def judge_over_draws(
    case: PlanInputs,
    ways: tuple[Alternative, ...],
    draws: int,
    *,
    covariance: Floats | None = None,
    jobs: int = 1,
    step: Callable[[], None] = lambda: None,
) -> JudgedOverDraws:
    """Judge ways of sharing over draws of the zone means.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    ways : tuple of Alternative
        From :func:`compare_alternatives`.
    draws : int
        How many.
    covariance : array of float, shape (n, n), optional
        Of the zone means [bar²]; by default they are independent.
    jobs : int
        Draws worked on at once.
    step : callable
        Called as each draw is done.

    Returns
    -------
    JudgedOverDraws
        The same for the same case, whatever ``jobs`` is: the draws are seeded.
    """
    if draws == 0:
        return JudgedOverDraws(0, np.full(len(case.problem), np.nan), {}, float("nan"))
    drawn, best_for = _draw(case, draws, covariance), RelaxedPlan(case)

    def one(d: int) -> tuple[list[float], NDArray[np.bool_]]:
        thirst = case.thirst.drawn(drawn[d])
        possible = thirst.relief(thirst.need_mm).sum()
        relieved = [float(thirst.relief(way.steps * case.net_mm_per_step).sum()) for way in ways]
        shares = [relief / possible if possible > 0 else 1.0 for relief in relieved]
        return shares, best_for.waters(thirst)

    found = each(one, range(draws), jobs=jobs, step=step)
    shares = np.array([shares for shares, _ in found]).T
    chosen = np.sum([watered for _, watered in found], axis=0)
    told = {
        way.name: (float(s.mean()), float(np.quantile(s, 0.05)), float(np.quantile(s, 0.95)))
        for way, s in zip(ways, shares, strict=True)
    }
    best = float((shares[0] >= shares[1:].max(axis=0) - 1e-12).mean())
    return JudgedOverDraws(draws, chosen / draws, told, best)


def _draw(case: PlanInputs, draws: int, covariance: Floats | None) -> Floats:
    generator = np.random.default_rng(SEED)
    noise = generator.standard_normal((draws, len(case.problem)))
    if covariance is None:
        return np.asarray(case.thirst.dry_bar + noise * case.thirst.se_bar)
    values, vectors = np.linalg.eigh(covariance)
    # The symmetric root: eigenvectors of equal values may turn with the last digits, this does not.
    root = (vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T
    return np.asarray(case.thirst.dry_bar + noise @ root)


class RelaxedPlan:
    """The best plan for one draw, as if hours came in any fraction: a linear program with few rows.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    """

    PIECES = 8

    def __init__(self, case: PlanInputs) -> None:
        problem = case.problem
        possible = np.array([why in {"", "no_need"} for why in case.barred])
        longest = np.array([runs[-1][1] if runs else 0 for runs in problem.runs], dtype=np.float64)
        shortest = np.array([runs[0][0] if runs else 1 for runs in problem.runs], dtype=np.float64)
        # A rest goes with each set: the longest sets leave the most room.
        room = problem.room * longest / np.maximum(longest + problem.rest_steps, 1.0)
        self._most = np.where(possible, np.minimum(problem.most_sets * longest, room), 0.0)
        self._least = np.maximum(0.5, shortest / 2.0)
        self._net = case.net_mm_per_step
        rows = step_rows(problem)
        self._rows = LinearConstraint(
            sparse.csr_array(np.repeat(rows.toarray(), self.PIECES, axis=1)), -np.inf, 1.0
        )
        self._bound = rows.shape[0] > 0

    def waters(self, thirst: BenefitModel) -> NDArray[np.bool_]:
        """Tell which valves the best plan for a draw waters.

        Parameters
        ----------
        thirst : BenefitModel
            The draw.

        Returns
        -------
        array of bool, shape (n,)
            True for at least half of the valve's least set.
        """
        most = np.minimum(self._most, thirst.need_mm / self._net)
        width = np.repeat(most / self.PIECES, self.PIECES)
        worth = thirst.pieces(most * self._net, self.PIECES).ravel()
        value = np.divide(worth, width, out=np.zeros_like(worth), where=width > 0)
        rows = self._rows if self._bound else None
        # Without presolve this program of few rows takes a fifteenth of the time.
        found = milp(-value, bounds=Bounds(0.0, width), constraints=rows, options={"presolve": False})
        return np.asarray(found.x.reshape(-1, self.PIECES).sum(axis=1) >= self._least)
