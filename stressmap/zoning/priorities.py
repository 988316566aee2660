"""Classification of stress into four priorities, with the probability of each class under a normal error."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

Edges = tuple[float, float, float]


def priority(stress_bar: ArrayLike, edges_bar: Edges) -> NDArray[np.int64]:
    """Classify stress by the edges: 1 over the highest, 4 up to the lowest.

    Parameters
    ----------
    stress_bar : array of float, any shape
        The ranked figure, positive is drier [bar]; finite.
    edges_bar : tuple of three floats
        Rising edges [bar]; a figure equal to an edge belongs to the wetter class.

    Returns
    -------
    array of int
        1 to 4, same shape.

    Raises
    ------
    ValueError
        If a figure is not finite: a priority is never guessed.

    Examples
    --------
    >>> priority([5.0, 4.0, 2.0, 0.0], (0.0, 2.0, 4.0))
    array([1, 2, 3, 4])
    """
    stress = np.asarray(stress_bar, dtype=float)
    if not np.isfinite(stress).all():
        msg = "stress_bar holds figures that are not finite"
        raise ValueError(msg)
    return (4 - np.searchsorted(np.asarray(edges_bar), stress, side="left")).astype(np.int64)


def probability_over(mean_bar: ArrayLike, se_bar: ArrayLike, edge_bar: float) -> NDArray[np.float64]:
    """Give the probability that the true figure is over an edge, for a normal error.

    Parameters
    ----------
    mean_bar, se_bar : array of float, shape (m,)
        Estimate and its standard error [bar]; with a standard error of 0 the estimate is the truth.
    edge_bar : float
        [bar].

    Returns
    -------
    array of float, shape (m,)
        0 to 1.

    Examples
    --------
    >>> probability_over([4.0], [0.0], 4.0)
    array([0.])
    """
    mean, se = np.asarray(mean_bar, dtype=float), np.asarray(se_bar, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        p: NDArray[np.float64] = ndtr((mean - edge_bar) / se)
    return np.where(se > 0, p, (mean > edge_bar).astype(float))


def probabilities(mean_bar: ArrayLike, se_bar: ArrayLike, edges_bar: Edges) -> NDArray[np.float64]:
    """Give the probability of each of the four priorities.

    Parameters
    ----------
    mean_bar, se_bar : array of float, shape (m,)
        Estimate and its standard error [bar].
    edges_bar : tuple of three floats
        Rising edges [bar].

    Returns
    -------
    array of float, shape (m, 4)
        Columns for priority 1 to 4; rows sum to one.

    Examples
    --------
    >>> probabilities([3.0], [1e-9], (0.0, 2.0, 4.0)).round(3)
    array([[0., 1., 0., 0.]])
    """
    e1, e2, e3 = (probability_over(mean_bar, se_bar, edge) for edge in edges_bar)
    shares: NDArray[np.float64] = np.stack([e3, e2 - e3, e1 - e2, 1 - e1], axis=-1)
    return np.clip(shares, 0.0, 1.0)
