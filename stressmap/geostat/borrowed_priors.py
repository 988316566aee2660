"""Priors that ranches of one district lend each other, and what each tells for that; plain, known by name.

Ranches of one crop in one district differ less from each other than from all there may be. What the others'
readings tell of variances and range (``pooled_priors``) is the prior of a ranch with few readings: log-normal
each, as wide as ranches differ, never narrower than a floor. The ranch may still be unlike them all: the
priors it would have alone stay beside the borrowed ones, with the chance of that, and its readings decide
(``borrowed_fit``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.geostat.drying_by_soil import (
    LentOfSoil,
    ToldOfSoil,
    lent_as_plain,
    told_as_plain,
    told_from_plain,
)

NOISE = "noise"
"""Trees and error together, where the readings cannot tell them apart."""


@dataclass(frozen=True)
class LogNormal:
    """What ranches show of one parameter.

    Parameters
    ----------
    median : float
        Standard deviation [bar], range [m], or as its name has it.
    spread : float
        Standard deviation of the logarithm from ranch to ranch, with what is not known of the median.
    """

    median: float
    spread: float


@dataclass(frozen=True)
class BorrowedPriors:
    """What other ranches lend to one; plain, so that it pickles, hashes and goes into ``run.json``.

    Parameters
    ----------
    ranches, readings : int
        How many ranches lend, and the readings that they have; none: nothing is lent.
    parameters : mapping of str to LogNormal
        By name: ``block``, ``valve``, ``pattern``, ``tree``, ``error``, ``noise``, ``range``; where they have
        earlier visits ``lasting`` (share that lasts, spread of its log odds) and ``fading`` (days); where
        they have logs too ``drying`` (bar for each mm of dryness, spread as a share of it).
    alike : float
        Chance beforehand that a ranch is like the others.
    without_units : float
        Chance that one like them shows no effects of blocks and valve zones.
    soils : mapping of str to LentOfSoil
        How fast trees dry, and their water per bar, by soil.
    own : mapping, optional
        What the ranch that borrows told before, as :meth:`OwnEvidence.as_plain`, for its next record: what
        it tells for others must not depend on what it was lent.

    Examples
    --------
    >>> lent = BorrowedPriors(7, 500, {"range": LogNormal(80.0, 0.4)}, 0.8)
    >>> BorrowedPriors.from_plain(lent.as_plain()) == lent
    True
    >>> bool(lent), bool(BorrowedPriors())
    (True, False)
    """

    ranches: int = 0
    readings: int = 0
    parameters: Mapping[str, LogNormal] | None = None
    alike: float = 0.0
    without_units: float = 0.0
    soils: Mapping[str, LentOfSoil] = field(default_factory=dict)
    own: Mapping[str, Any] | None = None

    def __bool__(self) -> bool:
        """Whether anything is lent."""
        return bool(self.ranches and self.parameters)

    def as_plain(self) -> dict[str, Any]:
        """Give all as plain numbers and text."""
        plain = asdict(self)
        found = plain | {"parameters": dict(sorted((plain["parameters"] or {}).items()))}
        return found | {"soils": lent_as_plain(self.soils)}

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> BorrowedPriors:
        """Take what :meth:`as_plain` gave."""
        known = {name: LogNormal(**one) for name, one in (plain["parameters"] or {}).items()}
        soils = {name: LentOfSoil(**one) for name, one in plain["soils"].items()}
        return cls(**{**plain, "parameters": known or None, "soils": soils})


@dataclass(frozen=True)
class OwnEvidence:
    """What a ranch's own readings tell of its parameters, as sets weighted under its own weak priors.

    Parameters
    ----------
    readings : int
        How many there are.
    names : tuple of str, length k
        Of the parameters; the last is the range.
    points : array, shape (K, k)
        Logarithms of standard deviations [bar] and of the range [m], that of a Matérn 3/2 pattern.
    weight : array, shape (K,)
        Sum one.
    log_prior : array, shape (K, k)
        Logarithms of the weak priors' densities there, which are divided out where others' priors come in.
    without_units : float or None
        Logarithm of the odds for no effects of blocks and valve zones, by the readings alone; None where
        that is hopeless or nothing tells.
    borrowed : float
        Weight that borrowed priors had in the fit.
    series : mapping of str to (float, float)
        What earlier visits tell: from :func:`stressmap.geostat.series_evidence.series_evidence`.
    soils : mapping of str to ToldOfSoil
        What they tell of each soil, from :func:`stressmap.geostat.series_evidence.soil_evidence`.
    """

    readings: int
    names: tuple[str, ...]
    points: Floats
    weight: Floats
    log_prior: Floats
    without_units: float | None
    borrowed: float = 0.0
    series: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    soils: Mapping[str, ToldOfSoil] = field(default_factory=dict)

    def as_plain(self) -> dict[str, Any]:
        """Give all as plain numbers and text: a line for each set, logarithms, weight, priors."""
        rows = np.column_stack([self.points, self.weight, self.log_prior])
        return {
            "readings": self.readings,
            "names": list(self.names),
            "sets": [" ".join(f"{x:.5g}" for x in row) for row in rows],
            "without_units": None if self.without_units is None else round(self.without_units, 4),
            "series": {name: [round(x, 6) for x in two] for name, two in sorted(self.series.items())},
            "soils": told_as_plain(self.soils),
        }

    @classmethod
    def from_plain(cls, plain: Mapping[str, Any]) -> OwnEvidence:
        """Take what :meth:`as_plain` gave.

        Raises
        ------
        ValueError, KeyError, TypeError
            If it is not that.
        """
        names = tuple(str(name) for name in plain["names"])
        rows = np.array([[float(x) for x in line.split()] for line in plain["sets"]])
        k = len(names)
        rows = rows.reshape(-1, 2 * k + 1)
        weight = rows[:, k] / rows[:, k].sum()
        odds = plain["without_units"]
        series = {str(name): (float(m), float(se)) for name, (m, se) in plain["series"].items()}
        return cls(
            int(plain["readings"]),
            names,
            rows[:, :k],
            weight,
            rows[:, k + 1 :],
            None if odds is None else float(odds),
            series=series,
            soils=told_from_plain(plain["soils"]),
        )

    def column(self, name: str) -> Floats | None:
        """Return the logarithms of one parameter; of trees and error together wherever there are both."""
        if name == NOISE and name not in self.names and "error" in self.names:
            both = np.exp(2 * self.points[:, [self.names.index(n) for n in ("tree", "error")]])
            return np.asarray(0.5 * np.log(both.sum(axis=1)))
        return self.points[:, self.names.index(name)] if name in self.names else None
