"""How many days a course has left until it passes what is allowed, with an honest interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.season.zone_courses import Z_90


@dataclass(frozen=True)
class DaysLeft:
    """Days until stress passes what is allowed if no water comes, of Z zones.

    Parameters
    ----------
    mean, low, high : array of float, shape (Z,)
        First crossing of the mean, of the upper and of the lower 90 % bound; 0 where it is past, infinite
        past the horizon, NaN where nothing is known.
    """

    mean: Floats
    low: Floats
    high: Floats


def first_crossing(path: Floats, allowed: Floats) -> Floats:
    """Give when a course first passes a figure, straight between days.

    Parameters
    ----------
    path : array of float, shape (H, Z)
        On day 0, 1, 2 and so on.
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
    highest = np.maximum.accumulate(path, axis=0)
    past = highest >= allowed
    at = past.argmax(axis=0)
    zone = np.arange(path.shape[1])
    now, before = highest[at, zone], highest[np.maximum(at - 1, 0), zone]
    with np.errstate(invalid="ignore", divide="ignore"):
        part = np.where(now > before, (allowed - before) / (now - before), 1.0)
    found = np.where(at == 0, 0.0, at - 1 + part)
    found = np.where(past.any(axis=0), found, np.inf)
    return np.where(np.isfinite(path).all(axis=0) & np.isfinite(allowed), found, np.nan)


def days_left(mean: Floats, sd: Floats, allowed: Floats) -> DaysLeft:
    """Give the days left of courses that go on without water.

    Parameters
    ----------
    mean, sd : array of float, shape (H, Z)
        On day 0, 1, 2 and so on [bar].
    allowed : array of float, shape (Z,)
        [bar].

    Returns
    -------
    DaysLeft

    Examples
    --------
    A bar a day from 2 bar, with an error of a bar, until 6 bar:

    >>> left = days_left(2.0 + np.arange(22.0)[:, None], np.ones((22, 1)), np.array([6.0]))
    >>> left.mean.tolist(), left.low.round(3).tolist(), left.high.round(3).tolist()
    ([4.0], [2.355], [5.645])
    """
    return DaysLeft(
        first_crossing(mean, allowed),
        first_crossing(mean + Z_90 * sd, allowed),
        first_crossing(mean - Z_90 * sd, allowed),
    )


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
