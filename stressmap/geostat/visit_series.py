"""Readings of several visits, and the levels that they scatter about: one for each visit and crop."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.drying_slopes import Dryness, slope_variance
from stressmap.geostat.samples import Places, Samples
from stressmap.geostat.trend import MeanModel


@dataclass(frozen=True)
class VisitSeries:
    """Readings of several visits, those of the last one last.

    Parameters
    ----------
    samples : Samples
        n readings; a tree has one code at all visits.
    visit : array of int, shape (n,)
        Which visit, never falling.
    day : array, shape (V,)
        Of each visit, rising [days].
    dryness : Dryness, optional
        Where a log and the weather tell it.

    Raises
    ------
    ValueError
        If visits or days are out of order, or a visit has no reading.
    """

    samples: Samples
    visit: Ints
    day: Floats
    dryness: Dryness | None = None

    def __post_init__(self) -> None:
        """Hold the order."""
        if (np.diff(self.visit) < 0).any() or (np.diff(self.day) <= 0).any():
            msg = "visits are not in the order of their days"
            raise ValueError(msg)
        if not np.array_equal(np.unique(self.visit), np.arange(len(self.day))):
            msg = "a visit has no reading"
            raise ValueError(msg)

    @classmethod
    def of(cls, samples: Samples, visit: Ints, day: Floats, dryness: Dryness | None = None) -> VisitSeries:
        """Make one with every tree at one place, that of its last reading: receivers wander by metres."""
        code, at = np.unique(samples.tree, return_inverse=True)
        last = np.zeros(len(code), dtype=np.int64)
        last[at] = np.arange(len(at))
        known = samples.tree >= 0
        xy = np.where(known[:, None], samples.places.xy[last[at]], samples.places.xy)
        return cls(replace(samples, places=replace(samples.places, xy=xy)), visit, day, dryness)

    def __len__(self) -> int:
        """Return how many visits there are."""
        return len(self.day)

    @property
    def days_between(self) -> Floats:
        """Days between each two visits, shape (V, V)."""
        return np.abs(np.subtract.outer(self.day, self.day))

    @property
    def today(self) -> Ints:
        """Which readings are of the last visit."""
        return np.flatnonzero(self.visit == len(self.day) - 1)

    def with_doubt(self, doubt: Floats | None) -> VisitSeries:
        """Let some readings of the last visit count less, besides those of earlier ones.

        Parameters
        ----------
        doubt : array or None
            Variance of the error of each of the last visit's beyond that of all readings [bar²].

        Returns
        -------
        VisitSeries
        """
        if doubt is None:
            return self
        known = self.samples.doubt
        total = np.zeros(len(self.samples)) if known is None else known.copy()
        total[self.today] = doubt
        return replace(self, samples=replace(self.samples, doubt=total))

    @property
    def beside_dryness(self) -> Floats:
        """The readings less what dryness is expected to do, shape (n,) [bar]."""
        if self.dryness is None:
            return self.samples.value
        return np.asarray(self.samples.value - self.dryness.slopes.bar_mm * self.dryness.at_readings)

    def level(self) -> Floats:
        """Give the mean reading of each visit, beside dryness, shape (V,) [bar]."""
        return np.bincount(self.visit, weights=self.beside_dryness) / np.bincount(self.visit)

    def centred(self) -> Samples:
        """Give the readings, beside dryness, about 0 at each visit."""
        return replace(self.samples, value=self.beside_dryness - self.level()[self.visit])

    def last_alone(self) -> VisitSeries:
        """Give the last visit as a series of its own."""
        index = self.today
        dryness = self.dryness
        if dryness is not None:
            dryness = replace(dryness.take(index), of_valves=dryness.of_valves[-1:])
        return VisitSeries(
            self.samples.take(index), np.zeros(len(index), dtype=np.int64), self.day[-1:], dryness
        )


@dataclass(frozen=True)
class VisitLevels(MeanModel):
    """Model of the mean of one visit, or of the difference of two: a level for each visit and crop.

    The base's ``crop`` holds the crops of all columns, visit after visit.

    Parameters
    ----------
    levels : tuple of MeanModel
        One for each visit: its crops.
    weight : tuple of float
        How often each visit counts in what is predicted: 1 for the last, or 1 and -1 for a change.
    dryness : Dryness or None
        Of the visits.
    """

    levels: tuple[MeanModel, ...] = ()
    weight: tuple[float, ...] = ()
    dryness: Dryness | None = None

    @classmethod
    def of(cls, series: VisitSeries, variance: float, *, covariate: bool) -> VisitLevels:
        """Make the model of the last of some visits."""
        crop, count = series.samples.places.crop, len(series)
        levels = tuple(MeanModel(np.unique(crop[series.visit == v]), variance) for v in range(count))
        columns = np.concatenate([level.crop for level in levels])
        return cls(columns, variance, covariate, levels, (*[0.0] * (count - 1), 1.0), series.dryness)

    def since_before(self) -> VisitLevels:
        """Make the model of the change from the last visit but one to the last."""
        return self._since_before

    @cached_property
    def _since_before(self) -> VisitLevels:
        """That model, one for all systems, whose dryness of all valve zones is then one array."""
        return replace(self, weight=(*[0.0] * (len(self.levels) - 2), -1.0, 1.0))

    def slope_mm(self) -> Floats | None:
        """Return the dryness of what is predicted, by valve zone; None without a log."""
        return self._slope_mm

    @cached_property
    def _slope_mm(self) -> Floats | None:
        """That dryness, worked out once: it is asked for zone by zone, and is of all zones."""
        return None if self.dryness is None else self.dryness.of_target(self.weight)

    def of_readings(self, places: Places, visit: Ints, drift: Floats) -> Floats:
        """Return the trend functions of readings at their own visits, shape (n, C + 1)."""
        parts = [
            level.design_matrix(places, drift)[:, :-1] * (visit == v)[:, None]
            for v, level in enumerate(self.levels)
        ]
        return np.column_stack([*parts, drift])

    def design_matrix(self, places: Places, drift: Floats) -> Floats:
        """Return the trend functions of what is predicted; as the base's."""
        parts = [
            w * level.design_matrix(places, drift)[:, :-1]
            for w, level in zip(self.weight, self.levels, strict=True)
        ]
        return np.column_stack([*parts, sum(self.weight) * drift])

    def mean_design(self, places: Places, drift: Floats) -> Floats:
        """Return the mean of :meth:`design_matrix` over some places; as the base's."""
        parts = [
            w * level.mean_design(places, drift)[:-1]
            for w, level in zip(self.weight, self.levels, strict=True)
        ]
        return np.concatenate([*parts, [sum(self.weight) * float(drift.mean())]])

    def unseen_crop_variance(self, places: Places) -> float:
        """Return the variance [bar²] that crops without a reading add, and slopes; as the base's."""
        pairs = zip(self.weight, self.levels, strict=True)
        total = float(sum(w**2 * level.unseen_crop_variance(places) for w, level in pairs if w))
        mm = self.slope_mm()
        if mm is None or self.dryness is None:
            return total
        return total + slope_variance(places, mm, self.dryness.slopes)

    def prior_precision(self) -> Floats:
        """Return the prior precision [1/bar²]: at each visit crops vary about a level with a flat prior."""
        total = np.zeros((len(self.crop) + 1, len(self.crop) + 1))
        start = 0
        for level in self.levels:
            end = start + len(level.crop)
            total[start:end, start:end] = level.prior_precision()[:-1, :-1]
            start = end
        total[-1, -1] = 0.0 if self.covariate else 1.0
        return total
