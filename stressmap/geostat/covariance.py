"""Correlation functions of distance (spherical, exponential, Matérn, Gaussian) and the model's parameters.

Every correlation is 1 at distance 0 and falls with ``u = distance / range``; what *range* means is said for
each, because libraries differ: at distance 100 an exponential of range 300 is exp(-1/3) here and in GSTools,
and exp(-1) in PyKrige.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats

SQRT3 = float(np.sqrt(3.0))
SQRT5 = float(np.sqrt(5.0))


@dataclass(frozen=True)
class Correlation:
    """A correlation function of one parameter, the range.

    Parameters
    ----------
    name : str
        As in run.json.
    code : int
        Code of the correlation in the compiled kernels.
    of : callable
        Correlation of ``u = distance / range``, array to array.
    reach : float
        Beyond this ``u`` it is below 1e-12.

    Examples
    --------
    >>> MATERN32(np.array([0.0, 100.0]), 100.0).round(4).tolist()
    [1.0, 0.4834]
    """

    name: str
    code: int
    of: Callable[[Floats], Floats]
    reach: float

    def __call__(self, distance: Floats, range_m: float) -> Floats:
        """Return the correlation at some distances [m]."""
        return self.of(distance / range_m)


def _spherical(u: Floats) -> Floats:
    return np.where(u < 1, 1 - 1.5 * u + 0.5 * u**3, 0.0)


def _exponential(u: Floats) -> Floats:
    return np.asarray(np.exp(-u))


def _matern32(u: Floats) -> Floats:
    return np.asarray((1 + SQRT3 * u) * np.exp(-SQRT3 * u))


def _matern52(u: Floats) -> Floats:
    return np.asarray((1 + SQRT5 * u + 5 / 3 * u**2) * np.exp(-SQRT5 * u))


def _gaussian(u: Floats) -> Floats:
    return np.asarray(np.exp(-(u**2)))


SPHERICAL = Correlation("spherical", 0, _spherical, 1.0)
"""``1 - 3u/2 + u³/2``, 0 from the range on, where the sill is reached."""

EXPONENTIAL = Correlation("exponential", 1, _exponential, 27.7)
"""``exp(-u)``: 0.37 at the range, 0.05 at three ranges."""

MATERN12 = Correlation("matern 1/2", EXPONENTIAL.code, EXPONENTIAL.of, EXPONENTIAL.reach)
"""The exponential under its other name."""

MATERN32 = Correlation("matern 3/2", 2, _matern32, 18.2)
"""``(1 + √3·u)·exp(-√3·u)``: 0.48 at the range, 0.14 at two ranges."""

MATERN52 = Correlation("matern 5/2", 3, _matern52, 15.5)
"""``(1 + √5·u + 5u²/3)·exp(-√5·u)``: 0.52 at the range, 0.14 at two ranges."""

GAUSSIAN = Correlation("gaussian", 4, _gaussian, 5.3)
"""``exp(-u²)``: 0.37 at the range. Smoother than any orchard; there to check fits against others'."""

CORRELATIONS = {c.name: c for c in (SPHERICAL, EXPONENTIAL, MATERN12, MATERN32, MATERN52, GAUSSIAN)}


@dataclass(frozen=True)
class Parameters:
    """One set of variance components and the range.

    Parameters
    ----------
    block, valve, pattern, tree, error : float
        Variances [bar²] between blocks, between valve zones, of the pattern (partial sill), between trees,
        and of one leaf's reading.
    range_m : float
        Range of the pattern [m], as its correlation defines it.
    crop : float
        Variance between crops [bar²].

    Examples
    --------
    >>> Parameters(1.0, 0.5, 0.5, 0.75, 0.25, 80.0).noise
    1.0
    """

    block: float
    valve: float
    pattern: float
    tree: float
    error: float
    range_m: float
    crop: float = 0.0

    @property
    def noise(self) -> float:
        """Nugget variance, which is not mapped: tree and error [bar²]."""
        return self.tree + self.error

    @property
    def signal(self) -> float:
        """Variance of what is mapped, within a crop [bar²]."""
        return self.block + self.valve + self.pattern
