"""Options of a fit: prior distributions of variances and range, known measurement error, threads."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stressmap.geostat.borrowed_priors import BorrowedPriors


@dataclass(frozen=True)
class Priors:
    """Weakly informative priors of standard deviations [bar] and of the range [m].

    All figures are common practice, no source: stem water potential of one irrigation block commonly spans
    3 to 6 bar, two neighbouring trees commonly differ by about 1 bar, and a careful crew repeats an end point
    within about half a bar. With five readings the priors decide much, with fifty very little.

    Parameters
    ----------
    block_bar, valve_bar, pattern_bar : float
        Scale of the standard deviation between blocks, between valve zones of a block, and of the pattern
        within blocks [bar]; the prior of each standard deviation is a half-normal of this scale, so that
        zero is plausible too.
    crop_bar : float
        Standard deviation between crops [bar], not fitted.
    tree_bar, error_bar : float
        Median of the standard deviation from tree to tree and of one leaf's reading [bar].
    noise_spread : float
        Standard deviation of the logarithm of either; 0.5 means a factor of 2.7 either way in 95 of 100.
    range_m : float
        Median range of the pattern [m].
    range_spread : float
        Standard deviation of its logarithm.

    Examples
    --------
    >>> round(Priors().noise_bar, 2)
    1.12
    """

    block_bar: float = 2.0
    valve_bar: float = 1.5
    pattern_bar: float = 1.5
    crop_bar: float = 3.0
    tree_bar: float = 1.0
    error_bar: float = 0.5
    noise_spread: float = 0.5
    range_m: float = 100.0
    range_spread: float = 0.7

    @property
    def noise_bar(self) -> float:
        """Tree-to-tree difference and reading error together [bar]."""
        return float((self.tree_bar**2 + self.error_bar**2) ** 0.5)


@dataclass(frozen=True)
class SurfaceOptions:
    """How a surface is to be fitted.

    Parameters
    ----------
    reading_error_bar : float, optional
        Standard deviation of one reading of one leaf [bar], from rechecks and repeat leaves; None where
        it is not known.
    priors : Priors
        Prior distributions of the parameters.
    jobs : int
        Threads; the result does not depend on it.
    average : bool
        Whether the structured method averages over the uncertainty of its parameters, which keeps intervals
        calibrated when readings are few; False takes the posterior mode alone (plug-in).
    lent : BorrowedPriors, optional
        Priors that other ranches lend; an empty one asks only what the readings tell alone; None, as for a
        ranch by itself, neither.
    """

    reading_error_bar: float | None = None
    priors: Priors = field(default_factory=Priors)
    jobs: int = 1
    average: bool = True
    lent: BorrowedPriors | None = None
