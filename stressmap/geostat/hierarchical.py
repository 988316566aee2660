"""What is left when kriging is out of reach: block and ranch averages, with intervals that own up to it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.options import Priors
from stressmap.geostat.samples import Estimate, Places, Samples
from stressmap.geostat.zone_covariance import ZoneCovariance, constant_trend, universal_kriging_covariance

PRIOR_WEIGHT = 4.0
"""How many degrees of freedom the prior variances are worth beside the readings' own."""


@dataclass(frozen=True)
class VarianceComponents:
    """Variances of the averaging model.

    Parameters
    ----------
    crop, block, within, signal : float
        Between crops, between blocks of a crop, between readings of a block, and the part of the last that
        is signal, not tree and error [bar²].
    """

    crop: float
    block: float
    within: float
    signal: float


def variance_components(samples: Samples, priors: Priors) -> VarianceComponents:
    """Judge how far blocks, and readings within a block, lie apart.

    Pooled mean squares, the prior variances worth :data:`PRIOR_WEIGHT` further degrees of freedom: with five
    readings the prior speaks, with fifty the readings do. Derived here; the mean squares are those of the
    one-way analysis of variance.

    Parameters
    ----------
    samples : Samples
        At least one.
    priors : Priors
        What is plausible.

    Returns
    -------
    VarianceComponents
    """
    signal = priors.valve_bar**2 + priors.pattern_bar**2
    within = signal + priors.noise_bar**2
    group = _codes(samples.places.crop, samples.places.block)
    mean, count = _means(group, samples.value)
    squares = float(np.sum((samples.value - mean[group]) ** 2))
    pooled = (PRIOR_WEIGHT * within + squares) / (PRIOR_WEIGHT + len(samples) - len(count))
    crop_of = np.zeros(len(count), dtype=np.int64)
    crop_of[group] = _codes(samples.places.crop)
    centre, _ = _means(crop_of, mean)
    between = np.sum((mean - centre[crop_of]) ** 2 - pooled / count)
    freedom = len(count) - len(centre)
    block = (PRIOR_WEIGHT * priors.block_bar**2 + between) / (PRIOR_WEIGHT + freedom)
    floor = 0.05 * priors.block_bar**2
    return VarianceComponents(priors.crop_bar**2, max(float(block), floor), pooled, pooled * signal / within)


@dataclass(frozen=True)
class HierarchicalSurface:
    """Averages of blocks, drawn towards the average of their crop the more the fewer readings they have.

    Best linear prediction with a crop mean, a block effect and independent differences within the block; a
    block without a reading gets its crop's average, a crop without one the ranch's, each with the wider
    interval that follows.

    Parameters
    ----------
    samples : Samples
        At least one.
    spread : VarianceComponents
        Variances.
    method : str
        ``"block average"`` or ``"ranch average"``.
    notes : tuple of str
        Why it came to this.
    """

    samples: Samples
    spread: VarianceComponents
    method: str = "block average"
    notes: tuple[str, ...] = ()

    @cached_property
    def _sums(self) -> GroupSums:
        return GroupSums.of(self.samples)

    def predict(self, places: Places) -> Estimate:
        """Estimate the signal at points.

        Parameters
        ----------
        places : Places
            m of them.

        Returns
        -------
        Estimate
            Of m.
        """
        pairs = np.stack([places.crop, places.block], axis=1)
        kinds, which = np.unique(pairs, axis=0, return_inverse=True)
        table = np.array([self._sums.average(int(c), int(b), self.spread) for c, b in kinds]).reshape(-1, 2)
        which = which.reshape(-1)
        return Estimate(table[which, 0], table[which, 1] + self.spread.signal)

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones made of cells.

        The variance is that of a point: nothing is known here of how fast stress changes within a zone, so
        nothing of it may be averaged away.

        Parameters
        ----------
        places : Places
            Cell centres, m of them.
        zone : array of int, shape (m,)
            Zone of each cell, -1 for none.
        count : int
            Number of zones; a zone without a cell gets NaN.

        Returns
        -------
        Estimate
            Of ``count``.
        """
        cells = self.predict(places)
        inside = zone >= 0
        size = np.bincount(zone[inside], minlength=count).astype(float)
        size[size == 0] = np.nan
        mean, variance = (
            np.bincount(zone[inside], weights=v[inside], minlength=count) / size
            for v in (cells.mean, cells.variance)
        )
        return Estimate(mean, variance)

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the others.

        Returns
        -------
        predicted : array of float, shape (n,)
            [bar]; NaN where there is no other.
        z_score : array of float, shape (n,)
            (reading - predicted) / its standard error, the reading's own error included.
        """
        return self._predict_without(np.arange(len(self.samples)))

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; as :meth:`leave_one_out`."""
        return self._predict_without(self.samples.places.block)

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Tell the joint errors of zone means; as :meth:`Surface.zone_covariance`."""
        spread = self.spread

        def covariance(a: Places, b: Places) -> Floats:
            shared = spread.block * np.equal.outer(a.block, b.block)
            return np.asarray(shared + spread.crop * np.equal.outer(a.crop, b.crop))

        noise = spread.within * np.eye(len(self.samples))
        return universal_kriging_covariance(
            self.samples, (places, zone, count), covariance, noise, constant_trend
        )

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
        return {
            "method": self.method,
            "readings": len(self.samples),
            "block_sd_bar": round(self.spread.block**0.5, 4),
            "within_block_sd_bar": round(self.spread.within**0.5, 4),
        }

    def _predict_without(self, left_out: Ints) -> tuple[Floats, Floats]:
        places, value = self.samples.places, self.samples.value
        predicted, error = np.full(len(value), np.nan), np.ones(len(value))
        order = np.argsort(left_out, kind="stable")
        for out in np.split(order, np.flatnonzero(np.diff(left_out[order])) + 1):
            if len(out) == len(value):
                continue
            rest = self._sums.without(places.take(out), value[out])
            for i in out:
                predicted[i], doubt = rest.average(int(places.crop[i]), int(places.block[i]), self.spread)
                error[i] = doubt + self.spread.within
        return predicted, (value - predicted) / np.sqrt(error)


@dataclass(frozen=True)
class GroupSums:
    """What the averages of blocks are made of: work on them grows with the blocks, not with the readings.

    Parameters
    ----------
    crop, block : array of int, shape (k,)
        Codes of each crop in each block, sorted by both.
    total, count : array, shape (k,)
        Sum [bar] and number of its readings; none where all were left out.
    """

    crop: Ints
    block: Ints
    total: Floats
    count: Floats

    @classmethod
    def of(cls, samples: Samples) -> GroupSums:
        """Sum up some readings."""
        pairs = np.stack([samples.places.crop, samples.places.block], axis=1)
        kinds, which = np.unique(pairs, axis=0, return_inverse=True)
        which = which.reshape(-1)
        total = np.bincount(which, weights=samples.value).astype(float)
        return cls(kinds[:, 0], kinds[:, 1], total, np.bincount(which).astype(float))

    def without(self, places: Places, value: Floats) -> GroupSums:
        """Leave some of the readings out."""
        total, count = self.total.copy(), self.count.copy()
        for crop, block, one in zip(places.crop, places.block, value, strict=True):
            own = (self.crop == crop) & (self.block == block)
            total[own], count[own] = total[own] - one, count[own] - 1
        return GroupSums(self.crop, self.block, total, count)

    def average(self, crop: int, block: int, spread: VarianceComponents) -> tuple[float, float]:
        """Return mean [bar] and variance [bar²] of a block's average."""
        centre, doubt = self._centre(crop, spread)
        own = (self.crop == crop) & (self.block == block) & (self.count > 0)
        if not own.any():
            return centre, spread.block + doubt
        mean, count = float((self.total[own] / self.count[own])[0]), float(self.count[own][0])
        weight = count * spread.block / (count * spread.block + spread.within)
        return centre + weight * (mean - centre), (1 - weight) * spread.block + (1 - weight) ** 2 * doubt

    def _centre(self, crop: int, spread: VarianceComponents) -> tuple[float, float]:
        """Return mean [bar] and variance [bar²] of a crop's average; the ranch's where it has no reading."""
        there = self.count > 0
        own = there & (self.crop == crop)
        elsewhere = 0.0 if own.any() else spread.crop
        chosen = own if own.any() else there
        weight = 1.0 / (spread.block + spread.within / self.count[chosen])
        mean = self.total[chosen] / self.count[chosen]
        return float(np.sum(weight * mean) / weight.sum()), float(1.0 / weight.sum()) + elsewhere


def _codes(*columns: Ints) -> Ints:
    """Give the distinct rows of some columns numbers from 0."""
    _, which = np.unique(np.stack(columns, axis=1), axis=0, return_inverse=True)
    return which.reshape(-1).astype(np.int64)


def _means(group: Ints, value: Floats) -> tuple[Floats, Floats]:
    count = np.bincount(group).astype(float)
    return np.bincount(group, weights=value) / count, count
