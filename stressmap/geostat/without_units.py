"""The model without effects of blocks and valve zones, as one of those that are averaged.

Where water and soil differ without regard to blocks, effects that end at a block's edge cut a smooth map into
pieces. So a model that has only the pattern and the trees takes part in the average, with a chance of
:data:`CHANCE` before any reading is seen; the readings' restricted likelihood decides how much it counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from stressmap.geostat.variance_model import CovarianceStructure, VarianceModel

UNITS = ("block", "valve")
CHANCE = 0.1
"""That neither blocks nor valves differ by themselves, before any reading; a judgement."""


def leave_units_out(model: VarianceModel, parts: Iterable[CovarianceStructure]) -> VarianceModel | None:
    """Leave the unit effects out of a model.

    Parameters
    ----------
    model : VarianceModel
        With them.
    parts : iterable of CovarianceStructure
        Of the readings.

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
    cancel. Those are standard deviations with half-normal priors.

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
    gone = [i for i, name in enumerate(whole.free) if name not in plain.free]
    scales = whole.prior_centre()[gone]
    constants = scales.sum() - 0.5 * len(gone) * (np.log(2 / np.pi) + np.log(2 * np.pi))
    return float(constants + np.log(CHANCE / (1 - CHANCE)))
