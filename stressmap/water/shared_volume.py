"""One volume of water between ranches: what each gets by the same benefit, beside two equal shares."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.core.errors import Problem
from stressmap.water.benefit import FIRST
from stressmap.water.equal_marginal import CLOSE_M3, allocate, concave_hull, fill_evenly

NO_AMOUNTS = frozenset({"few_trees", "stale", "failed", "no_plan"})
"""Why a ranch has no curve: too few trees read, readings too old, it failed, its plan cannot be made."""


def _nothing() -> Floats:
    return np.zeros(0)


@dataclass(frozen=True)
class RanchCurve:
    """Benefit of water on one ranch, at k amounts of it.

    Parameters
    ----------
    slug : str
        Of the ranch, unique in the district.
    name : str
        Of the ranch.
    area_ha : float
        Of its valve zones [ha].
    need_m3 : float
        Water that its plan could use within its hours and pumps [m3]; NaN where that is not known.
    amounts_m3 : array of float, shape (k,)
        Rising from 0 to the need [m3]; empty where no amounts can be worked out.
    benefit : array of float, shape (k,)
        Weighted bar-days beyond the allowance that are relieved [ha·bar·d].
    past_limit : array of float, shape (k,)
        Those beyond the crops' limits, which come first [ha·bar·d].
    why : str
        One of :data:`NO_AMOUNTS` where there is no curve, else empty.
    problems : tuple of Problem
        What keeps its plan from being made, where ``why`` is ``no_plan`` or ``failed``.
    gaps : tuple of (float, float)
        Between these amounts no whole sets fit: what is over the lower one relieves nothing [m3].
    """

    slug: str
    name: str
    area_ha: float
    need_m3: float
    amounts_m3: Floats = field(default_factory=_nothing)
    benefit: Floats = field(default_factory=_nothing)
    past_limit: Floats = field(default_factory=_nothing)
    why: str = ""
    problems: tuple[Problem, ...] = ()
    gaps: tuple[tuple[float, float], ...] = ()

    @property
    def has_amounts(self) -> bool:
        """Whether the ranch takes part by its curve."""
        return len(self.amounts_m3) > 0

    @property
    def merit(self) -> Floats:
        """Both in one figure, a bar-day beyond the limit counting :data:`FIRST` times [ha·bar·d]."""
        return np.asarray(self.benefit + FIRST * self.past_limit)

    def benefit_at(self, volume_m3: float) -> float:
        """Read the bar-days beyond the allowance that a volume relieves.

        Parameters
        ----------
        volume_m3 : float
            [m3].

        Returns
        -------
        float
            [ha·bar·d]; NaN without a curve.
        """
        return self._at(volume_m3, self.benefit)

    def past_limit_at(self, volume_m3: float) -> float:
        """Read the bar-days beyond the crops' limits that a volume relieves.

        Parameters
        ----------
        volume_m3 : float
            [m3].

        Returns
        -------
        float
            [ha·bar·d]; NaN without a curve.
        """
        return self._at(volume_m3, self.past_limit)

    def gap_at(self, volume_m3: float) -> tuple[float, float] | None:
        """Give the gap that a volume lies in.

        Parameters
        ----------
        volume_m3 : float
            [m3].

        Returns
        -------
        tuple of float or None
            Both its ends [m3]; None where all of the volume can be used.
        """
        inside = (gap for gap in self.gaps if gap[0] + CLOSE_M3 < volume_m3 < gap[1] - CLOSE_M3)
        return next(inside, None)

    def _at(self, volume_m3: float, figures: Floats) -> float:
        if not self.has_amounts:
            return float("nan")
        gap = self.gap_at(volume_m3)
        return float(np.interp(volume_m3 if gap is None else gap[0], self.amounts_m3, figures))


@dataclass(frozen=True)
class PlannedShare:
    """What became of a ranch's share once its plan was made.

    Parameters
    ----------
    slug : str
        Of the ranch.
    water_m3 : float
        That the plan uses: whole sets seldom use a share to the last cubic metre [m3].
    problems : tuple of Problem
        Why there is no plan, where that is so.
    """

    slug: str
    water_m3: float = float("nan")
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class SharedVolume:
    """What each ranch gets of a shared volume, beside two equal shares.

    Parameters
    ----------
    table : DataFrame
        A row a ranch, in the order they were given: ``slug``, ``ranch``, ``area_ha``, ``need_m3``,
        ``floor_m3``, ``share_m3``, ``equal_share_m3`` (the same depth over every hectare),
        ``need_share_m3`` (the same part of every need); what each relieves: ``benefit``, ``equal_benefit``,
        ``need_benefit`` [ha·bar·d]; the part of it beyond the crops' limits: ``past_limit``,
        ``equal_past_limit``, ``need_past_limit``; what enough water would relieve: ``possible``,
        ``possible_past_limit``; and ``why``: ``need`` (all it can use), ``floor`` (held up
        by its floor), ``even`` (the last cubic metre brings as much as elsewhere), ``sets`` (the next whole
        set brings less than elsewhere), ``nothing`` (more is gained elsewhere), or one of
        :data:`NO_AMOUNTS`. ``planned_m3`` is what each plan uses, NaN where there is none.
    available_m3 : float
        [m3].
    floor : float
        Share of its need that a ranch gets at least, 0 to 1.
    floors_kept : float
        Share of the floors that the volume holds, 1 where it holds all of them.
    marginal : float
        Benefit of the last cubic metre, bar-days beyond the limit counting :data:`FIRST` times [ha·bar·d/m3].
    start : date or None
        First day of all plans.
    days : int or None
        How many days the water must last; None where each ranch has its own number.
    problems : tuple of Problem
        What kept plans from being made.
    kept : mapping of str to dict
        Curves and plans in plain values, for the next call.
    """

    table: pd.DataFrame
    available_m3: float
    floor: float
    floors_kept: float
    marginal: float
    start: dt.date | None = None
    days: int | None = None
    problems: tuple[Problem, ...] = ()
    kept: Mapping[str, Any] = field(default_factory=dict)

    @property
    def left_m3(self) -> float:
        """Water that no ranch can use [m3]."""
        return max(0.0, self.available_m3 - float(self.table["share_m3"].sum()))

    def with_plans(self, planned: Sequence[PlannedShare]) -> SharedVolume:
        """Add what the plans made with the shares use.

        Parameters
        ----------
        planned : sequence of PlannedShare
            Of the ranches that have a plan, or should.

        Returns
        -------
        SharedVolume
        """
        used = {one.slug: one.water_m3 for one in planned}
        table = self.table.assign(planned_m3=[used.get(str(s), float("nan")) for s in self.table["slug"]])
        told = (problem for one in planned for problem in one.problems)
        return replace(self, table=table, problems=(*self.problems, *told))

    def share_of(self, slug: str) -> float:
        """Give the share of a ranch.

        Parameters
        ----------
        slug : str
            Of the ranch.

        Returns
        -------
        float
            [m3].
        """
        return float(self.table.loc[self.table["slug"] == slug, "share_m3"].iloc[0])


def share_volume(curves: Sequence[RanchCurve], available_m3: float, floor: float = 0.0) -> SharedVolume:
    """Share a volume between ranches by the same benefit, beside the same depth and the same part of needs.

    A ranch without a curve takes no part in the comparison: it gets what the same depth over every hectare
    would give it, and the others share the rest.

    Parameters
    ----------
    curves : sequence of RanchCurve, length n
        Of the ranches.
    available_m3 : float
        Water there is [m3].
    floor : float, optional
        Share of its need that each gets at least, 0 to 1, raised to whole sets. Floors that the volume does
        not hold are made smaller, all in the same proportion.

    Returns
    -------
    SharedVolume
    """
    area = np.array([max(0.0, curve.area_ha) for curve in curves])
    known = np.array([curve.has_amounts for curve in curves], dtype=bool)
    most = np.array([curve.need_m3 if curve.has_amounts else np.inf for curve in curves])
    by_area = fill_evenly(area, most, available_m3)
    volume = max(0.0, available_m3 - float(by_area[~known].sum()))
    wanted = floor * np.where(known, most, 0.0)
    kept = min(1.0, volume / float(wanted.sum())) if wanted.sum() > 0 else 1.0
    least = _whole_floors(curves, kept * wanted, volume)
    shares, marginal = _in_whole_sets(curves, volume, least)
    needs = np.where(known, most, 0.0)
    by_need = np.where(known, fill_evenly(needs, needs, volume), by_area)
    shares = np.where(known, shares, by_area)
    columns = {"": shares, "equal_": by_area, "need_": by_need}
    table = pd.DataFrame(
        {
            "slug": [curve.slug for curve in curves],
            "ranch": [curve.name for curve in curves],
            "area_ha": area,
            "need_m3": [curve.need_m3 for curve in curves],
            "floor_m3": np.where(known, least, by_area),
            "share_m3": shares,
            "equal_share_m3": by_area,
            "need_share_m3": by_need,
        }
        | {
            f"{name}benefit": _read(curves, volumes, RanchCurve.benefit_at)
            for name, volumes in columns.items()
        }
        | {
            f"{name}past_limit": _read(curves, volumes, RanchCurve.past_limit_at)
            for name, volumes in columns.items()
        }
    )
    table["possible"] = _read(curves, most, RanchCurve.benefit_at)
    table["possible_past_limit"] = _read(curves, most, RanchCurve.past_limit_at)
    table["why"] = [_why(curve, m3, low) for curve, m3, low in zip(curves, shares, least, strict=True)]
    table["planned_m3"] = float("nan")
    problems = tuple(problem for curve in curves for problem in curve.problems if curve.why == "no_plan")
    return SharedVolume(table, available_m3, floor, kept, marginal, problems=problems)


def _whole_floors(curves: Sequence[RanchCurve], floors_m3: Floats, volume_m3: float) -> Floats:
    """Raise floors to whole sets where all of them can be: half a set waters nobody."""
    gaps = [one.gap_at(m3) for one, m3 in zip(curves, floors_m3.tolist(), strict=True)]
    raised = np.array([m3 if g is None else g[1] for g, m3 in zip(gaps, floors_m3.tolist(), strict=True)])
    return raised if raised.sum() <= volume_m3 else floors_m3


def _in_whole_sets(curves: Sequence[RanchCurve], volume_m3: float, least_m3: Floats) -> tuple[Floats, float]:
    """Share a volume; a share that ends between two amounts of whole sets goes to the better one of them."""
    hulls = [
        concave_hull(one.amounts_m3, one.merit) if one.has_amounts else (_nothing(), _nothing())
        for one in curves
    ]
    least, most = least_m3.copy(), np.full(len(curves), np.inf)
    shares, marginal = allocate(hulls, volume_m3, least, most)
    for _ in curves:
        between = (
            (i, one.gap_at(shares[i])) for i, one in enumerate(curves) if shares[i] > least[i] + CLOSE_M3
        )
        found = next(((i, gap) for i, gap in between if gap is not None), None)
        if found is None:
            break
        i, (low, high) = found
        tried = []
        for fixed in (max(low, least[i]), high):
            at_least, at_most = least.copy(), most.copy()
            at_least[i] = at_most[i] = fixed
            if at_least.sum() <= volume_m3 + CLOSE_M3:
                own, slope = allocate(hulls, volume_m3, at_least, at_most)
                tried.append((_merit(curves, own), own, slope, at_least, at_most))
        _, shares, marginal, least, most = max(tried, key=lambda one: one[0])
    return shares, marginal


def _merit(curves: Sequence[RanchCurve], shares: Floats) -> float:
    """Sum what shares relieve, beyond the limits first."""
    known = [(one, m3) for one, m3 in zip(curves, shares.tolist(), strict=True) if one.has_amounts]
    return sum(one.benefit_at(m3) + FIRST * one.past_limit_at(m3) for one, m3 in known)


def _read(
    curves: Sequence[RanchCurve], volumes_m3: Floats, at: Callable[[RanchCurve, float], float]
) -> list[float]:
    return [at(curve, m3) for curve, m3 in zip(curves, volumes_m3.tolist(), strict=True)]


def _why(curve: RanchCurve, share_m3: float, least_m3: float) -> str:
    if not curve.has_amounts:
        return curve.why
    if share_m3 >= curve.need_m3 - CLOSE_M3:
        return "need"
    if share_m3 <= least_m3 + CLOSE_M3:
        return "floor" if least_m3 > CLOSE_M3 else "nothing"
    at_sets = any(abs(share_m3 - end) <= CLOSE_M3 for gap in curve.gaps for end in gap)
    return "sets" if at_sets else "even"
