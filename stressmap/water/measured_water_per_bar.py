"""Water per bar of a valve zone, measured between two visits where that can be told.

Soil, roots and wetted share give it within a factor of two. Two visits around a set give it too: what the
trees changed by, in one weather, against what the book says came and went. The two are put together by the
rule of Bayes on the logarithm, so that visits which tell little leave what was taken beforehand. A set may
also not have arrived, or in part only, which would look like much water per bar: where water should have
relieved the trees and their relief is not clearly above its error, nothing is measured.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from stressmap.core.arrays import Floats

PRIOR_LOG_SD = math.log(2.0)
"""Standard error of the logarithm of water per bar from soil, roots and wetted share: a factor of two. A
judgement after published cycles, which differ from it by so much (``root_zone``)."""
FACTORS: Floats = np.exp(PRIOR_LOG_SD * np.linspace(-3.0, 3.0, 73))
"""Times the water per bar taken beforehand, shape (73,): an eighth to eight times."""
NOT_ARRIVED = 0.05
"""Share of sets of the log that never reach the trees: a judgement, no source."""
CLEAR_SE = 3.0
"""Standard errors by which trees must have changed, the way the book says, for the change to be measured: a
figure that is to be sure within a factor of 1.5 cannot rest on a change known worse than to a third."""
MEASURED_LOG_SD = math.log(1.5)
"""A figure is called measured where it is sure within a factor of 1.5: a judgement, no source."""


@dataclass(frozen=True)
class WaterPerBar:
    """Water that brings the trees of a zone back by one bar.

    Parameters
    ----------
    mm : float
        [mm].
    log_sd : float
        Standard error of its logarithm.
    """

    mm: float
    log_sd: float

    @property
    def is_measured(self) -> bool:
        """Whether two visits tell it well enough to go before soil and roots."""
        return self.log_sd <= MEASURED_LOG_SD


def put_together(first: WaterPerBar, second: WaterPerBar) -> WaterPerBar:
    """Put two independent figures together, by their variances on the logarithm.

    Parameters
    ----------
    first, second : WaterPerBar
        Each with its own standard error.

    Returns
    -------
    WaterPerBar

    Examples
    --------
    >>> both = put_together(WaterPerBar(10.0, 0.4), WaterPerBar(20.0, 0.4))
    >>> round(both.mm, 2), round(both.log_sd, 3)
    (14.14, 0.283)
    """
    a, b = first.log_sd**-2, second.log_sd**-2
    log_mm = (a * math.log(first.mm) + b * math.log(second.mm)) / (a + b)
    return WaterPerBar(math.exp(log_mm), (a + b) ** -0.5)


def change_of_trees(
    below_bar: float,
    days: Iterable[tuple[float, float]],
    share_of_use: Callable[[Floats], Floats],
    zone: tuple[Floats, Floats],
) -> Floats:
    """Give what trees change by over some days, at several water per bar.

    Parameters
    ----------
    below_bar : float
        How far they are below the fully watered line at first [bar].
    days : iterable of (float, float)
        Full crop use, and rain and irrigation that count, of each day [mm].
    share_of_use : callable
        Stress coefficient at distances from the line [bar].
    zone : tuple of array of float, shape (k,)
        Water per bar, and what the root zone holds [mm].

    Returns
    -------
    array of float, shape (k,)
        [bar], positive is drier; what is over a full root zone drains.

    Examples
    --------
    >>> zone = np.array([8.0, 16.0]), np.array([80.0, 160.0])
    >>> change_of_trees(1.0, [(8.0, 0.0)] * 3 + [(8.0, 40.0)], np.ones_like, zone).tolist()
    [-1.0, -0.5]
    """
    per_bar, holds = zone
    missing = below_bar * per_bar
    for use, came in days:
        missing = np.minimum(holds, np.maximum(0.0, missing + use * share_of_use(missing / per_bar) - came))
    return np.asarray(missing / per_bar - below_bar)


def measured_between_visits(
    prior_mm: float, expected: tuple[Floats, Floats, Floats], seen: tuple[float, float]
) -> WaterPerBar:
    """Put what two visits tell together with what soil and roots give.

    Parameters
    ----------
    prior_mm : float
        Water per bar from soil, roots and wetted share [mm].
    expected : tuple of array of float, shape (73,)
        Change of the trees between the visits by the book, at each of :data:`FACTORS` of the water per bar:
        with the sets of the log, as if none had arrived, and the standard error that use and log leave
        [bar]; positive is drier.
    seen : tuple of float
        Change of the trees by the readings, and its standard error [bar].

    Returns
    -------
    WaterPerBar
        Mean and standard error of the logarithm, over a lognormal of a factor of two; as taken beforehand
        where the trees did not clearly change the way the book says.

    Examples
    --------
    60 mm more came than went, and the trees are 5 bar better: 12 mm a bar, whatever the soil says.

    >>> told = -60.0 / (8.0 * FACTORS), 30.0 / (8.0 * FACTORS), 4.0 / (8.0 * FACTORS)
    >>> found = measured_between_visits(8.0, told, (-5.0, 0.5))
    >>> round(found.mm), found.is_measured
    (12, True)

    Trees that stayed as they were, or dried: the set arrived in part at most, and no figure is taken from it.

    >>> [measured_between_visits(8.0, told, (bar, 0.5)).mm for bar in (0.0, -0.9, 3.0)]
    [8.0, 8.0, 8.0]
    """
    bar, se = seen
    if not _is_clear(expected[0], seen):
        return WaterPerBar(prior_mm, PRIOR_LOG_SD)
    log_factor = np.log(FACTORS)
    relieved, missed, book_se = expected
    error = np.hypot(se, book_se)
    arrived, not_arrived = (np.exp(-0.5 * ((bar - one) / error) ** 2) / error for one in (relieved, missed))
    chance = (1.0 - NOT_ARRIVED) * arrived + NOT_ARRIVED * not_arrived
    weight = chance * np.exp(-0.5 * (log_factor / PRIOR_LOG_SD) ** 2)
    if weight.sum() <= 0.0:
        return WaterPerBar(prior_mm, PRIOR_LOG_SD)
    weight = weight / weight.sum()
    mean = float(weight @ log_factor)
    sd = float(np.sqrt(weight @ (log_factor - mean) ** 2))
    return WaterPerBar(prior_mm * math.exp(mean), sd)


def _is_clear(relieved: Floats, seen: tuple[float, float]) -> bool:
    """Tell whether the trees changed the way the book says, by more than what their error explains."""
    by_book = float(relieved[int(np.argmin(np.abs(np.log(FACTORS))))])
    bar, se = seen
    return math.copysign(1.0, by_book) * bar > CLEAR_SE * se
