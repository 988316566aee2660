"""Benefit of water: bar-days of stress that a depth relieves, first those past the crop's limit.

Stress beyond the allowance grows day by day until the next turn. What counts is its sum over the days, a bar
as much as any other, and not where it stands on the last day. It is known only within its standard error: the
benefit is the expectation over a normal distribution. When in the plan a valve will have its turn is not
known before there is a timetable, so every dose is taken to act from the middle of the plan on.

Bar-days beyond the crop's limit are kept apart and come first: no bar-day within the limit is bought with one
beyond it. They are those of the expected course with a margin of :data:`LIMIT_MARGIN_SE` standard errors: a
zone is inside its limit once that is likely, not at even odds, and the far tails of all others do not count.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr

from stressmap.core.arrays import Floats, Ints

MOST_PIECES = 16
"""Linear segments of a valve's curve, at most; short curves keep every step."""
LIMIT_MARGIN_SE = 1.0
"""Standard errors that a zone's expected stress is kept below its crop's limit: it is then past it in one
case of six (a normal distribution has 16 % beyond one standard error). How many is a judgement, no source."""
FIRST = 1000.0
"""Bar-days within the limit that one beyond it counts for, where timetables are compared by a single figure.
The allocation itself is lexicographic, by two solves, and does not use it. For the water they take, bar-days
of two zones differ only as weight, harm, days and water per bar do: well under a thousandfold."""


def expected_excess(mean_bar: ArrayLike, se_bar: ArrayLike) -> Floats:
    """Give the expectation of what a normally distributed stress is above 0.

    Parameters
    ----------
    mean_bar, se_bar : float or array of float, any shapes that go together
        Stress and its standard error [bar].

    Returns
    -------
    array of float
        [bar].

    Examples
    --------
    >>> expected_excess([4.0, -1.0], [0.0, 0.0]).tolist()
    [4.0, 0.0]
    """
    mean, se = np.broadcast_arrays(np.asarray(mean_bar, float), np.asarray(se_bar, float))
    sure = se <= 0.0
    z = mean / np.where(sure, 1.0, se)
    density = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    return np.asarray(np.where(sure, np.maximum(mean, 0.0), mean * ndtr(z) + se * density))


@dataclass(frozen=True)
class BenefitModel:
    """Benefit model of n valve zones: the course of stress, water per bar, requirement and weights.

    Parameters
    ----------
    dry_bar, se_bar : array of float, shape (n,)
        Stress beyond the allowance at the next turn if no water comes, and its standard error [bar].
    daily_bar : array of float, shape (n,)
        By how much it grows a day until then [bar/d].
    mm_per_bar : array of float, shape (n,)
        Net depth that relieves one bar [mm].
    need_mm : array of float, shape (n,)
        Net depth beyond which water is not counted as relief [mm].
    weight : array of float, shape (n,)
        Area times block weight times growth-stage sensitivity, and the share of its water that counts [ha].
    limit_bar : array of float, shape (n,)
        Stress at which the crop's limit is [bar]; infinite where it has none.
    limit_weight : array of float, shape (n,)
        Area times block weight [ha]: past the limit the tree is harmed, whatever the stage.
    days : int
        Days on which water of the plan acts; the last one is the day of the next turn.
    """

    dry_bar: Floats
    se_bar: Floats
    daily_bar: Floats
    mm_per_bar: Floats
    need_mm: Floats
    weight: Floats
    limit_bar: Floats
    limit_weight: Floats
    days: int

    @property
    def course_bar(self) -> Floats:
        """Stress without water on each day on which water acts [bar], shape (days, n)."""
        before = np.arange(self.days - 1, -1, -1.0)[:, None]
        return np.asarray(self.dry_bar - before * self.daily_bar)

    def bar_days(self, net_mm: ArrayLike) -> Floats:
        """Give the bar-days beyond the allowance that depths are expected to relieve, unweighted.

        Parameters
        ----------
        net_mm : array of float, shape (n,) or (k, n)
            Net depths [mm].

        Returns
        -------
        array of float, shape of ``net_mm``
            [bar·d].
        """
        course, useful = self.course_bar, self._useful_bar(net_mm)
        dry = expected_excess(course, self.se_bar).sum(axis=0)
        return np.asarray(dry - expected_excess(course - useful, self.se_bar).sum(axis=-2))

    def benefit(self, net_mm: ArrayLike) -> Floats:
        """Give the weighted bar-days beyond the allowance that depths are expected to relieve.

        Parameters
        ----------
        net_mm : array of float, shape (n,) or (k, n)
            Net depths [mm].

        Returns
        -------
        array of float, shape of ``net_mm``
            [ha·bar·d].
        """
        return np.asarray(self.weight * self.bar_days(net_mm))

    def past_limit(self, net_mm: ArrayLike) -> Floats:
        """Give the weighted bar-days beyond the crop's limit, with its margin, that depths relieve.

        Parameters
        ----------
        net_mm : array of float, shape (n,) or (k, n)
            Net depths [mm].

        Returns
        -------
        array of float, shape of ``net_mm``
            [ha·bar·d].
        """
        beyond = self.course_bar + LIMIT_MARGIN_SE * self.se_bar - self.limit_bar
        useful = self._useful_bar(net_mm)
        left = np.maximum(beyond - useful, 0.0).sum(axis=-2)
        return np.asarray(self.limit_weight * (np.maximum(beyond, 0.0).sum(axis=0) - left))

    def merit(self, net_mm: ArrayLike) -> Floats:
        """Give both in one figure, a bar-day beyond the limit counting :data:`FIRST` times.

        Parameters
        ----------
        net_mm : array of float, shape (n,) or (k, n)
            Net depths [mm].

        Returns
        -------
        array of float, shape of ``net_mm``
            [ha·bar·d].
        """
        return np.asarray(self.benefit(net_mm) + FIRST * self.past_limit(net_mm))

    def marginal_merits(self, top_mm: Floats, count: int) -> Floats:
        """Give the marginal merit of equal increments of depth.

        Parameters
        ----------
        top_mm : array of float, shape (n,)
            Total net depth of the increments [mm].
        count : int
            How many increments.

        Returns
        -------
        array of float, shape (n, count)
            [ha·bar·d], never rising from one increment to the next.
        """
        depth = np.linspace(0.0, 1.0, count + 1)[:, None] * np.minimum(top_mm, self.need_mm)
        return np.asarray(np.diff(self.merit(depth), axis=0).T)

    def with_known_stress(self, dry_bar: Floats) -> BenefitModel:
        """Give the model of the same zones with a known stress in place of the expected.

        Parameters
        ----------
        dry_bar : array of float, shape (n,)
            Stress at the next turn [bar].

        Returns
        -------
        BenefitModel
        """
        need = np.maximum(0.0, dry_bar) * self.mm_per_bar
        return replace(self, dry_bar=dry_bar, se_bar=np.zeros_like(dry_bar), need_mm=need)

    def only(self, valve: int) -> BenefitModel:
        """Give the model of one zone.

        Parameters
        ----------
        valve : int
            Place of the zone.

        Returns
        -------
        BenefitModel
            Of one.
        """
        own = {f.name: getattr(self, f.name)[valve : valve + 1] for f in fields(self) if f.name != "days"}
        return replace(self, **own)

    def _useful_bar(self, net_mm: ArrayLike) -> Floats:
        """Return the bars by which depths lower the course, an axis of days before that of zones."""
        useful = np.clip(np.asarray(net_mm, float), 0.0, self.need_mm) / self.mm_per_bar
        return np.asarray(useful[..., None, :])


@dataclass(frozen=True)
class BenefitCurve:
    """Concave piecewise-linear benefit of time steps, flat after the last point.

    Parameters
    ----------
    steps : array of int, shape (p,)
        Rising, the first 0.
    value : array of float, shape (p,)
        Weighted bar-days beyond the allowance that are relieved [ha·bar·d]; rising ever less.
    past_limit : array of float, shape (p,)
        The same beyond the crop's limit.
    """

    steps: Ints
    value: Floats
    past_limit: Floats

    def at(self, steps: ArrayLike) -> Floats:
        """Read both in one figure, a bar-day beyond the limit counting :data:`FIRST` times.

        Parameters
        ----------
        steps : int or array of int
            How many.

        Returns
        -------
        array of float
        """
        return self._read(self.value + FIRST * self.past_limit, steps)

    def value_at(self, steps: ArrayLike) -> Floats:
        """Read the bar-days beyond the allowance.

        Parameters
        ----------
        steps : int or array of int
            How many.

        Returns
        -------
        array of float
        """
        return self._read(self.value, steps)

    def past_limit_at(self, steps: ArrayLike) -> Floats:
        """Read the bar-days beyond the limit.

        Parameters
        ----------
        steps : int or array of int
            How many.

        Returns
        -------
        array of float
        """
        return self._read(self.past_limit, steps)

    def _read(self, figures: Floats, steps: ArrayLike) -> Floats:
        return np.asarray(np.interp(np.asarray(steps, dtype=np.float64), self.steps, figures))


def benefit_curves(
    benefit_model: BenefitModel, net_mm_per_step: Floats, max_steps: Ints
) -> tuple[BenefitCurve, ...]:
    """Make each valve's benefit curve.

    Parameters
    ----------
    benefit_model : BenefitModel
        Of n valve zones.
    net_mm_per_step : array of float, shape (n,)
        Net depth that one time step of the valve brings [mm].
    max_steps : array of int, shape (n,)
        Steps that a curve goes to.

    Returns
    -------
    tuple of BenefitCurve, length n
    """
    made = []
    for i, top in enumerate(max_steps.tolist()):
        points = min(top, MOST_PIECES)
        steps = np.unique(np.round(np.linspace(0, top, points + 1)).astype(np.int64))
        one, depth = benefit_model.only(i), steps[:, None] * net_mm_per_step[i]
        made.append(BenefitCurve(steps, one.benefit(depth)[:, 0], one.past_limit(depth)[:, 0]))
    return tuple(made)
