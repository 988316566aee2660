"""Valve zones that the log waters and whose trees are not relieved: the alarm, and what to look at.

Two tests. Of a zone, or of all zones of a block together, that dries as if the water since some irrigation
had not arrived: against what the log says, by the readings' likelihood of both. And of a zone that is read
within days after its irrigations and is far past what is allowed each time: such water never arrives.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from stressmap.core.arrays import Floats, Ints
from stressmap.season.read_days import ReadDays, left_over
from stressmap.season.visit_course import Came

TREE_SD, ERROR_SD, LASTING_SD, WANDER_SD, BLOCK_WANDER_SD = 0.7, 0.5, 1.5, 0.75, 0.75
"""Spread from tree to tree, of a reading, between zones for good, and of a zone and a block about that from
week to week [bar]: usual figures of ``[model]`` and of what lasts between visits."""
FADING_DAYS = 25.0
MOST_MISSED_MM = 90.0
"""Dryness past what the log tells that is believed at most: trees live on what is deeper; a judgement."""
LOST, LOST_SD = 0.7, 0.35
"""Share of the expected rise that a fault shows, and its spread: all for sets that never ran, half and less
for emitters clogged in part. A judgement."""
LEAST_MISSED_MM = 15.0
"""By so much, at least, a zone must have become drier than its log says at its last reading."""
CLEAR, CLEAR_OF_BLOCK = 5.0, 8.0
"""Logarithm of the odds for the fault over none from which on the alarm is given, of a zone and of a whole
block, whose trees go their own way together: chosen on simulated seasons (docs/benchmarks.md), so that few
are false."""
LOOKED_BACK_DAYS = 80.0
"""Readings of so many days tell whether water arrives; older ones tell of another part of the season."""
CANDIDATES = 8
"""So many of the last irrigations may be the first that did not arrive."""
SOON_DAYS = (0.4, 3.5)
"""Within so many days after an irrigation trees should stand near their target."""
SOON_TIMES = 2
BOTH = ("pressure", "filter", "emitters", "valve", "log")
"""What to look at, in this order."""
OF_BLOCK = ("filter", "pressure", "pump", "log")


@dataclass(frozen=True)
class Alarm:
    """Water that did not relieve the trees.

    Parameters
    ----------
    kind : str
        ``dries_on`` (as if water no longer arrived) or ``dry_after_water`` (far past what is allowed each
        time soon after an irrigation).
    zones : tuple of int
        Positions of the valve zones; all of a block where its readings together say so.
    block : int
        Position of the block.
    since : date
        First irrigation that did not arrive.
    irrigations : int
        How many there have been since then.
    extra_bar, low_bar, high_bar : float
        How much drier the trees are than they would be by the log, or than what is allowed, with the 90 %
        interval.
    log_odds : float
        Of the fault over none.
    reasons : tuple of str
        What to look at, in order.
    """

    kind: str
    zones: tuple[int, ...]
    block: int
    since: dt.date
    irrigations: int
    extra_bar: float
    low_bar: float
    high_bar: float
    log_odds: float
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class WaterFacts:
    """What the tests need beside the readings.

    Parameters
    ----------
    came : Came
        Irrigations, by zone and start.
    first : int
        Day of position 0.
    et_mm : array of float, shape (D,)
        Evapotranspiration of each day from ``first`` on.
    dryness : array of float, shape (D, Z)
        Felt by the log.
    slope, soil : array of float, shape (Z,)
        Of each zone [bar/mm], and the measure of its soil by which dryness counts.
    allowed : array of float, shape (Z,)
        How far stress may go [bar].
    block : array of int, shape (Z,)
        Block of each zone.
    """

    came: Came
    first: int
    et_mm: Floats
    dryness: Floats
    slope: Floats
    soil: Floats
    allowed: Floats
    block: Ints

    def missed_mm(self, start: Floats, zone: Ints, day: Floats) -> Floats:
        """Give how much drier zones would be had no water arrived from some day on.

        Parameters
        ----------
        start : array of float, shape (K,)
            Days.
        zone, day : array, shape (n,)
            Of the readings.

        Returns
        -------
        array of float, shape (n, K)
            Beyond the dryness by the log [mm].
        """
        grid = self.first + np.arange(len(self.et_mm), dtype=float)
        total = np.cumsum(self.et_mm)
        at = np.clip(np.floor(start).astype(np.int64) - self.first, 0, len(grid) - 1)
        then = np.clip(np.floor(day).astype(np.int64) - self.first, 0, len(grid) - 1)
        used = np.interp(day, grid, total)[:, None] - np.interp(start, grid, total)[None, :]
        dry = self.dryness[at[None, :], zone[:, None]] + used * self.soil[zone][:, None]
        more = np.clip(dry - self.dryness[then, zone][:, None], 0.0, MOST_MISSED_MM)
        return np.where(day[:, None] > start[None, :], more, 0.0)


def alarms_of(read: ReadDays, facts: WaterFacts, date_of: Callable[[float], dt.date]) -> tuple[Alarm, ...]:
    """Find the zones whose water did not relieve the trees.

    Parameters
    ----------
    read : ReadDays
        Readings up to today.
    facts : WaterFacts
        Irrigations and dryness.
    date_of : callable
        Gives the date of a day.

    Returns
    -------
    tuple of Alarm
        The surest first; zones of a block that is told as a whole are not told again.
    """
    if not len(read) or not len(facts.came.zone):
        return ()
    rest = left_over(read, facts.slope)
    found = [_soon_dry(read, facts, zone, date_of) for zone in np.unique(read.zone)]
    soon = [one for one in found if one is not None]
    told = {zone for one in soon for zone in one.zones}
    drying = []
    for block in np.unique(read.block):
        here = (read.block == block) & (read.day >= read.day.max() - LOOKED_BACK_DAYS)
        near = read.take(here)
        zones = [int(zone) for zone in np.unique(near.zone)]
        units = [[zone] for zone in zones] + ([zones] if len(zones) > 1 else [])
        ones = [_dries_on(near, rest[here], facts, unit, date_of) for unit in units]
        drying += _one_of_block([one for one in ones if one is not None], len(zones))
    drying = [one for one in drying if not set(one.zones) <= told]
    return tuple(sorted([*soon, *drying], key=lambda one: (-one.log_odds, one.zones)))


def _one_of_block(found: list[Alarm], zones: int) -> list[Alarm]:
    """Tell a block as a whole where its readings together say more than any zone of it alone."""
    whole = [one for one in found if len(one.zones) == zones and zones > 1]
    single = [one for one in found if len(one.zones) < zones or zones == 1]
    if whole and (not single or whole[0].log_odds > max(one.log_odds for one in single)):
        return whole
    return single


def _dries_on(
    near: ReadDays, rest: Floats, facts: WaterFacts, zones: list[int], date_of: Callable[[float], dt.date]
) -> Alarm | None:
    """Hold a fault since each of the last irrigations against none, beside the block's other zones."""
    mine, own = np.isin(facts.came.zone, zones), np.isin(near.zone, zones)
    if not mine.any() or len(np.unique(near.visit[own])) < 2:
        return None
    starts = _turns(facts.came.start[mine], len(zones))
    last = near.day[own].max()
    starts = starts[starts < last][-CANDIDATES:]
    if not len(starts):
        return None
    missed = facts.missed_mm(starts, near.zone, near.day) * own[:, None]
    factor = np.linalg.cholesky(_covariance(near))
    value, rise = (solve_triangular(factor, part, lower=True) for part in (rest, missed))
    power = (rise**2).sum(axis=0)
    now = own & (near.day == last)
    usable = (missed[now].mean(axis=0) >= LEAST_MISSED_MM) & (power > 0)
    if not usable.any():
        return None
    power = np.where(usable, power, 1.0)
    found, se = rise.T @ value / power, power**-0.5
    odds = np.where(usable, log_odds(found, se, float(facts.slope[zones].mean())), -np.inf)
    k = int(np.argmax(odds))
    if odds[k] < (CLEAR if len(zones) == 1 else CLEAR_OF_BLOCK):
        return None
    more = float(missed[now, k].mean())
    bar, half = float(found[k] * more), float(1.645 * se[k] * more)
    return Alarm(
        "dries_on", tuple(zones), int(near.block[0]), date_of(starts[k]), len(starts) - k, bar,
        bar - half, bar + half, float(odds[k]), OF_BLOCK if len(zones) > 1 else BOTH,
    )  # fmt: skip


def log_odds(found: Floats, se: Floats, slope: float) -> Floats:
    """Give the logarithm of the odds that a zone rises as with a fault, over no rise.

    Parameters
    ----------
    found, se : array of float, shape (K,)
        Rise of the readings with the water missed and its standard error [bar/mm].
    slope : float
        What a zone without any water would show [bar/mm].

    Returns
    -------
    array of float, shape (K,)

    Examples
    --------
    >>> log_odds(np.array([0.0, 0.05]), np.array([0.01, 0.01]), 0.05).round(1).tolist()
    [-2.2, 11.5]
    """
    spread = np.hypot(se, LOST_SD * slope)
    return np.asarray(
        np.log(se / spread) - 0.5 * ((found - LOST * slope) / spread) ** 2 + 0.5 * (found / se) ** 2
    )


def _turns(start: Floats, zones: int) -> Floats:
    """Give when a unit was watered: of a block, one of so many starts of its zones."""
    ordered = np.sort(start)
    return ordered if zones == 1 else ordered[:: max(1, zones)]


def _covariance(own: ReadDays) -> Floats:
    """Give the covariance of what is left of the readings of a zone or block."""
    fades = np.exp(-np.abs(np.subtract.outer(own.day, own.day)) / FADING_DAYS)
    zone, tree = np.equal.outer(own.zone, own.zone), np.equal.outer(own.tree, own.tree)
    total = LASTING_SD**2 * (0.5 + 0.5 * zone) + (BLOCK_WANDER_SD**2 + WANDER_SD**2 * zone) * fades
    return np.asarray(total + TREE_SD**2 * tree + ERROR_SD**2 * np.eye(len(own)))


def _soon_dry(
    read: ReadDays, facts: WaterFacts, zone: int, date_of: Callable[[float], dt.date]
) -> Alarm | None:
    """Tell whether a zone is far past what is allowed soon after its irrigations, each time."""
    own, mine = read.take(read.zone == zone), facts.came.zone == zone
    if not mine.any():
        return None
    ends, starts = facts.came.end[mine], facts.came.start[mine]
    which = np.searchsorted(ends, own.day) - 1
    since = np.where(which >= 0, own.day - ends[np.maximum(which, 0)], np.inf)
    soon = (since >= SOON_DAYS[0]) & (since <= SOON_DAYS[1])
    times = np.unique(own.visit[soon])
    if len(times) < SOON_TIMES:
        return None
    over = own.bar[soon] - facts.allowed[zone]
    trees, counts = np.unique(own.tree[soon], return_inverse=True)
    by_visit = np.array([over[own.visit[soon] == v].mean() for v in times])
    se = float(np.sqrt(TREE_SD**2 / len(trees) + ERROR_SD**2 / len(counts) + WANDER_SD**2 / len(times)))
    bar = float(by_visit.mean())
    if bar - 1.645 * se <= 0.0 or (by_visit <= 0.0).any():
        return None
    first = int(which[soon].min())
    return Alarm(
        "dry_after_water", (int(zone),), int(own.block[0]), date_of(starts[first]), len(starts) - first, bar,
        bar - 1.645 * se, bar + 1.645 * se, 0.5 * (bar / se) ** 2, BOTH,
    )  # fmt: skip
