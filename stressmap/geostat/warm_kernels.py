"""Compiled loops made ready before they are wanted: some seconds once, then they are kept on the disk."""

from __future__ import annotations

import numpy as np

from stressmap.geostat.methods import LEAST_READINGS, fit_surface
from stressmap.geostat.samples import Places, Samples

SIDE = 24
"""Cells along a zone of more than are taken one by one."""


def compile_kernels() -> int:
    """Compile what kriging compiles, by kriging a few made-up readings.

    Returns
    -------
    int
        Places kriged.
    """
    count = LEAST_READINGS + 3
    at = np.arange(count, dtype=np.int64)
    places = Places(np.column_stack([40.0 * at, 10.0 * (at % 3)]), at // 4, at // 2, 0 * at)
    surface = fit_surface(Samples(places, 12.0 + (at % 3).astype(np.float64), at), method="structured")
    surface.predict(places)
    surface.predict_zones(places, at // 2, count // 2)
    cell = np.arange(SIDE * SIDE, dtype=np.int64)
    many = Places(np.column_stack([5.0 * (cell // SIDE), 5.0 * (cell % SIDE)]), 0 * cell, 0 * cell, 0 * cell)
    surface.predict_zones(many, 0 * cell, 1)
    surface.leave_one_out()
    return count
