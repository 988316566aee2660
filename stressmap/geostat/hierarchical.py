"""Hierarchical means (random effects of crop and block): the fallback where readings are too few to krige."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Note
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
    """Estimate the variance between blocks and within a block.

    Pooled mean squares, the prior variances worth :data:`PRIOR_WEIGHT` further degrees of freedom: with five
    readings the prior dominates, with fifty the readings do. Derived here; the mean squares are those of the
    one-way analysis of variance.

    Parameters
    ----------
    samples : Samples
        At least one.
    priors : Priors
        Prior distributions.

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
    """Block means, shrunken towards the mean of their crop, the more the fewer readings they have.

    Best linear prediction with a crop mean, a block effect and independent differences within the block; a
    block without a reading gets its crop's average, a crop without one the ranch's, each with the wider
    interval that follows.

    Parameters
    ----------
    samples : Samples
        At least one.
    components : VarianceComponents
        Variances.
    method : str
        ``"block average"`` or ``"ranch average"``.
    notes : tuple of Note
        Why kriging was not possible.
    """

    samples: Samples
    components: VarianceComponents
    method: str = "block average"
    notes: tuple[Note, ...] = ()

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
        groups, which = np.unique(pairs, axis=0, return_inverse=True)
        table = np.array(
            [self._sums.shrunken_mean(int(c), int(b), self.components) for c, b in groups]
        ).reshape(-1, 2)
        which = which.reshape(-1)
        return Estimate(table[which, 0], table[which, 1] + self.components.signal)

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones made of cells.

        The variance is that of a point: the spatial correlation within a zone is not known here, so
        no variance is averaged out.

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
        return self._leave_out(np.arange(len(self.samples)))

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; as :meth:`leave_one_out`."""
        return self._leave_out(self.samples.places.block)

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of zone means' errors; as :meth:`Surface.zone_covariance`."""
        components = self.components

        def covariance(a: Places, b: Places) -> Floats:
            shared = components.block * np.equal.outer(a.block, b.block)
            return np.asarray(shared + components.crop * np.equal.outer(a.crop, b.crop))

        noise = components.within * np.eye(len(self.samples))
        return universal_kriging_covariance(
            self.samples, (places, zone, count), covariance, noise, constant_trend
        )

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
        return {
            "method": self.method,
            "readings": len(self.samples),
            "block_sd_bar": round(self.components.block**0.5, 4),
            "within_block_sd_bar": round(self.components.within**0.5, 4),
        }

    def _leave_out(self, left_out: Ints) -> tuple[Floats, Floats]:
        places, value = self.samples.places, self.samples.value
        predicted, error = np.full(len(value), np.nan), np.ones(len(value))
        order = np.argsort(left_out, kind="stable")
        for out in np.split(order, np.flatnonzero(np.diff(left_out[order])) + 1):
            if len(out) == len(value):
                continue
            rest = self._sums.without(places.take(out), value[out])
            for i in out:
                predicted[i], mean_variance = rest.shrunken_mean(
                    int(places.crop[i]), int(places.block[i]), self.components
                )
                error[i] = mean_variance + self.components.within
        return predicted, (value - predicted) / np.sqrt(error)


@dataclass(frozen=True)
class GroupSums:
    """Sums and counts of readings by crop and block; work on them grows with the blocks, not the readings.

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
        groups, which = np.unique(pairs, axis=0, return_inverse=True)
        which = which.reshape(-1)
        total = np.bincount(which, weights=samples.value).astype(float)
        return cls(groups[:, 0], groups[:, 1], total, np.bincount(which).astype(float))

    def without(self, places: Places, value: Floats) -> GroupSums:
        """Leave some of the readings out."""
        total, count = self.total.copy(), self.count.copy()
        for crop, block, one in zip(places.crop, places.block, value, strict=True):
            own = (self.crop == crop) & (self.block == block)
            total[own], count[own] = total[own] - one, count[own] - 1
        return GroupSums(self.crop, self.block, total, count)

    def shrunken_mean(self, crop: int, block: int, components: VarianceComponents) -> tuple[float, float]:
        """Return mean [bar] and variance [bar²] of a block's average."""
        centre, mean_variance = self._crop_mean(crop, components)
        own = (self.crop == crop) & (self.block == block) & (self.count > 0)
        if not own.any():
            return centre, components.block + mean_variance
        mean, count = float((self.total[own] / self.count[own])[0]), float(self.count[own][0])
        weight = count * components.block / (count * components.block + components.within)
        return centre + weight * (mean - centre), (1 - weight) * components.block + (
            1 - weight
        ) ** 2 * mean_variance

    def _crop_mean(self, crop: int, components: VarianceComponents) -> tuple[float, float]:
        """Return mean [bar] and variance [bar²] of a crop's average; the ranch's where it has no reading."""
        there = self.count > 0
        own = there & (self.crop == crop)
        elsewhere = 0.0 if own.any() else components.crop
        chosen = own if own.any() else there
        weight = 1.0 / (components.block + components.within / self.count[chosen])
        mean = self.total[chosen] / self.count[chosen]
        return float(np.sum(weight * mean) / weight.sum()), float(1.0 / weight.sum()) + elsewhere


def _codes(*columns: Ints) -> Ints:
    """Give the distinct rows of some columns numbers from 0."""
    _, which = np.unique(np.stack(columns, axis=1), axis=0, return_inverse=True)
    return which.reshape(-1).astype(np.int64)


def _means(group: Ints, value: Floats) -> tuple[Floats, Floats]:
    count = np.bincount(group).astype(float)
    return np.bincount(group, weights=value) / count, count
