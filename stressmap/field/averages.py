"""What is left when kriging is out of reach: block and ranch averages, with intervals that own up to it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from stressmap.field.joint import Joint, joint_errors, level
from stressmap.field.options import Priors
from stressmap.field.surface import Estimate, Floats, Ints, Places, Samples

PRIOR_WEIGHT = 4.0
"""How many degrees of freedom the prior variances are worth beside the readings' own."""


@dataclass(frozen=True)
class Spread:
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


def spread_of(samples: Samples, priors: Priors) -> Spread:
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
    Spread
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
    return Spread(priors.crop_bar**2, max(float(block), floor), pooled, pooled * signal / within)


@dataclass(frozen=True)
class AverageSurface:
    """Averages of blocks, drawn towards the average of their crop the more the fewer readings they have.

    Best linear prediction with a crop mean, a block effect and independent differences within the block; a
    block without a reading gets its crop's average, a crop without one the ranch's, each with the wider
    interval that follows.

    Parameters
    ----------
    samples : Samples
        At least one.
    spread : Spread
        Variances.
    method : str
        ``"block average"`` or ``"ranch average"``.
    notes : tuple of str
        Why it came to this.
    """

    samples: Samples
    spread: Spread
    method: str = "block average"
    notes: tuple[str, ...] = ()
    _blocks: dict[tuple[int, int], tuple[float, float]] = field(default_factory=dict, repr=False)

    def at(self, places: Places) -> Estimate:
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
        table = np.array([self._block(int(c), int(b)) for c, b in kinds]).reshape(-1, 2)
        which = which.reshape(-1)
        return Estimate(table[which, 0], table[which, 1] + self.spread.signal)

    def zone_means(self, places: Places, zone: Ints, count: int) -> Estimate:
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
        cells = self.at(places)
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

    def joint(self, places: Places, zone: Ints, count: int) -> Joint:
        """Tell the joint errors of zone means; as :meth:`stressmap.field.surface.Surface.joint`."""
        spread = self.spread

        def covariance(a: Places, b: Places) -> Floats:
            shared = spread.block * np.equal.outer(a.block, b.block)
            return np.asarray(shared + spread.crop * np.equal.outer(a.crop, b.crop))

        noise = spread.within * np.eye(len(self.samples))
        return joint_errors(self.samples, (places, zone, count), covariance, noise, level)

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``."""
        return {
            "method": self.method,
            "readings": len(self.samples),
            "block_sd_bar": round(self.spread.block**0.5, 4),
            "within_block_sd_bar": round(self.spread.within**0.5, 4),
        }

    def _predict_without(self, left_out: Ints) -> tuple[Floats, Floats]:
        places, predicted, error = (
            self.samples.places,
            np.empty(len(self.samples)),
            np.empty(len(self.samples)),
        )
        for group in np.unique(left_out):
            out = left_out == group
            if out.all():
                predicted[out], error[out] = np.nan, 1.0
                continue
            rest = AverageSurface(self.samples.take(~out), self.spread, self.method)
            there = rest.at(places.take(out))
            predicted[out] = there.mean
            error[out] = there.variance + self.spread.within - self.spread.signal
        return predicted, (self.samples.value - predicted) / np.sqrt(error)

    def _block(self, crop: int, block: int) -> tuple[float, float]:
        """Return mean [bar] and variance [bar²] of a block's average."""
        if (crop, block) not in self._blocks:
            centre, doubt = self._crop(crop)
            value = self.samples.value[
                (self.samples.places.block == block) & (self.samples.places.crop == crop)
            ]
            s = self.spread
            weight = len(value) * s.block / (len(value) * s.block + s.within)
            mean = centre + weight * (value.mean() - centre) if len(value) else centre
            self._blocks[crop, block] = (float(mean), (1 - weight) * s.block + (1 - weight) ** 2 * doubt)
        return self._blocks[crop, block]

    def _crop(self, crop: int) -> tuple[float, float]:
        """Return mean [bar] and variance [bar²] of a crop's average."""
        own = self.samples.places.crop == crop
        elsewhere = self.spread.crop if not own.any() else 0.0
        chosen = own if own.any() else np.ones_like(own)
        group = _codes(self.samples.places.block[chosen])
        mean, count = _means(group, self.samples.value[chosen])
        weight = 1.0 / (self.spread.block + self.spread.within / count)
        return float(np.sum(weight * mean) / weight.sum()), float(1.0 / weight.sum()) + elsewhere


def _codes(*columns: Ints) -> Ints:
    """Give the distinct rows of some columns numbers from 0."""
    _, which = np.unique(np.stack(columns, axis=1), axis=0, return_inverse=True)
    return which.reshape(-1).astype(np.int64)


def _means(group: Ints, value: Floats) -> tuple[Floats, Floats]:
    count = np.bincount(group).astype(float)
    return np.bincount(group, weights=value) / count, count
