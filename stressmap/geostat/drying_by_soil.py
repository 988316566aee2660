"""Drying and water per bar by soil, pooled over ranches of one crop: what each tells, and what is lent.

How fast trees dry on a soil is an estimate with a known standard error, ranch by ranch; ``normal_pool`` gives
what the next ranch will have, with the spread from ranch to ranch. What soils usually do beside each other
counts as one ranch more, so that two ranches with few visits do not turn the order of soils round.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.normal_pool import pooled_normal

SANDY, CLAY = 1.25, 0.8
"""How much faster trees dry on sandy soils, and slower on clays, than on loams; a judgement, no source."""
MEASURES: Mapping[str, float] = {"sandy": SANDY, "loam": 1.0, "clay": CLAY}
"""By class of soil, in the order of its codes."""
SOILS = tuple(MEASURES)
LEAST_LENDERS = 2
"""Fewer ranches tell nothing of how much ranches differ on a soil."""
RANCHES_SHARE = 0.35
"""Usual spread of drying from ranch to ranch on one soil, as a share of the usual drying; a judgement."""
USUAL_SHARE = 0.3
"""Standard error of what a soil usually does, as a share; a judgement, no source."""
LEAST_SHARE = 0.3
"""Lent spreads are never less, as a share."""
LEAST_BAR_MM = 0.005
"""On a soil where trees hardly dry nothing is lent [bar/mm]."""
MOST_SE_BAR_MM = 0.05
"""An estimate with a larger standard error tells nothing: it is as large as a usual slope [bar/mm]."""


@dataclass(frozen=True)
class SoilZones:
    """Soils of W valve zones.

    Parameters
    ----------
    kind : array of int, shape (W,)
        Position in :data:`SOILS`.
    measure : array of float, shape (W,)
        By which dryness of each zone counts.
    per_water : array of float, shape (W,)
        Dryness that comes with each millimetre of water that the trees use, before that measure.
    """

    kind: Ints
    measure: Floats
    per_water: Floats


@dataclass(frozen=True)
class ToldOfSoil:
    """What a ranch's own visits tell of one soil, without what was believed beforehand.

    Parameters
    ----------
    bar_mm, se : float
        Rise of the trees for each millimetre of dryness, its soil not yet counted, and the standard error.
    per_water : float
        Dryness that comes with each millimetre of water that trees there use.
    cycles : int
        Irrigations with readings on both sides.
    """

    bar_mm: float
    se: float
    per_water: float
    cycles: int = 0


@dataclass(frozen=True)
class LentOfSoil:
    """What other ranches lend of one soil.

    Parameters
    ----------
    bar_mm, spread : float
        Rise of the trees for each millimetre of dryness, and its standard deviation at another ranch as a
        share of it.
    mm_per_bar, mm_spread : float
        Water that brings trees back by one bar [mm], and the standard deviation of its logarithm.
    ranches, cycles : int
        That told of it.
    """

    bar_mm: float
    spread: float
    mm_per_bar: float
    mm_spread: float
    ranches: int
    cycles: int

    def weight(self, told: ToldOfSoil | None) -> float:
        """Give the weight of what is lent beside what a ranch's own visits tell.

        Parameters
        ----------
        told : ToldOfSoil or None
            By the ranch that borrows; None where its visits tell nothing.

        Returns
        -------
        float
            By the precisions of both.

        Examples
        --------
        >>> lent = LentOfSoil(0.04, 0.25, 20.0, 0.25, 4, 30)
        >>> lent.weight(None), round(lent.weight(ToldOfSoil(0.05, 0.02, 1.0)), 6)
        (1.0, 0.8)
        """
        if told is None:
            return 1.0
        return float(told.se**2 / (told.se**2 + (self.spread * self.bar_mm) ** 2))


def told_as_plain(told: Mapping[str, ToldOfSoil]) -> dict[str, list[float]]:
    """Give what is told of each soil as plain numbers."""
    return {
        soil: [round(one.bar_mm, 6), round(one.se, 6), round(one.per_water, 4), one.cycles]
        for soil, one in sorted(told.items())
    }


def told_from_plain(plain: Mapping[str, Sequence[float]]) -> dict[str, ToldOfSoil]:
    """Take what :func:`told_as_plain` gave.

    Raises
    ------
    ValueError, TypeError
        If it is not that.
    """
    found = {}
    for soil, (bar_mm, se, per_water, cycles) in plain.items():
        if soil not in MEASURES or not 0.0 < float(se) < np.inf or not 0.0 < float(per_water) < np.inf:
            msg = "no soil, or no standard error"
            raise ValueError(msg)
        found[soil] = ToldOfSoil(float(bar_mm), float(se), float(per_water), int(cycles))
    return found


def lent_as_plain(lent: Mapping[str, LentOfSoil]) -> dict[str, dict[str, Any]]:
    """Give what is lent of each soil as plain numbers."""
    return {soil: asdict(one) for soil, one in sorted(lent.items())}


def pool_soils(told: Sequence[Mapping[str, ToldOfSoil]], bar_mm: float) -> dict[str, LentOfSoil]:
    """Pool what ranches tell of each soil.

    Parameters
    ----------
    told : sequence of mapping of str to ToldOfSoil
        Of every ranch that lends; never of the one that borrows.
    bar_mm : float
        Drying of all soils together, each by its usual measure [bar/mm].

    Returns
    -------
    dict of str to LentOfSoil
        Of soils that :data:`LEAST_LENDERS` or more tell of.

    Examples
    --------
    Three ranches on sand where trees dry twice as fast as usual:

    >>> told = [{"sandy": ToldOfSoil(x, 0.01, 1.0, 5)} for x in (0.11, 0.12, 0.13)]
    >>> lent = pool_soils(told, 0.05)["sandy"]
    >>> 0.10 < lent.bar_mm < 0.12, lent.ranches, lent.cycles
    (True, 3, 15)
    """
    found = {}
    for soil, measure in MEASURES.items():
        mine = [one[soil] for one in told if soil in one]
        if len(mine) < LEAST_LENDERS:
            continue
        slope, se, per_water = np.array([(one.bar_mm, one.se, one.per_water) for one in mine]).T
        usual = bar_mm * measure, USUAL_SHARE * bar_mm * measure
        mean, sd = pooled_normal(
            np.append(slope, usual[0]), np.append(se, usual[1]), RANCHES_SHARE * usual[0]
        )
        times = np.append(per_water, per_water.mean())
        relief, relief_sd = pooled_normal(
            times * np.append(slope, usual[0]),
            times * np.append(se, usual[1]),
            RANCHES_SHARE * usual[0] * float(per_water.mean()),
        )
        if min(mean, relief) > LEAST_BAR_MM:
            spreads = max(sd / mean, LEAST_SHARE), max(relief_sd / relief, LEAST_SHARE)
            cycles = sum(one.cycles for one in mine)
            found[soil] = LentOfSoil(mean, spreads[0], 1.0 / relief, spreads[1], len(mine), cycles)
    return found
