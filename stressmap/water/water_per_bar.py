"""Who would get water if a bar of stress took half or twice as much water as assumed.

Soil, root depth and wetted share give the water per bar only within a factor of two. What the trees show
stays as it is: with more water per bar the same stress takes a greater depth, and grows more slowly with the
same use. Where two visits measured it, it is varied by its own error, no more.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from stressmap.core.arrays import Ints
from stressmap.core.parallel import each
from stressmap.core.settings import Water
from stressmap.water import irrigation_system
from stressmap.water.formulation import NEAR, PlanInputs, formulate
from stressmap.water.measured_water_per_bar import PRIOR_LOG_SD
from stressmap.water.milp import solve_milp
from stressmap.water.requirement import Requirement

OTHER_FACTORS = (0.5, 2.0)
"""Of the water per bar, beside the plan's own: published cycles and soil tables differ by so much."""


@dataclass(frozen=True)
class WateredByFactor:
    """Which of n valves get water in the plan, and in allocations for other water per bar.

    Parameters
    ----------
    planned : array of bool, shape (n,)
        In the plan itself.
    others : array of bool, shape (f, n)
        For each of :data:`OTHER_FACTORS`, before a timetable.
    """

    planned: NDArray[np.bool_]
    others: NDArray[np.bool_]

    @property
    def sure(self) -> NDArray[np.bool_]:
        """Valves that get water in all of them, shape (n,)."""
        return np.asarray(self.planned & self.others.all(axis=0))

    @property
    def instead(self) -> NDArray[np.bool_]:
        """Valves that get none in the plan and some in another of them, shape (n,)."""
        return np.asarray(~self.planned & self.others.any(axis=0))

    @property
    def agree(self) -> bool:
        """Whether all of them water the same valves."""
        return bool((self.sure == self.planned).all() and not self.instead.any())


def watered_by_factor(
    case: PlanInputs,
    water: Water,
    start: dt.date,
    planned: Ints,
    *,
    jobs: int = 1,
    step: Callable[[], None] = lambda: None,
) -> WateredByFactor:
    """Allocate again with half and twice the water per bar, in the hours of the plan.

    Parameters
    ----------
    case : PlanInputs
        Of n valves.
    water : Water
        ``[water]``.
    start : date
        First day of the plan.
    planned : array of int, shape (n,)
        Time steps of the plan.
    jobs : int
        Allocations worked on at once.
    step : callable
        Called as each is done.

    Returns
    -------
    WateredByFactor
    """

    def watered(factor: float) -> NDArray[np.bool_]:
        needs = [with_water_per_bar(need, _own_factor(need, factor)) for need in case.requirements]
        other = formulate(needs, water, start, case.calendar.zone, supplies=case.supplies)
        # An allocation in all hours would water valves for which the plan has no time.
        problem = other.problem if case.problem is not case.cheap or other.cheap is None else other.cheap
        return np.asarray(solve_milp(problem, time_limit_s=water.time_limit_s).steps > 0)

    others = np.array(each(watered, OTHER_FACTORS, jobs=jobs, step=step))
    return WateredByFactor(planned > 0, others)


def _own_factor(need: Requirement, factor: float) -> float:
    """Give the factor of a zone: narrower than a factor of two where its water per bar was measured."""
    return float(factor ** (need.mm_per_bar_log_sd / PRIOR_LOG_SD))


def with_water_per_bar(need: Requirement, factor: float) -> Requirement:
    """Give a zone's requirement as it would be with other water per bar and the same stress.

    Parameters
    ----------
    need : Requirement
        Of the zone.
    factor : float
        Times the water per bar.

    Returns
    -------
    Requirement
        Where what the root zone holds had cut the need, that is taken to change alike; a need that is held
        until the valve is looked at stays as it is.
    """
    other = replace(
        need, mm_per_bar=need.mm_per_bar * factor, short_mm=need.dry_bar * need.mm_per_bar * factor
    )
    was_cut = need.need_mm < need.end_bar * need.mm_per_bar * (1.0 - NEAR)
    most = need.need_mm * (1.0 if need.inspect else factor) if was_cut else float("inf")
    depth = min(most, max(0.0, other.end_bar * other.mm_per_bar))
    hours = irrigation_system.set_hours(depth, need.area_ha, need.mean_flow_m3_h, need.factor)
    return replace(other, need_mm=depth, hours_needed=hours)
