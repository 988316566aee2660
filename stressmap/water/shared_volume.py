"""One volume of water between ranches, so that the last cubic metre brings each of them the same.

Every ranch has a curve: the benefit of its best allocation against the water it gets. Made concave, the
curves are divided into segments of falling marginal benefit, and water goes to the steepest segment of any
ranch until it is used up. For concave curves and one volume that is the optimum of the linear program: every
ranch that is not held by its floor or its need then has the same marginal benefit (the equal-marginal
principle).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.water.benefit import FIRST

CLOSE_M3 = 1e-6
"""Volumes closer than this are the same [m3]."""
WORTH = 1e-12
"""A segment that relieves less for its water is flat [ha·bar·d/m3]: its water stays where it is."""
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
    """

    slug: str
    name: str
    area_ha: float
    need_m3: float
    amounts_m3: Floats = field(default_factory=_nothing)
    benefit: Floats = field(default_factory=_nothing)
    past_limit: Floats = field(default_factory=_nothing)
    why: str = ""

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

    def _at(self, volume_m3: float, figures: Floats) -> float:
        return float(np.interp(volume_m3, self.amounts_m3, figures)) if self.has_amounts else float("nan")


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
        ``equal_past_limit``, ``need_past_limit``; and ``why``: ``need`` (all it can use), ``floor`` (held up
        by its floor), ``even`` (the last cubic metre brings as much as elsewhere), ``nothing`` (more is
        gained elsewhere), or one of :data:`NO_AMOUNTS`.
    available_m3 : float
        [m3].
    floor : float
        Share of its need that a ranch gets at least, 0 to 1.
    floors_kept : float
        Share of the floors that the volume holds, 1 where it holds all of them.
    marginal : float
        Benefit of the last cubic metre, bar-days beyond the limit counting :data:`FIRST` times [ha·bar·d/m3].
    """

    table: pd.DataFrame
    available_m3: float
    floor: float
    floors_kept: float
    marginal: float

    @property
    def left_m3(self) -> float:
        """Water that no ranch can use [m3]."""
        return max(0.0, self.available_m3 - float(self.table["share_m3"].sum()))

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


def concave_hull(amounts: Floats, benefit: Floats) -> tuple[Floats, Floats]:
    """Give the upper hull of a curve: the least concave curve that is nowhere below it.

    Parameters
    ----------
    amounts : array of float, shape (k,)
        Rising.
    benefit : array of float, shape (k,)
        Of any shape.

    Returns
    -------
    tuple of array of float
        Amounts and benefit of its corners.

    Examples
    --------
    >>> import numpy as np
    >>> amounts, benefit = concave_hull(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 1.0, 4.0, 5.0]))
    >>> amounts.tolist(), benefit.tolist()
    ([0.0, 2.0, 3.0], [0.0, 4.0, 5.0])
    """
    kept: list[int] = []
    for i in range(len(amounts)):
        while len(kept) >= 2 and _is_below(kept[-2], kept[-1], i, amounts, benefit):
            kept.pop()
        kept.append(i)
    return amounts[kept], benefit[kept]


def _is_below(a: int, b: int, c: int, amounts: Floats, benefit: Floats) -> bool:
    """Tell whether the middle one of three points is on or below the line between the others."""
    rise = (benefit[c] - benefit[a]) * (amounts[b] - amounts[a])
    return bool((benefit[b] - benefit[a]) * (amounts[c] - amounts[a]) <= rise)


@dataclass(frozen=True)
class _Segments:
    """Segments of all hulls, the steepest first: ranch, water [m3] and marginal benefit of each."""

    ranch: list[int]
    width: list[float]
    slope: list[float]


def allocate(
    curves: Sequence[tuple[Floats, Floats]], volume_m3: float, least_m3: Floats
) -> tuple[Floats, float]:
    """Share a volume by the same marginal benefit, no share below its least.

    Parameters
    ----------
    curves : sequence of (amounts, benefit), length n
        Concave, amounts rising from 0.
    volume_m3 : float
        Water there is [m3]; at least the sum of ``least_m3``.
    least_m3 : array of float, shape (n,)
        What each gets at least [m3].

    Returns
    -------
    tuple of (array of float, shape (n,), float)
        Shares [m3], and the marginal benefit of the last cubic metre; 0 where water is left.

    Examples
    --------
    >>> import numpy as np
    >>> amounts = np.array([0.0, 10.0])
    >>> curves = [(amounts, 3.0 * amounts), (amounts, 1.0 * amounts)]
    >>> shares, marginal = allocate(curves, 14.0, np.array([0.0, 2.0]))
    >>> shares.tolist(), marginal
    ([10.0, 4.0], 1.0)
    """
    shares = np.array(least_m3, dtype=np.float64)
    left = volume_m3 - float(shares.sum())
    segments = _segments(curves, shares)
    for ranch, width, slope in zip(segments.ranch, segments.width, segments.slope, strict=True):
        taken = min(width, max(0.0, left))
        shares[ranch] += taken
        left -= taken
        if left <= CLOSE_M3:
            return shares, slope
    return shares, 0.0


def _segments(curves: Sequence[tuple[Floats, Floats]], least_m3: Floats) -> _Segments:
    """List what can be given beyond the least, by falling marginal benefit; ties in the order of ranches."""
    found = []
    for i, (amounts, benefit) in enumerate(curves):
        widths = np.diff(np.maximum(amounts, least_m3[i]))
        slopes = np.diff(benefit) / np.diff(amounts)
        found += [
            (-s, i, w) for s, w in zip(slopes.tolist(), widths.tolist(), strict=True) if w > 0 and s > WORTH
        ]
    found.sort()
    return _Segments([i for _, i, _ in found], [w for *_, w in found], [-s for s, *_ in found])


def fill_evenly(weights: Floats, most: Floats, volume: float) -> Floats:
    """Share a volume in proportion to weights, none above its most; what is over goes round again.

    Parameters
    ----------
    weights, most : array of float, shape (n,)
        Such as areas and needs.
    volume : float
        What there is.

    Returns
    -------
    array of float, shape (n,)

    Examples
    --------
    >>> import numpy as np
    >>> fill_evenly(np.array([1.0, 1.0, 2.0]), np.array([1.0, 9.0, 9.0]), 10.0).tolist()
    [1.0, 3.0, 6.0]
    """
    shares = np.zeros(len(weights))
    open_ = weights > 0
    while open_.any():
        level = max(0.0, volume - float(shares[~open_].sum())) / float(weights[open_].sum())
        over = open_ & (weights * level >= most)
        if not over.any():
            shares[open_] = weights[open_] * level
            break
        shares[over] = most[over]
        open_ &= ~over
    return shares


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
        Share of its need that each gets at least, 0 to 1. Floors that the volume does not hold are made
        smaller, all in the same proportion.

    Returns
    -------
    SharedVolume
    """
    area = np.array([max(0.0, curve.area_ha) for curve in curves])
    most = np.array([curve.need_m3 if curve.has_amounts else np.inf for curve in curves])
    known = np.array([curve.has_amounts for curve in curves], dtype=bool)
    by_area = fill_evenly(area, most, available_m3)
    unknown_m3 = np.where(known, 0.0, by_area)
    volume = max(0.0, available_m3 - float(unknown_m3.sum()))
    wanted = np.where(known, floor * np.where(known, most, 0.0), 0.0)
    kept = min(1.0, volume / float(wanted.sum())) if wanted.sum() > 0 else 1.0
    least = kept * wanted
    hulls = [
        concave_hull(one.amounts_m3, one.merit) if one.has_amounts else (_nothing(), _nothing())
        for one in curves
    ]
    shares, marginal = allocate(hulls, volume, least)
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
    table["why"] = [_why(curve, m3, low) for curve, m3, low in zip(curves, shares, least, strict=True)]
    return SharedVolume(table, available_m3, floor, kept, marginal)


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
    return "even"
