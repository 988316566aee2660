"""The expected course of each zone's stress until the next turn, as the benefit of water counts it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.core.settings import Water
from stressmap.water.benefit import BenefitModel
from stressmap.water.requirement import Requirement

ARRIVES_SHARE = 0.5
"""Share of the benefit that water through a valve to be looked at first is counted with: whether it arrives
at the trees is as likely as not until its filter, pressure and emitters were seen; a judgement, no source."""


def acting_days(plan_days: int, until_turn: int) -> int:
    """Give the days on which water of the plan acts: those after the middle of the days of the plan.

    Parameters
    ----------
    plan_days : int
        Days on which water may run, from the first on.
    until_turn : int
        Days from the first day of the plan to the next turn.

    Returns
    -------
    int
        At least 1.

    Examples
    --------
    >>> acting_days(7, 7), acting_days(7, 10), acting_days(1, 1)
    (4, 7, 1)
    """
    return max(1, until_turn - min(plan_days, until_turn) // 2)


def benefit_model_of(requirements: Sequence[Requirement], water: Water, start: dt.date) -> BenefitModel:
    """Give the benefit model of each zone; through a valve to be looked at first water may not arrive.

    Parameters
    ----------
    requirements : sequence of Requirement, length n
        Of the zones.
    water : Water
        ``[water]``, for the days of the plan and the next turn.
    start : date
        First day of the plan.

    Returns
    -------
    BenefitModel
    """
    turn = water.next_turn or start + dt.timedelta(days=water.days)
    arrives = np.where([bool(n.inspect) for n in requirements], ARRIVES_SHARE, 1.0)
    area = np.array([n.area_ha * n.weight for n in requirements]) * arrives
    harm = np.array([n.harm for n in requirements])
    return BenefitModel(
        dry_bar=np.array([n.end_bar for n in requirements]),
        se_bar=np.array([n.dry_se_bar for n in requirements]),
        daily_bar=np.array([growth_bar_a_day(n) for n in requirements]),
        mm_per_bar=np.array([n.mm_per_bar for n in requirements]),
        need_mm=np.array([n.need_mm for n in requirements]),
        weight=area * harm,
        limit_bar=_limits(requirements),
        limit_weight=np.where(harm > 0.0, area, 0.0),
        days=acting_days(water.days, (turn - start).days),
    )


def growth_bar_a_day(need: Requirement) -> float:
    """Give the growth of a zone's stress a day: what the trees use, less rain and sets, less the let-down.

    Parameters
    ----------
    need : Requirement
        Of the zone.

    Returns
    -------
    float
        [bar/d]; 0 where no water is used.
    """
    if need.etc_until_mm <= 0.0:
        return 0.0
    used = need.etc_until_mm - need.given_mm
    return (used / need.mm_per_bar - need.let_down_bar) * need.daily_use_mm / need.etc_until_mm


def _limits(requirements: Sequence[Requirement]) -> Floats:
    """Return the stress at the limit; the allowance grows by the let-down, the limit stays where it is."""
    limits = np.array([n.limit_bar - n.let_down_bar for n in requirements])
    return np.where(np.isfinite(limits), limits, np.inf)
