"""Sharing one volume between concave benefit curves, so that the last cubic metre brings each the same.

Curves are made concave and divided into segments of falling marginal benefit; water goes to the steepest
segment of any of them until it is used up. For concave curves and one volume that is the optimum of the
linear program: whoever is not held by a least or a most then has the same marginal benefit (the
equal-marginal principle).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from stressmap.core.arrays import Floats

CLOSE_M3 = 1e-6
"""Volumes closer than this are the same [m3]."""
WORTH = 1e-12
"""A segment that relieves less for its water is flat [ha·bar·d/m3]: its water stays where it is."""


def corners(amounts: Floats, benefit: Floats) -> list[int]:
    """Find the corners of the upper hull of a curve: of the least concave curve that is nowhere below it.

    Parameters
    ----------
    amounts : array of float, shape (k,)
        Rising; of equal ones the best counts.
    benefit : array of float, shape (k,)
        Of any shape.

    Returns
    -------
    list of int
        Their places.

    Examples
    --------
    >>> import numpy as np
    >>> corners(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 1.0, 4.0, 5.0]))
    [0, 2, 3]
    """
    kept: list[int] = []
    for i in range(len(amounts)):
        if kept and amounts[i] <= amounts[kept[-1]]:
            if benefit[i] <= benefit[kept[-1]]:
                continue
            kept.pop()
        while len(kept) >= 2 and _is_below(kept[-2], kept[-1], i, amounts, benefit):
            kept.pop()
        kept.append(i)
    return kept


def concave_hull(amounts: Floats, benefit: Floats) -> tuple[Floats, Floats]:
    """Give the upper hull of a curve.

    Parameters
    ----------
    amounts, benefit : array of float, shape (k,)
        As :func:`corners` takes them.

    Returns
    -------
    tuple of array of float
        Amounts and benefit of its corners.
    """
    kept = corners(amounts, benefit)
    return amounts[kept], benefit[kept]


def _is_below(a: int, b: int, c: int, amounts: Floats, benefit: Floats) -> bool:
    """Tell whether the middle one of three points is on or below the line between the others."""
    rise = (benefit[c] - benefit[a]) * (amounts[b] - amounts[a])
    return bool((benefit[b] - benefit[a]) * (amounts[c] - amounts[a]) <= rise)


def allocate(
    curves: Sequence[tuple[Floats, Floats]],
    volume_m3: float,
    least_m3: Floats,
    most_m3: Floats | None = None,
) -> tuple[Floats, float]:
    """Share a volume by the same marginal benefit, no share below its least nor above its most.

    Parameters
    ----------
    curves : sequence of (amounts, benefit), length n
        Concave, amounts rising from 0.
    volume_m3 : float
        Water there is [m3]; at least the sum of ``least_m3``.
    least_m3 : array of float, shape (n,)
        What each gets at least [m3].
    most_m3 : array of float, shape (n,), optional
        What each gets at most [m3].

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
    for slope, ranch, width in _segments(curves, shares, most_m3):
        taken = min(width, max(0.0, left))
        shares[ranch] += taken
        left -= taken
        if left <= CLOSE_M3:
            return shares, slope
    return shares, 0.0


def _segments(
    curves: Sequence[tuple[Floats, Floats]], least_m3: Floats, most_m3: Floats | None
) -> list[tuple[float, int, float]]:
    """List marginal benefit, ranch and water of what can be given beyond the least, the steepest first."""
    found = []
    for i, (amounts, benefit) in enumerate(curves):
        most = np.inf if most_m3 is None else most_m3[i]
        widths = np.diff(np.clip(amounts, least_m3[i], max(most, least_m3[i])))
        slopes = np.diff(benefit) / np.diff(amounts)
        parts = zip(slopes.tolist(), widths.tolist(), strict=True)
        found += [(s, i, w) for s, w in parts if w > 0 and s > WORTH]
    return sorted(found, key=lambda one: (-one[0], one[1]))


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
