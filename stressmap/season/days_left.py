"""How many days a course has left until it passes what is allowed, with an honest interval."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.parallel import each
from stressmap.geostat.importance_sample import quasi_normal_points

PATHS, ZONES_AT_ONCE = 512, 64
JITTER = 1e-7
BELOW = (0.05, 0.025, 0.075, 0.0, 0.1)
"""Shares that may be left out below, of one in ten: days are never fewer than 0, so that the shortest
interval often leaves out nothing there."""
EVENNESS, EQUALLY_SHORT_DAYS = (2.0, 1.0, 1.0, 0.0, 0.0), 0.05
"""The even one is taken unless another is shorter by more than this."""


@dataclass(frozen=True)
class DaysLeft:
    """Days until stress passes what is allowed if no water comes, of Z zones.

    Parameters
    ----------
    mean, low, high : array of float, shape (Z,)
        Expected days until the first crossing, later ones taken for the horizon, and the shortest 90 %
        interval; 0 where the mean is past, infinite where more likely than not no day of the horizon is, or
        where the bound is past it; NaN where nothing is known.
    """

    mean: Floats
    low: Floats
    high: Floats


def first_crossing(path: Iterable[Floats], allowed: Floats) -> Floats:
    """Give when a course first passes a figure, straight between days.

    Parameters
    ----------
    path : iterable of array of float, shape (Z,)
        Day 0, 1, 2 and so on.
    allowed : array of float, shape (Z,)
        The figure.

    Returns
    -------
    array of float, shape (Z,)
        Days; 0 where it is past on day 0, infinite where it never is, NaN where the course is not known.

    Examples
    --------
    >>> first_crossing(np.array([[1.0, 5.0, 0.0], [3.0, 4.0, 0.0]]), np.full(3, 2.0)).tolist()
    [0.5, 0.0, inf]
    """
    found, known = np.full(allowed.shape, np.inf), np.isfinite(allowed)
    waiting, highest = known.copy(), np.full(allowed.shape, -np.inf)
    for day, now in enumerate(path):
        known &= np.isfinite(now)
        at = np.flatnonzero((now >= allowed) & waiting)
        waiting[at] = False
        if day == 0:
            found[at] = 0.0
        else:
            before = highest[at]
            found[at] = day - 1 + (allowed[at] - before) / (now[at] - before)
        np.maximum(highest, now, out=highest)
    return np.where(known, found, np.nan)


def passages(mean: Floats, covariance: Floats, allowed: Floats) -> Floats:
    """Draw when courses first pass what is allowed, errors of their days going together as they do.

    Parameters
    ----------
    mean : array of float, shape (H, Z)
        On day 0, 1, 2 and so on [bar].
    covariance : array of float, shape (H, H, Z)
        Of the errors of each zone between days [bar²].
    allowed : array of float, shape (Z,)
        [bar].

    Returns
    -------
    array of float, shape (PATHS, Z)
        Days, in rising order; infinite past the last of the days, NaN where nothing is known.
    """
    horizon, zones = mean.shape
    found = np.full((PATHS, zones), np.nan)
    known = np.isfinite(mean).all(axis=0) & np.isfinite(covariance).all(axis=(0, 1)) & np.isfinite(allowed)
    points = quasi_normal_points(PATHS, horizon)

    def draw(own: Ints) -> None:
        together = np.moveaxis(covariance[:, :, own], 2, 0)
        least = JITTER * np.einsum("zhh->z", together) / horizon + JITTER**2
        together = 0.5 * (together + together.swapaxes(1, 2)) + least[:, None, None] * np.eye(horizon)
        days = _drawn_days(mean[:, own], np.linalg.cholesky(together), points)
        times = first_crossing(days, np.tile(allowed[own], PATHS))
        found[:, own] = np.sort(times.reshape(PATHS, len(own)), axis=0)

    pieces = np.array_split(np.flatnonzero(known), max(1, int(known.sum()) // ZONES_AT_ONCE))
    each(draw, pieces, jobs=1)  # with one thread of BLAS: two would wait for each other
    return found


def _drawn_days(mean: Floats, factor: Floats, points: Floats) -> Iterator[Floats]:
    """Draw courses day by day, so that they stay in the cache: all zones of the first path, then the next."""
    for day, level in enumerate(mean):
        drawn = points @ factor[:, day].T
        drawn += level
        yield drawn.ravel()


def days_left(mean: Floats, covariance: Floats, allowed: Floats) -> DaysLeft:
    """Give the days left of courses that go on without water.

    Parameters
    ----------
    mean, covariance, allowed : array of float
        As :func:`passages` asks for them.

    Returns
    -------
    DaysLeft

    Examples
    --------
    A bar a day from 2 bar, with an error of a bar that stays the same, until 6 bar:

    >>> left = days_left(2.0 + np.arange(22.0)[:, None], np.ones((22, 22, 1)), np.array([6.0]))
    >>> left.mean.round(1).tolist(), left.low.round(1).tolist(), left.high.round(1).tolist()
    ([4.0], [2.4], [5.6])
    """
    times = passages(mean, covariance, allowed)
    last = float(len(mean) - 1)
    capped = np.minimum(times, last)
    never = np.isinf(times).mean(axis=0) > 0.5
    low, high = _shortest(capped)
    expected = np.clip(capped.mean(axis=0), low, high)
    expected = np.where(never, np.inf, np.where(mean[0] >= allowed, 0.0, expected))
    high = np.where(np.isinf(times[-1]) & (high >= last), np.inf, high)
    # nine in ten never pass within the horizon: no day is the earliest
    low = np.where(np.isinf(times[0]), np.inf, low)
    nothing = np.isnan(times).all(axis=0)
    return DaysLeft(*(np.where(nothing, np.nan, one) for one in (expected, low, high)))


def _shortest(times: Floats) -> tuple[Floats, Floats]:
    """Give the shortest interval that holds nine in ten, of a few that leave out more above or below."""
    shares = [share for below in BELOW for share in (below, below + 0.9)]
    ends = np.quantile(times, shares, axis=0).reshape(len(BELOW), 2, -1)
    length = np.array([high - low for low, high in ends]) - EQUALLY_SHORT_DAYS * np.array(EVENNESS)[:, None]
    best = length.argmin(axis=0)
    low, high = ends.transpose(1, 0, 2)
    zone = np.arange(times.shape[1])
    return low[best, zone], high[best, zone]


def at_days(path: Floats, days: Floats) -> Floats:
    """Read courses at a day of each zone's own, straight between days, held at the ends.

    Parameters
    ----------
    path : array of float, shape (H, Z)
        On day 0, 1, 2 and so on.
    days : array of float, shape (Z,)
        NaN gives NaN.

    Returns
    -------
    array of float, shape (Z,)

    Examples
    --------
    >>> at_days(np.array([[0.0, 0.0], [1.0, 2.0]]), np.array([0.5, 9.0])).tolist()
    [0.5, 2.0]
    """
    inside = np.clip(np.nan_to_num(days), 0.0, len(path) - 1.0)
    low = np.minimum(inside.astype(np.int64), max(len(path) - 2, 0))
    zone, part = np.arange(path.shape[1]), inside - low
    found = (1.0 - part) * path[low, zone] + part * path[np.minimum(low + 1, len(path) - 1), zone]
    return np.where(np.isfinite(days), found, np.nan)
