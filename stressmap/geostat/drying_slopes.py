"""Slopes of readings with dryness: how many bar trees rise for each millimetre that their valve zone lacks.

A zone's slope is that of the ranch plus a part of its block and of itself, all normal with known spread, so
that slopes are nothing but more covariance: ``c·c'·(s0² + sb² [same block] + sv² [same valve zone])`` about a
mean of ``b0·c``, c the dryness.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.covariance import Parameters
from stressmap.geostat.drying_by_soil import LentOfSoil, SoilZones
from stressmap.geostat.kriging import GroupIndicators
from stressmap.geostat.samples import Places
from stressmap.geostat.variance_model import valve_groups

SLOPE_BAR_MM = 0.05
"""Prior mean of a ranch's slope [bar/mm]: 1.3 bar in a summer's four days without water; a judgement."""
SLOPE_SD = 0.03
"""Prior standard deviation of it [bar/mm]."""
BLOCK_SD, VALVE_SD = 0.25 * SLOPE_BAR_MM, 0.12 * SLOPE_BAR_MM
"""Standard deviations of what blocks and valve zones add; left free they run off where visits are few."""


@dataclass(frozen=True)
class SlopePriors:
    """What is believed of slopes beforehand.

    Parameters
    ----------
    bar_mm : float
        Mean of a ranch's slope [bar/mm].
    ranch, block, valve : float
        Standard deviation of it, and of what blocks and valve zones add [bar/mm].
    """

    bar_mm: float = SLOPE_BAR_MM
    ranch: float = SLOPE_SD
    block: float = BLOCK_SD
    valve: float = VALVE_SD

    @property
    def variances(self) -> Floats:
        """Return the three variances, shape (3,) [bar²/mm²]."""
        return np.asarray(np.array([self.ranch, self.block, self.valve]) ** 2)


USUAL_SLOPES = SlopePriors()
"""Of a ranch alone."""


@dataclass(frozen=True)
class DryingPriors:
    """What is believed of drying beforehand: of the ranch, and of each soil where others lend that.

    Parameters
    ----------
    slopes : SlopePriors
        Of the ranch, for dryness that counts by the measure of its soil.
    soils : mapping of str to LentOfSoil
        By class of soil.
    """

    slopes: SlopePriors = USUAL_SLOPES
    soils: Mapping[str, LentOfSoil] = field(default_factory=dict)

    @property
    def measures(self) -> dict[str, float]:
        """Return the measure by which dryness counts on the soils that are lent, about the ranch's slope."""
        return {soil: one.bar_mm / self.slopes.bar_mm for soil, one in self.soils.items()}


USUAL_DRYING = DryingPriors()
"""Of a ranch alone."""


@dataclass(frozen=True)
class Dryness:
    """How dry valve zones were, as trees feel it.

    Parameters
    ----------
    at_readings : array, shape (n,)
        Of the valve zone of each reading on its day [mm].
    of_valves : array, shape (V, W)
        Of every valve zone, by code, on the day of each visit [mm].
    slopes : SlopePriors
        What is believed of slopes with it.
    soils : SoilZones, optional
        The valve zones' soils, where drying by soil is wanted.
    """

    at_readings: Floats
    of_valves: Floats
    slopes: SlopePriors = USUAL_SLOPES
    soils: SoilZones | None = None

    def take(self, index: Ints) -> Dryness:
        """Return that of some of the readings."""
        return replace(self, at_readings=self.at_readings[index])

    def of_target(self, weight: tuple[float, ...]) -> Floats:
        """Return that of valve zones in a sum of visits, shape (W + 1,), last that of places without a valve.

        Parameters
        ----------
        weight : tuple of float
            How often each visit counts.
        """
        sums = np.array(weight) @ self.of_valves
        return np.append(sums, sums.mean() if len(sums) else 0.0)


def shared_slopes(a: Places, b: Places, slopes: SlopePriors = USUAL_SLOPES) -> Floats:
    """Give the covariance of slopes between places, shape (len(a), len(b)) [bar²/mm²]."""
    groups = valve_groups(a.block, a.valve), valve_groups(b.block, b.valve)
    ranch, block, valve = slopes.variances
    total = ranch + block * np.equal.outer(a.block, b.block) + valve * np.equal.outer(*groups)
    return np.asarray(total)


def slope_variance(places: Places, of_valves: Floats, slopes: SlopePriors = USUAL_SLOPES) -> float:
    """Give the variance that slopes add beforehand to the mean over some places [bar²].

    Parameters
    ----------
    places : Places
        m of them.
    of_valves : array, shape (W + 1,)
        Dryness by valve zone, from :meth:`Dryness.of_target`.
    slopes : SlopePriors
        What is believed beforehand.

    Returns
    -------
    float
    """
    mm = of_valves[places.valve]
    codes = (np.zeros(1, dtype=np.int64), places.block, valve_groups(places.block, places.valve))
    sums = [float(np.sum(_sums_by(code, mm)[1] ** 2)) for code in codes]
    return float(slopes.variances @ sums) / len(places) ** 2


def _sums_by(code: Ints, mm: Floats) -> tuple[Ints, Floats]:
    """Return the different codes, sorted, and the sum of each one's mm; one code mostly holds them all."""
    if (code == code[0]).all():
        return code[:1], np.array([mm.sum()])
    kinds, at = np.unique(code, return_inverse=True)
    return kinds, np.bincount(at.reshape(-1), weights=mm).astype(float)


@dataclass(frozen=True)
class SlopedIndicators(GroupIndicators):
    """Groups of a system's readings with the slope columns behind: of the ranch, of blocks, of valve groups.

    Parameters
    ----------
    of_valves : array, shape (W + 1,)
        Dryness of what is predicted, by valve zone.
    slopes : SlopePriors
        What is believed beforehand.
    """

    of_valves: Floats = field(default_factory=lambda: np.zeros(1))
    slopes: SlopePriors = USUAL_SLOPES

    @property
    def fading(self) -> Floats:
        """Which columns fade with the days between: blocks and valve groups, not slopes; 1 or 0."""
        groups = len(self.block) + len(self.valve)
        return np.repeat([1.0, 0.0], [groups, groups + 1])

    def of_readings(self, places: Places, mm: Floats) -> Floats:
        """Return the columns of readings, each with its own dryness."""
        groups = GroupIndicators.design_matrix(self, places)
        return np.column_stack([groups, mm, mm[:, None] * groups])

    def design_matrix(self, places: Places) -> Floats:
        """Return the columns of what is predicted at some places; as the base's."""
        return self.of_readings(places, self.of_valves[places.valve])

    def mean_design(self, places: Places) -> Floats:
        """Return the mean of :meth:`design_matrix` over some places; as the base's."""
        mm = self.of_valves[places.valve]
        parts: list[Floats] = [GroupIndicators.mean_design(self, places), mm.mean(keepdims=True)]
        valve = valve_groups(places.block, places.valve)
        for code, among in ((places.block, self.block), (valve, self.valve)):
            kinds, sums = _sums_by(code, mm)
            parts.append((among[:, None] == kinds) @ sums / len(places))
        return np.concatenate(parts)

    def variances(self, parameters: Parameters) -> Floats:
        """Return the variance of each column; as the base's, of slopes [bar²/mm²]."""
        slopes = np.repeat(self.slopes.variances, (1, len(self.block), len(self.valve)))
        return np.concatenate([GroupIndicators.variances(self, parameters), slopes])
