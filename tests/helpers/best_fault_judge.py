"""What a judge who knows nearly everything finds of the faults of a drawn season, to hold alarms against.

He knows the day on which faults begin and what share of the water arrives, the water that came and what each
zone's trees make of it; not which zone, nor what sets zones, blocks and trees apart. Of two hypotheses wholly
known the ratio of their likelihoods is the best test there is; the noise is what the alarms assume, close
to the drawn one but not the same, so that a better judge cannot be ruled out.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import solve_triangular
from threadpoolctl import threadpool_limits

from helpers.drawn_dry_downs import CLOGGED_SHARE, DryDown, draw_dry_down
from helpers.drawn_seasons import TREES, Season
from stressmap.core.arrays import Floats
from stressmap.season.not_relieved import _covariance
from stressmap.season.read_days import ReadDays, left_over

BACK_A_DAY, STARTS, FIRST_VISITS = 0.55, 0.3, 4


def _stress(drawn: DryDown, sets: Floats) -> Floats:
    """Give what drying adds on each day with so much water, as seasons are drawn, shape (D, zones)."""
    lacks = felt = STARTS * drawn.holds
    found = np.empty(sets.shape)
    for day, used in enumerate(drawn.water.et_mm):
        lacks = np.clip(lacks + used * (1 - 0.5 * (lacks / drawn.holds) ** 3) - sets[day], 0.0, drawn.holds)
        felt = np.where(lacks < felt, felt + BACK_A_DAY * (lacks - felt), lacks)
        found[day] = felt
    return np.asarray(drawn.slope * found * (0.75 + 0.5 * found / 80.0))


def _odds(read: ReadDays, more: Floats, zones: int) -> Floats:
    """Give the logarithm of the likelihood ratio of each zone; -9 where it was never read."""
    found, rest = np.full(zones, -9.0), left_over(read, np.zeros(zones))
    for block in np.unique(read.block):
        here = read.block == block
        near = read.take(here)
        factor = np.linalg.cholesky(_covariance(near))
        value = solve_triangular(factor, rest[here], lower=True)
        for zone in np.unique(near.zone):
            rise = solve_triangular(factor, more[here] * (near.zone == zone), lower=True)
            found[zone] = rise @ value - 0.5 * rise @ rise
    return found


@threadpool_limits.wrap(limits=1)
def judged(seed: int, kind: str, trees: int = TREES) -> tuple[Floats, Floats]:
    """Give the odds of the faulty zones (the highest after any visit) and of the sound ones (at the last)."""
    drawn = draw_dry_down(seed, Season(earlier=9), fault=kind, since=0.4, trees=trees)
    series, places = drawn.series, drawn.series.samples.places
    arrived, faulted = drawn.water.set_mm, drawn.water.set_mm.copy()
    faulted[drawn.lead + int(drawn.since) :] *= CLOGGED_SHARE if kind == "clogged" else 0.0
    sound = _stress(drawn, arrived)
    at = drawn.lead + (series.day - series.day[0]).astype(int)[series.visit] - 1
    more = (_stress(drawn, faulted) - sound)[at, places.valve]
    value = series.samples.value - sound[at, places.valve]
    read = ReadDays(
        places.valve, places.block, places.crop, series.visit, series.samples.tree, series.day[series.visit],
        value, np.zeros(len(value)),
    )  # fmt: skip
    after = [n for n in range(FIRST_VISITS, len(drawn.visits) + 1) if drawn.visits[n - 1] > drawn.since]
    odds = [_odds(read.take(read.visit < n), more[read.visit < n], drawn.zones) for n in after]
    return np.max(odds, axis=0)[drawn.faulty], odds[-1][~drawn.faulty]
