"""How urgent a zone is on its crop's own scale, so that zones of different crops stand in one order."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from stressmap.core.arrays import Floats
from stressmap.zoning.priorities import Edges

AT_LIMIT = 4.0


def limit_of(edges_bar: Edges, limit_bar: ArrayLike) -> Floats:
    """Give where on the ranked figure the crop is harmed, never under the edge of priority 1.

    Parameters
    ----------
    edges_bar : tuple of three floats
        Rising edges between the priorities [bar].
    limit_bar : array of float, any shape
        The crop's limit on the ranked figure [bar]; NaN where it has none.

    Returns
    -------
    array of float, same shape
        [bar]; NaN where there is none.

    Examples
    --------
    >>> limit_of((0.0, 2.0, 4.0), [6.0, 3.0, np.nan])
    array([ 6.,  4., nan])
    """
    return np.maximum(np.asarray(limit_bar, dtype=np.float64), edges_bar[2])


def urgency(stress_bar: ArrayLike, edges_bar: Edges, limit_bar: ArrayLike) -> Floats:
    """Place a figure on its crop's own scale: 1, 2 and 3 at the edges, 4 at the limit, straight between.

    Below the first edge and past the limit the scale goes on: at the pace between the first two edges, and at
    that between the last two. Without a limit 4 is neared from the last edge on, never reached, so that what
    is past its limit stands first.

    Parameters
    ----------
    stress_bar : array of float, shape (k,)
        The ranked figure, positive is drier [bar].
    edges_bar : tuple of three floats
        Rising edges between the priorities [bar].
    limit_bar : array of float, shape (k,)
        The crop's limit on the ranked figure [bar]; NaN where it has none.

    Returns
    -------
    array of float, shape (k,)
        Rises with stress; over 3 is priority 1.

    Examples
    --------
    >>> urgency([-2.0, 0.0, 1.0, 4.0, 7.0, 12.0], (0.0, 2.0, 4.0), np.full(6, 10.0)).round(2).tolist()
    [0.0, 1.0, 1.5, 3.0, 3.5, 5.0]
    """
    stress = np.asarray(stress_bar, dtype=np.float64)
    e1, e2, e3 = edges_bar
    limit = limit_of(edges_bar, limit_bar)
    inside = np.interp(stress, edges_bar, (1.0, 2.0, 3.0))
    below = 1.0 + (stress - e1) / (e2 - e1)
    pace = 1.0 / (e3 - e2)
    room = np.where(limit > e3, limit - e3, np.nan)
    to_limit = np.where(np.isnan(room), np.nan, 3.0 + (stress - e3) / room)
    past = AT_LIMIT + (stress - limit) * pace
    # without a limit nobody can say that the crop is past it: 4 is neared, never reached
    short_of_limit = AT_LIMIT - np.exp(-np.maximum(stress - e3, 0.0) * pace)
    over = np.where(np.isnan(limit), short_of_limit, np.where(stress > limit, past, to_limit))
    return np.asarray(np.where(stress < e1, below, np.where(stress > e3, over, inside)))
