"""The model without effects of blocks and valve zones, as one of those that are averaged.

Where water and soil differ without regard to blocks, effects that end at a block's edge cut a smooth map into
pieces. So a model that has only the pattern and the trees takes part in the average, with a chance of
:data:`CHANCE` before any reading is seen; the readings' restricted likelihood decides how much it counts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Protocol

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.geostat.borrowed_model import BorrowedModel, chance_ratio
from stressmap.geostat.importance_sample import ImportanceSample
from stressmap.geostat.variance_model import VarianceModel

UNITS = ("block", "valve")
CHANCE = 0.1
"""That neither blocks nor valves differ by themselves, before any reading; a judgement."""
PLAIN_RANGES = (2.0, 8.0, 4.0, 1.0, 0.5)
"""Ranges tried without effects of blocks and valves, in those of the prior; the two that tell most first."""
HOPELESS = 8.0
"""Where both of these are behind the whole model by this in log posterior mass, no others are tried."""


class GroupedReadings(Protocol):
    """Readings of which it is known whether any two share the block and the valve."""

    @property
    def same(self) -> dict[str, Floats]:
        """Matrices with 1 where two readings do."""


def sample_without_units(
    best: ImportanceSample,
    log_mass: float,
    parts: Iterable[GroupedReadings],
    sample: Callable[[VarianceModel, Floats], ImportanceSample],
) -> list[ImportanceSample]:
    """Sample the model without unit effects, unless the readings speak against it.

    Parameters
    ----------
    best : ImportanceSample
        The most plausible one with them.
    log_mass : float
        Of all those with them.
    parts : iterable of GroupedReadings
        The readings.
    sample : callable
        Samples a model at one range, from where to begin; as :func:`importance_sample`.

    Returns
    -------
    list of ImportanceSample
        Weighed against those with unit effects; none where nothing speaks for it.
    """
    model = leave_units_out(best.model, parts)
    if model is None:
        return []
    offset = chance_of(model, best.model)
    gone = [i for i, name in enumerate(best.model.free) if name not in model.free]
    start, found = np.delete(best.mode, gone)[:-1], list[ImportanceSample]()
    for range_m in PLAIN_RANGES:
        one = sample(model, np.append(start, np.log(best.model.priors.range_m * range_m)))
        found.append(replace(one, log_weight=one.log_weight + offset, peak=one.peak + offset))
        if len(found) == 2 and max(part.log_mass for part in found) < log_mass - HOPELESS:
            return []
        start = one.mode[:-1]
    return found


def leave_units_out(model: VarianceModel, parts: Iterable[GroupedReadings]) -> VarianceModel | None:
    """Leave the unit effects out of a model.

    Parameters
    ----------
    model : VarianceModel
        With them.
    parts : iterable of GroupedReadings
        The readings.

    Returns
    -------
    VarianceModel or None
        None where all readings share one unit, so that nothing would change.
    """
    if not any((part.same[name] == 0).any() for part in parts for name in UNITS):
        return None
    return replace(model, free=tuple(name for name in model.free if name not in UNITS))


def chance_of(plain: VarianceModel, whole: VarianceModel) -> float:
    """Give what is added to the plain model's log posterior to weigh it against the whole one's.

    Both leave the constants of their priors and proposals away; the parameters that only one has do not
    cancel. Those are standard deviations, with half-normal priors unless these are borrowed.

    Parameters
    ----------
    plain, whole : VarianceModel
        Without and with unit effects.

    Returns
    -------
    float

    Examples
    --------
    >>> from stressmap.geostat.options import Priors
    >>> whole = VarianceModel(("block", "pattern", "tree"), Priors(), 0.0)
    >>> plain = VarianceModel(("pattern", "tree"), Priors(), 0.0)
    >>> round(chance_of(plain, whole), 4)
    -2.1972
    """
    if isinstance(whole, BorrowedModel) and whole.lent:
        chance = whole.lent.without_units
        return chance_ratio(plain, whole) + float(np.log(chance / (1 - chance)))
    gone = [i for i, name in enumerate(whole.free) if name not in plain.free]
    scales = whole.prior_centre()[gone]
    constants = scales.sum() - 0.5 * len(gone) * (np.log(2 / np.pi) + np.log(2 * np.pi))
    return float(constants + np.log(CHANCE / (1 - CHANCE)))
