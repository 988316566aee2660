"""The plan beside simple alternatives (equal share, driest first, none), also over Monte Carlo draws."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from stressmap.core.arrays import Floats, Ints
from stressmap.core.parallel import each
from stressmap.water.benefit import FIRST, BenefitModel
from stressmap.water.capacity_constraints import RIGHT_HAND_SIDE, step_constraints
from stressmap.water.formulation import NEAR, PlanInputs

SEED = 7
NAMES = ("plan", "equal share", "driest first", "nothing")
HALVINGS = 40


@dataclass(frozen=True)
class Alternative:
    """Outcome of one alternative allocation.

    Parameters
    ----------
    name : str
        One of :data:`NAMES`.
    steps : array of int, shape (n,)
        Time steps of each valve.
    benefit : float
        Weighted bar-days beyond the allowance that are relieved [ha·bar·d].
    past_limit : float
        Weighted bar-days beyond the crops' limits that are relieved [ha·bar·d].
    past_limit_possible : float
        Those that water could relieve [ha·bar·d].
    share : float
        Of all the weighted bar-days beyond the allowance that could be relieved, 0 to 1.
    bar_days_ha : float
        Plain bar-days beyond the allowance that are relieved, by area alone [ha·bar·d].
    served : int
        Valves that get water.
    water_m3 : float
        [m3].
    """

    name: str
    steps: Ints
    benefit: float
    past_limit: float
    past_limit_possible: float
    share: float
    bar_days_ha: float
    served: int
    water_m3: float

    @property
    def merit(self) -> float:
        """What is relieved beyond the limits and within them in one figure [ha·bar·d]."""
        return self.benefit + FIRST * self.past_limit


@dataclass(frozen=True)
class EvaluatedDraws:
    """The alternatives over Monte Carlo draws of the zone means.

    Parameters
    ----------
    draws : int
        How many.
    chosen : array of float, shape (n,)
        Share of draws in which a plan made for that draw gives the valve water.
    share : dict of str to tuple of float
        For each of :data:`NAMES` the mean, 5th and 95th percentile of the share relieved.
    best : float
        Share of draws in which the plan does at least as well as equal share and driest first: by what it
        relieves beyond the limits first.
    """

    draws: int
    chosen: Floats
    share: dict[str, tuple[float, float, float]]
    best: float


def driest_first(case: PlanInputs) -> Ints:
    """Meet requirements in the order of dryness until the water or the pump's hours are used up.

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
    rows = step_constraints(problem).toarray()
    left = np.ones(len(rows))
    tried: set[int] = set()
    for driest in np.argsort([-need.dry_bar for need in case.requirements], kind="stable").tolist():
        checks = [i for i in problem.run_of(driest) if i not in tried]
        tried.update(checks)
        for i in checks:
            binding = rows[:, i] > 0
            most = np.floor((left[binding] / rows[binding, i]).min(initial=np.inf) + 1e-9)
            steps[i] = problem.feasible_steps(i, int(min(problem.max_steps[i], max(0.0, most))))
            left -= rows[:, i] * steps[i]
        kept = problem.whole_runs(steps)
        left += rows @ (steps - kept)
        steps = kept
    return steps


def equal_share(case: PlanInputs) -> Ints:
    """Give every valve the same depth, none above its requirement, as deep as the constraints allow.

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
    rows = step_constraints(problem)

    def at(depth: float) -> Ints:
        asked = np.minimum(problem.max_steps, np.floor(depth / per_step + 1e-9)).astype(np.int64)
        fits = [problem.feasible_steps(i, int(k)) for i, k in enumerate(asked)]
        return problem.whole_runs(np.array(fits, dtype=np.int64))

    low, high = 0.0, float((problem.max_steps * per_step).max(initial=0.0))
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        low, high = (middle, high) if (rows @ at(middle) <= RIGHT_HAND_SIDE).all() else (low, middle)
    return at(high) if (rows @ at(high) <= RIGHT_HAND_SIDE).all() else at(low)


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
    alternatives = (planned, equal_share(case), driest_first(case), nothing)
    return tuple(_outcome(case, name, steps) for name, steps in zip(NAMES, alternatives, strict=True))


def _outcome(case: PlanInputs, name: str, steps: Ints) -> Alternative:
    net = steps * case.net_mm_per_step
    benefit, possible = (
        case.benefit_model.benefit(net).sum(),
        case.benefit_model.benefit(case.benefit_model.need_mm).sum(),
    )
    area = np.array([need.area_ha for need in case.requirements])
    return Alternative(
        name=name,
        steps=steps,
        benefit=float(benefit),
        past_limit=float(case.benefit_model.past_limit(net).sum()),
        past_limit_possible=float(case.benefit_model.past_limit(case.benefit_model.need_mm).sum()),
        share=float(benefit / possible) if possible > 0 else 1.0,
        bar_days_ha=float(area @ case.benefit_model.bar_days(net)),
        served=int((steps > 0).sum()),
        water_m3=case.problem.volume_of(steps),
    )


def evaluate_over_draws(
    case: PlanInputs,
    alternatives: tuple[Alternative, ...],
    draws: int,
    *,
    covariance: sparse.csr_array | None = None,
    jobs: int = 1,
    step: Callable[[], None] = lambda: None,
) -> EvaluatedDraws:
    """Evaluate alternatives over Monte Carlo draws of the zone means.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    alternatives : tuple of Alternative
        From :func:`compare_alternatives`.
    draws : int
        How many.
    covariance : sparse array, shape (n, n), optional
        Of the zone means [bar²]; by default they are independent.
    jobs : int
        Draws worked on at once.
    step : callable
        Called as each draw is done.

    Returns
    -------
    EvaluatedDraws
        The same for the same case, whatever ``jobs`` is: the draws are seeded.
    """
    if draws == 0:
        return EvaluatedDraws(0, np.full(len(case.problem), np.nan), {}, float("nan"))
    drawn, best_for = _draw(case, draws, covariance), LinearRelaxation(case)

    depths = np.array([way.steps for way in alternatives]) * case.net_mm_per_step

    def one(d: int) -> tuple[Floats, Floats, NDArray[np.bool_]]:
        benefit_model = case.benefit_model.with_known_stress(drawn[d])
        possible = benefit_model.benefit(benefit_model.need_mm).sum()
        relieved = benefit_model.benefit(depths).sum(axis=1)
        shares = relieved / possible if possible > 0 else np.ones(len(relieved))
        return shares, benefit_model.merit(depths).sum(axis=1), best_for.is_watered(benefit_model)

    found = each(one, range(draws), jobs=jobs, step=step)
    shares = np.array([shares for shares, _, _ in found]).T
    merits = np.array([merits for _, merits, _ in found]).T
    chosen = np.sum([watered for _, _, watered in found], axis=0)
    summary = {
        way.name: (float(s.mean()), float(np.quantile(s, 0.05)), float(np.quantile(s, 0.95)))
        for way, s in zip(alternatives, shares, strict=True)
    }
    best = float((merits[0] >= merits[1:].max(axis=0) * (1.0 - NEAR)).mean())
    return EvaluatedDraws(draws, chosen / draws, summary, best)


def _draw(case: PlanInputs, draws: int, covariance: sparse.csr_array | None) -> Floats:
    generator = np.random.default_rng(SEED)
    noise = generator.standard_normal((draws, len(case.problem)))
    if covariance is None:
        return np.asarray(case.benefit_model.dry_bar + noise * case.benefit_model.se_bar)
    drawn = np.tile(case.benefit_model.dry_bar, (draws, 1))
    for zones in _hanging_together(covariance):
        values, vectors = np.linalg.eigh(covariance[zones][:, zones].toarray())
        # The symmetric root: eigenvectors of equal values may turn with the last digits, this does not.
        root = (vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T
        drawn[:, zones] += noise[:, zones] @ root
    return np.asarray(drawn)


def _hanging_together(covariance: sparse.csr_array) -> list[Ints]:
    """Give the groups of zones that have no covariance with any other: those of one block."""
    count, group = sparse.csgraph.connected_components(covariance, directed=False)
    order = np.argsort(group, kind="stable")
    return np.split(order, np.cumsum(np.bincount(group, minlength=count))[:-1])


class LinearRelaxation:
    """Linear relaxation of the allocation for one draw: hours in any fraction, few constraints.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    """

    PIECES = 8

    def __init__(self, case: PlanInputs) -> None:
        problem = case.problem
        possible = np.array([why in {"", "no_need"} for why in case.barred])
        longest = np.array(
            [set_lengths[-1][1] if set_lengths else 0 for set_lengths in problem.set_lengths],
            dtype=np.float64,
        )
        shortest = np.array(
            [set_lengths[0][0] if set_lengths else 1 for set_lengths in problem.set_lengths], dtype=np.float64
        )
        # A rest goes with each set: the longest sets leave the most room.
        room = problem.steps_with_rests * longest / np.maximum(longest + problem.rest_steps, 1.0)
        self._most = np.where(possible, np.minimum(problem.max_sets * longest, room), 0.0)
        self._least = np.maximum(0.5, shortest / 2.0)
        self._net = case.net_mm_per_step
        rows = step_constraints(problem)
        self._rows = LinearConstraint(
            sparse.csr_array(np.repeat(rows.toarray(), self.PIECES, axis=1)), -np.inf, 1.0
        )
        self._bound = rows.shape[0] > 0

    def is_watered(self, benefit_model: BenefitModel) -> NDArray[np.bool_]:
        """Tell which valves the relaxed optimum of a draw waters.

        Parameters
        ----------
        benefit_model : BenefitModel
            The draw.

        Returns
        -------
        array of bool, shape (n,)
            True for at least half of the valve's least set.
        """
        most = np.minimum(self._most, benefit_model.need_mm / self._net)
        width = np.repeat(most / self.PIECES, self.PIECES)
        merit = benefit_model.marginal_merits(most * self._net, self.PIECES).ravel()
        value = np.divide(merit, width, out=np.zeros_like(merit), where=width > 0)
        rows = self._rows if self._bound else None
        # Without presolve this program of few rows takes a fifteenth of the time.
        found = milp(-value, bounds=Bounds(0.0, width), constraints=rows, options={"presolve": False})
        return np.asarray(found.x.reshape(-1, self.PIECES).sum(axis=1) >= self._least)
