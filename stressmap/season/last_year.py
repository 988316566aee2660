"""How the season before changes what is believed of a block's drying beforehand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from stressmap.core.arrays import Floats
from stressmap.geostat.drying_slopes import BLOCK_SD, SLOPE_BAR_MM, SLOPE_SD
from stressmap.season.learnt import YEAR_LOG_SD

BELIEVED_LOG_SD = float(np.hypot(SLOPE_SD, BLOCK_SD)) / SLOPE_BAR_MM
"""Spread of the logarithm of a block's slope about what its soil makes believe."""
MOST_TIMES = 2.5
"""A block is not taken to dry more than so many times faster, or slower, than its soil makes believe."""


def as_last_season(
    soil: Floats, use_share: Floats, blocks: Sequence[str], before: Mapping[str, tuple[float, float]]
) -> Floats:
    """Let dryness count by what the season before taught of each block, as far as that was known.

    Parameters
    ----------
    soil : array of float, shape (Z,)
        The measure by which dryness of each zone's soil counts.
    use_share : array of float, shape (Z,)
        What trees use of the reference evapotranspiration.
    blocks : sequence of str, length Z
        Block of each zone.
    before : mapping of str to (float, float)
        Water per bar of blocks [mm] and the standard error of its logarithm, from
        :func:`stressmap.intake.last_season.read_last_season`.

    Returns
    -------
    array of float, shape (Z,)

    Examples
    --------
    Ten mm a bar is twice what is believed of a loam, at 0.05 bar/mm; well known, it is nearly taken over:

    >>> one = np.ones(2)
    >>> as_last_season(one, one, ["A", "B"], {"A": (10.0, 0.1)}).round(2).tolist()
    [1.84, 1.0]
    """
    found = np.array(soil, dtype=np.float64)
    for zone, block in enumerate(blocks):
        if block in before:
            mm, log_sd = before[block]
            weight = BELIEVED_LOG_SD**2 / (BELIEVED_LOG_SD**2 + log_sd**2 + YEAR_LOG_SD**2)
            times = float(use_share[zone]) / (mm * SLOPE_BAR_MM * float(soil[zone]))
            found[zone] *= np.clip(times**weight, 1.0 / MOST_TIMES, MOST_TIMES)
    return found
