"""Whether trees are let down as planned: how gauge, weather and target move a week, and where that leads.

The pace is a straight line through the readings of the last weeks, with an effect of the days since water
where visits saw enough different ones: a visit that comes ever sooner after the set sees less stress though
the trees are let down. Readings of a tree, and of a visit, hang together; the interval is by Student's t with
the visits as what was repeated.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.stats import t as student

from stressmap.core.arrays import Floats, Ints
from stressmap.season.not_relieved import BLOCK_WANDER_SD, FADING_DAYS
from stressmap.season.zone_courses import Z_90

WINDOW_DAYS = 45
"""Readings of so many days before the last visit tell the pace: a judgement, no source."""
TREE_SD, VISIT_SD, ERROR_SD = 0.7, 0.5, 0.5
"""Spread from tree to tree, of a block from a line at one visit, and of a reading [bar]: the first and the
last as measured on ranches by rechecks and repeats (``[model]``), the second a judgement."""
WALK_SD = 0.3
"""How the level of all blocks wanders in a week, for the interval of a pace [bar]: chosen on simulated
seasons so that few are wrongly said to be ahead (docs/benchmarks.md)."""
ON_SD = 0.7
"""The same for where a pace leads [bar]: with it as many are inside the interval as are meant to be."""
USUAL_VISITS = 6
"""So many visits the usual spread is worth beside what the readings themselves show: a judgement."""
LEAST_VISITS = 3
LEAST_SPREAD_DAYS = 1.5
"""Standard deviation of the days since water, from which on their effect is taken out."""
MOST_TOGETHER = 0.9
"""Correlation of days since water with time, past which the two cannot be told apart."""
AHEAD, ON_COURSE, BEHIND, UNKNOWN = "ahead", "on_course", "behind", "unknown"
FARTHEST_DAYS = 180


@dataclass(frozen=True)
class Pace:
    """How something moves a week.

    Parameters
    ----------
    per_week : float
        [bar/week], positive is drier; NaN where it cannot be told.
    se : float
        Its standard error.
    wide : float
        How many standard errors its 90 % interval reaches.
    shared_se : float
        The part of the standard error that all blocks of a ranch share, by the level that wanders.
    weights : array of float, shape (n,)
        What each reading counts: their sum over readings is the pace. What is known of the same visits, such
        as the target, moves by the same sum.
    """

    per_week: float
    se: float = 0.0
    wide: float = 0.0
    shared_se: float = 0.0
    weights: Floats = field(default_factory=lambda: np.zeros(0), repr=False, compare=False)

    @property
    def low(self) -> float:
        """Lower end of the 90 % interval."""
        return self.per_week - self.wide * self.se

    @property
    def high(self) -> float:
        """Upper end of the 90 % interval."""
        return self.per_week + self.wide * self.se


def pace_of(day: Floats, bar: Floats, tree: Ints, since_water: Floats | None = None) -> Pace:
    """Fit the pace of readings.

    Parameters
    ----------
    day : array of float, shape (n,)
        Of each reading; those of one visit have the same.
    bar : array of float, shape (n,)
        Positive is drier [bar].
    tree : array of int, shape (n,)
        Code of the tree.
    since_water : array of float, shape (n,), optional
        Days since the last irrigation; NaN where not known.

    Returns
    -------
    Pace
        Unknown with fewer than three visits.

    Examples
    --------
    Two bar a week and half a bar for every day since water:

    >>> weeks, since = np.arange(6.0), np.array([8.0, 6.0, 4.0, 2.0, 0.0, 7.0])
    >>> found = pace_of(7 * weeks, 9 + 2 * weeks + 0.5 * since, np.zeros(6, dtype=int), since)
    >>> round(found.per_week, 9)
    2.0
    """
    visits, visit = np.unique(day, return_inverse=True)
    if len(visits) < LEAST_VISITS:
        return Pace(float("nan"))
    columns = [np.ones(len(day)), (day - day.mean()) / 7.0]
    if since_water is not None and _tells(day, since_water, len(visits)):
        columns.append(since_water - since_water.mean())
    design = np.column_stack(columns)
    walk = WALK_SD**2 * np.minimum.outer(day, day) / 7.0 - WALK_SD**2 * day.min() / 7.0
    factor = cho_factor(_covariance(day, visit, tree) + walk, lower=True)
    weighed = cho_solve(factor, design)
    inverse = np.linalg.inv(design.T @ weighed)
    weights = inverse @ weighed.T
    found = weights @ bar
    miss = bar - design @ found
    dof = len(visits) - design.shape[1]
    # how they scatter about the line counts beside what trees and readings usually do, by how many they are
    each = float(miss @ cho_solve(factor, miss)) / max(len(day) - design.shape[1], 1)
    known = USUAL_VISITS + dof
    scale = (USUAL_VISITS + dof * each) / known
    shared = float(np.sqrt(scale * weights[1] @ walk @ weights[1]))
    se, wide = float(np.sqrt(scale * inverse[1, 1])), float(student.ppf(0.95, known))
    return Pace(float(found[1]), se, wide, shared, weights[1])


def _covariance(day: Floats, visit: Ints, tree: Ints) -> Floats:
    """Give the covariance of the readings of a block about its line, without the level that wanders."""
    same_tree, same_visit = np.equal.outer(tree, tree), np.equal.outer(visit, visit)
    swings = BLOCK_WANDER_SD**2 * np.exp(-np.abs(np.subtract.outer(day, day)) / FADING_DAYS)
    own = TREE_SD**2 * same_tree + VISIT_SD**2 * same_visit + ERROR_SD**2 * np.eye(len(day))
    return np.asarray(own + swings)


def _tells(day: Floats, since: Floats, visits: int) -> bool:
    """Tell whether the effect of the days since water can be taken out."""
    if not np.isfinite(since).all() or visits < LEAST_VISITS + 2 or since.std() < LEAST_SPREAD_DAYS:
        return False
    return bool(abs(np.corrcoef(day, since)[0, 1]) <= MOST_TOGETHER)


def line_of(day: Floats, bar: Floats) -> float:
    """Give how a line that is known, such as the target, moves a week.

    Parameters
    ----------
    day, bar : array of float, shape (V,)
        At the visits, positive is drier.

    Returns
    -------
    float
        [bar/week]; NaN where it is not known at each of at least two.

    Examples
    --------
    >>> round(line_of(np.array([0.0, 7.0, 14.0]), np.array([6.0, 6.6, 7.2])), 9)
    0.6
    """
    if len(day) < 2 or not np.isfinite(bar).all():
        return float("nan")
    return float(np.polyfit((day - day.mean()) / 7.0, bar, 1)[0])


def standing(trees: Pace, target_per_week: float) -> str:
    """Say whether trees dry faster than their target, as it does, or slower.

    Parameters
    ----------
    trees : Pace
        Of the gauge.
    target_per_week : float
        Of the target [bar/week].

    Returns
    -------
    str
        ``ahead`` or ``behind`` where the 90 % interval leaves the target's pace out.

    Examples
    --------
    >>> standing(Pace(1.3, 0.2, 2.0), 0.6), standing(Pace(1.3, 0.5, 2.0), 0.6)
    ('ahead', 'on_course')
    """
    if not np.isfinite([trees.per_week, target_per_week]).all():
        return UNKNOWN
    return AHEAD if trees.low > target_per_week else BEHIND if trees.high < target_per_week else ON_COURSE


@dataclass(frozen=True)
class Leads:
    """Where a pace leads.

    Parameters
    ----------
    limit_day, limit_early, limit_late : date or None
        When the crop's limit is reached, and the 90 % interval; None where it is not within half a year.
    at_harvest, at_harvest_low, at_harvest_high : float
        Below the fully watered line at harvest [bar]; NaN where that is not known.
    """

    limit_day: dt.date | None
    limit_early: dt.date | None
    limit_late: dt.date | None
    at_harvest: float
    at_harvest_low: float
    at_harvest_high: float


def leads_to(
    below: tuple[float, float], pace: Pace, today: dt.date, limit_bar: float, harvest: dt.date | None
) -> Leads:
    """Carry a pace on.

    Parameters
    ----------
    below : tuple of float
        How far trees are below their fully watered line today, and its standard error [bar].
    pace : Pace
        At which that grows.
    today : date
        Of the last visit.
    limit_bar : float
        How far below the line the crop is harmed; NaN where that is not known.
    harvest : date or None
        The next.

    Returns
    -------
    Leads

    Examples
    --------
    >>> on = leads_to((6.0, 0.5), Pace(1.0, 0.1, 2.0), dt.date(2026, 7, 14), 10.0, dt.date(2026, 8, 25))
    >>> on.limit_day.isoformat(), on.at_harvest
    ('2026-08-11', 12.0)
    """
    now, se = below
    wide = max(pace.wide, Z_90)

    def half(weeks: Floats) -> Floats:
        swings = BLOCK_WANDER_SD**2 * (1.0 - np.exp(-14.0 * weeks / FADING_DAYS))
        ahead = np.sqrt(se**2 + swings + ON_SD**2 * weeks)
        return np.asarray(np.hypot(wide * ahead, pace.wide * pace.se * weeks))

    def reached(side: float) -> dt.date | None:
        weeks = np.arange(FARTHEST_DAYS + 1) / 7.0
        past = now + pace.per_week * weeks + side * half(weeks) >= limit_bar - 1e-9
        return today + dt.timedelta(days=int(past.argmax())) if past.any() else None

    weeks = (harvest - today).days / 7.0 if harvest is not None and harvest >= today else float("nan")
    then, reach = now + pace.per_week * weeks, float(half(np.array(weeks)))
    return Leads(reached(0.0), reached(1.0), reached(-1.0), then, then - reach, then + reach)
