"""Kriging of zone means on any days from readings of several visits: courses, past and to come.

The covariance of a zone's mean on a day with a reading is that of one visit times the persistence over the
days between, so that patterns and groups are worked out once a zone and days only scale them; slopes with
dryness hold at any time. The level of a day lies between those of the visits around it, or is that of the
last one, and wanders off from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from stressmap.core.arrays import Floats, Ints
from stressmap.geostat.covariance import Parameters
from stressmap.geostat.drying_slopes import USUAL_SLOPES, Dryness
from stressmap.geostat.kriging import same_code_probability
from stressmap.geostat.persistence import Persistence
from stressmap.geostat.samples import Places
from stressmap.geostat.trend import Trend
from stressmap.geostat.variance_model import valve_groups
from stressmap.geostat.visit_series import VisitLevels, VisitSeries

LEAST_WANDER_BAR2 = 0.1
"""Variance of the level of a ranch about its course, at least [bar²]; a judgement."""
WANDER_A_DAY = 0.8
"""Correlation of the level from day to day; a judgement."""


@dataclass(frozen=True)
class SolvedSet:
    """A system solved for one set of parameters.

    Parameters
    ----------
    parameters : Parameters
        Variances and range.
    persistence : Persistence
        How much lasts.
    trend : Trend
        Levels.
    alpha : array, shape (n,)
        Projection times readings [1/bar].
    projection : array, shape (n, n)
        [1/bar²].
    trend_weight : array, shape (n, p)
        Weight of the trend.
    """

    parameters: Parameters
    persistence: Persistence
    trend: Trend
    alpha: Floats
    projection: Floats
    trend_weight: Floats


@dataclass(frozen=True)
class _FadingDays:
    """How much of a signal lasts over days, by set of parameters: the same for every zone.

    Parameters
    ----------
    sets : tuple of Persistence
        Of K sets.
    away : array, shape (K, V, H)
        Between each visit and each day.
    apart : array, shape (K, H, H)
        Between each two days.
    """

    sets: tuple[Persistence, ...]
    away: Floats
    apart: Floats


@dataclass(frozen=True)
class CourseDays:
    """The days of courses, H of them.

    Parameters
    ----------
    away : array, shape (V, H)
        Days between each visit and each day.
    apart : array, shape (H, H)
        Days between each two.
    share : array, shape (H, V)
        Of each visit in the level of each day.
    wander : array, shape (H, H)
        Covariance of the level's departures from that [bar²].
    known : list of _FadingDays, optional
        What was worked out last: hundreds of zones ask for the same.
    """

    away: Floats
    apart: Floats
    share: Floats
    wander: Floats
    known: list[_FadingDays] = field(default_factory=list, compare=False, repr=False)

    def fading(self, solved: Sequence[SolvedSet]) -> _FadingDays:
        """Give how much lasts under some sets of parameters."""
        sets = tuple(one.persistence for one in solved)
        held = self.known[0] if self.known else None
        if held is None or held.sets != sets:
            away, apart = (np.array([kept(between) for kept in sets]) for between in (self.away, self.apart))
            held = _FadingDays(sets, away, apart)
            self.known[:] = [held]
        return held

    @classmethod
    def of(cls, series: VisitSeries, day: Floats) -> CourseDays:
        """Relate days to the visits of a series."""
        visits = series.day
        share = np.column_stack([np.interp(day, visits, own) for own in np.eye(len(visits))])
        steps = np.diff(series.level())
        wander = max(0.5 * float(np.mean(steps**2)) if len(steps) else 0.0, LEAST_WANDER_BAR2)
        both = np.concatenate([visits, day])
        kept = wander * WANDER_A_DAY ** np.abs(np.subtract.outer(both, both))
        off = np.hstack([-share, np.eye(len(day))])
        away, apart = np.subtract.outer(visits, day), np.subtract.outer(day, day)
        return cls(np.abs(away), np.abs(apart), share, off @ kept @ off.T)


@dataclass(frozen=True)
class ZoneInSystem:
    """A zone as a system's readings see it.

    Parameters
    ----------
    between : array, shape (R, n)
        Mean correlation of its cells with each reading, for each range.
    within : array, shape (R,)
        And among themselves.
    block, valve : array, shape (n,)
        Share of it in the block, and in the valve group, of each reading.
    alone : array, shape (2,)
        Chance that two cells of it share the block, and the valve group.
    level : tuple of array
        Mean design row of each visit's levels.
    drift : float
        Mean of the covariate.
    unseen : array, shape (V,)
        Variance of crops without a reading at each visit [bar²].
    """

    between: Floats
    within: Floats
    block: Floats
    valve: Floats
    alone: Floats
    level: tuple[Floats, ...]
    drift: float
    unseen: Floats

    @classmethod
    def of(
        cls,
        places: Places,
        drift: Floats,
        readings: Places,
        correlations: tuple[Floats, Floats],
        levels: VisitLevels,
    ) -> ZoneInSystem:
        """Relate the cells of a zone to the readings of a system."""
        valves = [valve_groups(at.block, at.valve) for at in (places, readings)]
        block = _shares_in(places.block, readings.block)
        valve = _shares_in(*valves)
        # visits that saw the same crops, as most do, need working out once
        kinds = [(level.crop.tobytes(), level.variance) for level in levels.levels]
        told = {
            kind: (level.mean_design(places, drift)[:-1], level.unseen_crop_variance(places))
            for kind, level in dict(zip(kinds, levels.levels, strict=True)).items()
        }
        rows, unseen = tuple(told[kind][0] for kind in kinds), np.array([told[kind][1] for kind in kinds])
        alone = np.array([same_code_probability(own) for own in (places.block, valves[0])])
        return cls(*correlations, block, valve, alone, rows, float(drift.mean()), unseen)

    def trend(self, share: Floats) -> Floats:
        """Return the trend functions of its mean on some days, by the share of each visit, shape (H, p)."""
        parts = [np.outer(share[:, v], row) for v, row in enumerate(self.level)]
        return np.column_stack([*parts, np.full(len(share), self.drift)])


def _shares_in(own: Ints, theirs: Ints) -> Floats:
    """Return the share of some codes that each of others has."""
    kinds, count = np.unique(own, return_counts=True)
    return np.asarray(np.equal.outer(theirs, kinds) @ count / len(own))


@dataclass(frozen=True)
class Course:
    """Mean and covariance of one zone over days, and its slope.

    Parameters
    ----------
    mean : array, shape (H,)
        [bar].
    covariance : array, shape (H, H)
        [bar²].
    slope, slope_variance : float
        [bar/mm], [bar²/mm²].
    """

    mean: Floats
    covariance: Floats
    slope: float
    slope_variance: float


def krige_course(
    zone: ZoneInSystem,
    sets: Sequence[tuple[int, SolvedSet]],
    readings: tuple[Ints, Dryness | None],
    days: CourseDays,
    dryness: Floats,
) -> Course:
    """Krige the course of one zone.

    Parameters
    ----------
    zone : ZoneInSystem
        The zone.
    sets : sequence of (int, SolvedSet)
        Position of each one's range, and the set; each counts as much.
    readings : tuple of array of int, Dryness
        Visit of each reading, and their dryness; None without a log.
    days : CourseDays
        The days.
    dryness : array, shape (H,)
        Of the zone [mm].

    Returns
    -------
    Course
        About the levels of the visits, wandering included.
    """
    visit, wanting = readings
    slopes = USUAL_SLOPES if wanting is None else wanting.slopes
    own = np.equal.outer(visit, np.arange(len(days.away)))
    ranch, block, valve = slopes.variances
    slope_prior = float(slopes.variances @ [1.0, *zone.alone])
    mm = np.zeros(len(visit)) if wanting is None else wanting.at_readings
    slope = mm * (ranch + block * zone.block + valve * zone.valve)
    dry = np.zeros(len(dryness)) if wanting is None else dryness
    trend = zone.trend(days.share)
    solved = [one for _, one in sets]
    told = [_by_readings(zone, r, one, (own, slope)) for r, one in sets]
    fading = days.fading(solved)
    on_days = np.concatenate([fading.away, np.broadcast_to(dry, (len(sets), 1, len(dry)))], axis=1)
    means = np.einsum("kvh,kv->kh", on_days, [one.weight for one in told])
    means += np.array([one.trend.mean for one in solved]) @ trend.T
    mean = means.mean(axis=0)
    prior = np.tensordot([_alone(zone, r, one) for r, one in sets], fading.apart, 1) / len(sets)
    flat = on_days.reshape(-1, len(dry))
    by_data = np.concatenate([one.by_data @ on for one, on in zip(told, on_days, strict=True)])
    crossed = flat.T @ np.concatenate([one.crossed for one in told]) @ trend.T
    covariance = prior + slope_prior * np.outer(dry, dry) + (means - mean).T @ (means - mean) / len(sets)
    covariance -= (flat.T @ by_data + crossed + crossed.T) / len(sets)
    covariance += trend @ np.mean([one.trend.variance for one in solved], axis=0) @ trend.T
    unseen = (days.share * zone.unseen) @ days.share.T
    found = np.array([one.weight[-1] for one in told])
    spread = slope_prior - float(np.mean([one.by_data[-1, -1] for one in told])) + float(found.var())
    return Course(
        mean + slopes.bar_mm * dry, covariance + unseen + days.wander, slopes.bar_mm + found.mean(), spread
    )


@dataclass(frozen=True)
class _ToldByReadings:
    """What the readings tell of a zone at each visit, and of its slope, under one set of parameters.

    Parameters
    ----------
    weight : array, shape (V + 1,)
        Of the zone's figure.
    by_data : array, shape (V + 1, V + 1)
        Variance that they take away.
    crossed : array, shape (V + 1, p)
        And what they share with the trend.
    """

    weight: Floats
    by_data: Floats
    crossed: Floats


def _by_readings(
    zone: ZoneInSystem, r: int, one: SolvedSet, readings: tuple[Floats, Floats]
) -> _ToldByReadings:
    """Let the readings tell under one set of parameters."""
    own, slope = readings
    p = one.parameters
    signal = p.pattern * zone.between[r] + p.block * zone.block + p.valve * zone.valve
    basis = np.column_stack([signal[:, None] * own, slope])
    return _ToldByReadings(basis.T @ one.alpha, basis.T @ one.projection @ basis, basis.T @ one.trend_weight)


def _alone(zone: ZoneInSystem, r: int, one: SolvedSet) -> float:
    """Give the variance of a zone's mean before any reading."""
    p = one.parameters
    return p.pattern * float(zone.within[r]) + float(zone.alone @ [p.block, p.valve])
