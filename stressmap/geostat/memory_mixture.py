"""Never worse than the last visit alone: the map with memory and the one without, mixed block by block.

Each block's readings of the last visit judge between the two, every tree left out at all its visits: with D
the sum of differences of log scores, the map with memory has the share ``r = w / (w + (1 - w)·exp(-D))``,
where w, how often memory holds on this ranch, comes of all blocks by expectation-maximisation. Where a block
is not what it was, its earlier visits hardly count.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from scipy.linalg import LinAlgError

from stressmap.core.arrays import Floats, Ints
from stressmap.core.notes import Note
from stressmap.geostat.cross_validation import score
from stressmap.geostat.earlier_doubts import with_earlier_doubts
from stressmap.geostat.leave_one_out import LOG_2PI
from stressmap.geostat.mixed_model_kriging import StructuredSurface
from stressmap.geostat.mixtures import mixed, mixed_paths
from stressmap.geostat.samples import Estimate, Places
from stressmap.geostat.space_time_fit import SpaceTimeFit
from stressmap.geostat.space_time_surface import SpaceTimeSurface
from stressmap.geostat.surface import Surface
from stressmap.geostat.visit_series import VisitSeries
from stressmap.geostat.visits_foretold import VisitForetold, foretell
from stressmap.geostat.zone_covariance import ZoneCovariance
from stressmap.geostat.zone_paths import ZonePaths

MOST_EVIDENCE = 12.0
"""Bound of D: no block's readings speak louder, however odd one of them is."""
USUAL_SHARE = 0.8
"""Prior mean of w."""
PRIOR_BLOCKS = 5.0
"""How many blocks that prior is worth."""
NEWS = 0.3
"""A block whose share is less is not what it was."""


def log_scores(value: Floats, predicted: Floats, z_score: Floats) -> Floats:
    """Give the log score of predictions of readings: the normal log density at the reading.

    Parameters
    ----------
    value, predicted : array, shape (n,)
        [bar].
    z_score : array, shape (n,)
        (value - predicted) / standard error.

    Returns
    -------
    array, shape (n,)
        NaN where nothing was predicted.

    Examples
    --------
    >>> log_scores(np.array([1.0]), np.array([0.0]), np.array([1.0])).round(4).tolist()
    [-1.4189]
    """
    miss = value - predicted
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(-0.5 * (LOG_2PI + z_score**2) - np.log(np.abs(miss / z_score)))


def memory_shares(evidence: Floats) -> tuple[Floats, float]:
    """Give the share of the map with memory in each block.

    Parameters
    ----------
    evidence : array, shape (B,)
        D of each block with readings: log scores with memory less those without, summed.

    Returns
    -------
    share : array, shape (B,)
        r of each.
    usual : float
        w, for blocks without readings.

    Examples
    --------
    >>> share, usual = memory_shares(np.zeros(3))
    >>> share.round(2).tolist(), round(usual, 2)
    ([0.8, 0.8, 0.8], 0.8)
    """
    odds = np.asarray(np.exp(-np.clip(evidence, -MOST_EVIDENCE, MOST_EVIDENCE)))
    usual = USUAL_SHARE
    for _ in range(200):
        share = usual / (usual + (1 - usual) * odds)
        usual = float((share.sum() + USUAL_SHARE * PRIOR_BLOCKS) / (len(share) + PRIOR_BLOCKS))
    return np.asarray(usual / (usual + (1 - usual) * odds)), usual


def _as_estimate(value: Floats, predicted: Floats, z_score: Floats) -> Estimate:
    """Turn z-scores back into variances; a reading hit exactly tells none and gets the least."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return Estimate(predicted, np.where(z_score == 0, 0.0, ((value - predicted) / z_score) ** 2))


@dataclass(frozen=True)
class Recalled:
    """What memory came to.

    Parameters
    ----------
    visits : int
        Earlier visits that took part.
    readings : int
        Readings of theirs.
    lasting_share, lasting_share_sd : float
        How much of the variance of differences lasts, and its standard deviation.
    fading_days : float
        In which the rest falls to 0.37 [days].
    without_bar, with_bar : float
        Root mean square error of left-out trees' readings of the last visit [bar].
    score_gain : float
        Mean log score of those with memory less that without.
    usual_share : float
        How often memory holds on this ranch.
    share : dict of int to float
        Share of memory in each block with readings, by code.
    foretold : tuple of VisitForetold
        How each visit but the first is predicted from those before it.
    log : tuple of float or None
        Root mean square error of left-out readings of the last visit alone without the log and with it; None
        where there is none [bar].
    """

    visits: int
    readings: int
    lasting_share: float
    lasting_share_sd: float
    fading_days: float
    without_bar: float
    with_bar: float
    score_gain: float
    usual_share: float
    share: dict[int, float]
    foretold: tuple[VisitForetold, ...] = ()
    log: tuple[float, float] | None = None

    @property
    def news(self) -> tuple[int, ...]:
        """Codes of blocks that are not what they were."""
        return tuple(code for code, share in sorted(self.share.items()) if share < NEWS)

    def of_blocks(self, block: Ints) -> Floats:
        """Return the share of memory at places in some blocks."""
        kinds, at = np.unique(block, return_inverse=True)
        shares = np.array([self.share.get(int(b), self.usual_share) for b in kinds])
        return np.asarray(shares[at.reshape(-1)])


class MemorySurface:
    """The structured method of the last visit, mixed block by block with the one of all visits.

    Parameters
    ----------
    memory : SpaceTimeSurface
        Fitted to all visits.
    today : StructuredSurface
        Fitted to the last one alone.

    Attributes
    ----------
    apart : StructuredSurface
        What is mixed with the memory: the last visit alone, with its dryness where that is known.
    """

    def __init__(self, memory: SpaceTimeSurface, today: StructuredSurface) -> None:
        self.memory, self.today = memory, today
        self.apart = today if memory.series.dryness is None else one_visit(memory.series, today)
        value, block = today.samples.value, today.samples.places.block
        found = memory.leave_one_out(), self.apart.leave_one_out()
        with_it, without = (log_scores(value, *one) for one in found)
        gain = np.nan_to_num(with_it - without)
        kinds, at = np.unique(block, return_inverse=True)
        share, usual = memory_shares(np.bincount(at.reshape(-1), weights=gain).astype(float))
        lasting, spread = memory.found.lasting()
        alone = score(value, *today.leave_one_out()).rmse_bar
        self.recalled = Recalled(
            visits=len(memory.series) - 1,
            readings=len(memory.samples) - len(value),
            lasting_share=lasting,
            lasting_share_sd=spread,
            fading_days=memory.found.fading_days(),
            without_bar=score(value, *found[1]).rmse_bar,
            with_bar=np.nan,
            score_gain=float(gain.mean()),
            usual_share=usual,
            share={int(b): float(r) for b, r in zip(kinds, share, strict=True)},
            foretold=foretell(memory.series, memory.found),
            log=None if self.apart is today else (alone, score(value, *found[1]).rmse_bar),
        )
        self.recalled = replace(self.recalled, with_bar=score(value, *self.leave_one_out()).rmse_bar)

    @property
    def method(self) -> str:
        """The method that was used."""
        return self.today.method

    @property
    def notes(self) -> tuple[Note, ...]:
        """What the user must know."""
        return self.today.notes

    def predict(self, places: Places) -> Estimate:
        """Estimate the signal at points; as :meth:`Surface.predict`."""
        share = self.recalled.of_blocks(places.block)
        return mixed(share, self.memory.predict(places), self.apart.predict(places))

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate means over zones; as :meth:`Surface.predict_zones`."""
        share = self._share_of_zones(places, zone, count)
        return mixed(
            share,
            self.memory.predict_zones(places, zone, count),
            self.apart.predict_zones(places, zone, count),
        )

    def zone_paths(self, places: Places, zone: Ints, count: int, day: Floats, dryness: Floats) -> ZonePaths:
        """Estimate zone means on any days; as :meth:`PathSurface.zone_paths`.

        From the last visit on both maps are mixed as they are there; the visits before speak for themselves.
        """
        asked = places, zone, count, day, dryness
        visits = self.memory.series.day
        return mixed_paths(
            np.outer(np.interp(day, visits[-2:], [0.0, 1.0]), 1 - self._share_of_zones(places, zone, count)),
            self.memory.zone_paths(*asked),
            self._last_alone.zone_paths(*asked),
        )

    @cached_property
    def _last_alone(self) -> SpaceTimeSurface:
        """The last visit alone as a series of one, which tells courses."""
        apart = self.apart
        return apart if isinstance(apart, SpaceTimeSurface) else one_visit(self.memory.series, self.today)

    def leave_one_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other trees; as the interface says."""
        share = self.recalled.of_blocks(self.today.samples.places.block)
        return self._left_out(share, self.memory.leave_one_out(), self.apart.leave_one_out())

    def leave_block_out(self) -> tuple[Floats, Floats]:
        """Predict every reading from the other blocks; as :meth:`leave_one_out`."""
        share = np.full(len(self.today.samples), self.recalled.usual_share)
        return self._left_out(share, self.memory.leave_block_out(), self.apart.leave_block_out())

    def zone_covariance(self, places: Places, zone: Ints, count: int) -> ZoneCovariance:
        """Give the covariance of zone means' errors; as :meth:`Surface.zone_covariance`."""
        share = self._share_of_zones(places, zone, count)
        with_it, without = (one.zone_covariance(places, zone, count) for one in (self.memory, self.apart))
        total = np.sqrt(np.outer(share, share)) * with_it.covariance
        total += np.sqrt(np.outer(1 - share, 1 - share)) * without.covariance
        return ZoneCovariance(np.asarray(total), without.noise)

    def summary(self) -> dict[str, Any]:
        """Give the fit as plain numbers and text for ``run.json``: that of the last visit alone."""
        return self.today.summary()

    def since_before(self) -> ChangeSurface:
        """Give what answers for the change since the visit before.

        Returns
        -------
        ChangeSurface
        """
        return ChangeSurface(self)

    def _share_of_zones(self, places: Places, zone: Ints, count: int) -> Floats:
        inside = zone >= 0
        share = self.recalled.of_blocks(places.block[inside])
        size = np.bincount(zone[inside], minlength=count)
        return np.asarray(np.bincount(zone[inside], weights=share, minlength=count) / np.maximum(size, 1))

    def _left_out(
        self, share: Floats, with_it: tuple[Floats, Floats], without: tuple[Floats, Floats]
    ) -> tuple[Floats, Floats]:
        value = self.today.samples.value
        both = mixed(share, *(_as_estimate(value, *one) for one in (with_it, without)))
        return both.mean, (value - both.mean) / np.sqrt(both.variance)


@dataclass(frozen=True)
class ChangeSurface:
    """Change of zone means since the visit before: by the joint model, mixed with what both maps make of it.

    Where a block is not what it was, the last visit alone stands against what all visits tell of the one
    before.

    Parameters
    ----------
    now : MemorySurface
        The last visit.
    """

    now: MemorySurface

    def predict_zones(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate the change of zone means; as :meth:`Surface.predict_zones`."""
        last, first = self.now.apart.predict_zones(places, zone, count), self._before(places, zone, count)
        apart = Estimate(last.mean - first.mean, last.variance + first.variance)
        share = self.now._share_of_zones(places, zone, count)
        return mixed(share, self.now.memory.predict_change(places, zone, count), apart)

    def _before(self, places: Places, zone: Ints, count: int) -> Estimate:
        """Estimate zone means at the visit before from the readings of all visits."""
        memory, mm = self.now.memory, np.zeros((1, count))
        if memory.series.dryness is not None:
            weight = (*[0.0] * (len(memory.series) - 2), 1.0, 0.0)
            of_valves = memory.series.dryness.of_target(weight)
            inside = zone >= 0
            size = np.maximum(np.bincount(zone[inside], minlength=count), 1)
            mm[0] = np.bincount(zone[inside], weights=of_valves[places.valve[inside]], minlength=count) / size
        found = memory.zone_paths(places, zone, count, memory.series.day[-2:-1], mm)
        return Estimate(found.mean[0], found.covariance[0, 0])


def one_visit(series: VisitSeries, today: StructuredSurface) -> SpaceTimeSurface:
    """Give the last visit alone as a series of one, with its dryness; its variances are known.

    Parameters
    ----------
    series : VisitSeries
        Of all visits.
    today : StructuredSurface
        Fitted to the last one alone.

    Returns
    -------
    SpaceTimeSurface
    """
    return SpaceTimeSurface(series.last_alone(), today, SpaceTimeFit.of_one_visit(today.fit))


def remember(today: Surface, series: VisitSeries) -> MemorySurface | None:
    """Fit all visits together and mix the result with the last one alone.

    Parameters
    ----------
    today : Surface
        Fitted to the last visit alone.
    series : VisitSeries
        Readings of all visits; those of the last one are those ``today`` was fitted to, in the same order.

    Returns
    -------
    MemorySurface or None
        None where ``today`` was not kriged by the structured method, or the visits cannot be fitted together.
    """
    if not isinstance(today, StructuredSurface) or len(series) < 2:
        return None
    try:
        return MemorySurface(SpaceTimeSurface(with_earlier_doubts(series, today), today), today)
    except LinAlgError:
        return None
