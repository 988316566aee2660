"""A gauge that counts on since midnight or since the season began -> the rain of each row."""

from __future__ import annotations

import numpy as np
import pandas as pd

from stressmap.core.arrays import Floats
from stressmap.core.notes import Note, Noted
from stressmap.intake.air_plausibility import Origin

LEAST_ROWS = 12
"""So many rows in one run without a fall, all over nought, are no rain that grows from hour to hour."""
NOUGHT = 0.1
"""A counter that is set back starts from less than this part of where it stood."""


def each_row(rain_mm: pd.Series, times: pd.Series, origin: Origin, heading: str) -> Noted[pd.Series]:
    """Give the rain of each row, where a column holds a count that goes on and on.

    Such a column never falls, except back to about nought at midnight or at the start of a season, and stands
    over nought for many rows on end. Rain of single hours falls back to nought as soon as it stops.

    Parameters
    ----------
    rain_mm : Series of float, shape (n,)
        As written [mm], NaN where none.
    times : Series of datetime, shape (n,)
        Of the rows, in whatever order.
    origin : Origin
        File, for what must be said.
    heading : str
        The column as the file spells it.

    Returns
    -------
    Noted of Series of float, shape (n,)
        [mm] since the row before; NaN in the first row, of which nothing is known.

    Examples
    --------
    >>> times = pd.Series(pd.date_range("2026-02-03", periods=14, freq="h"))
    >>> origin = Origin("weather.csv", np.arange(2, 16))
    >>> counted = each_row(pd.Series([40.0] * 12 + [42.5, 43.0]), times, origin, "Rain")
    >>> counted.value.tolist()[-3:], counted.notes[0].code
    ([0.0, 2.5, 0.5], 'rain_counted_on')
    """
    order = times.dropna().sort_values(kind="stable").index
    known = rain_mm.loc[order].dropna()
    known = known[known >= 0.0]
    if not _counts_on(known.to_numpy(np.float64)):
        return Noted(rain_mm)
    step = known.diff()
    # set back to nought, what it shows since then has all fallen since then
    single = step.where(step >= 0.0, known)
    single.iloc[0] = np.nan
    note = Note.of("rain_counted_on", "caution", file=origin.where, column=heading, most=known.max())
    return Noted(single.reindex(rain_mm.index), (note,))


def _counts_on(known: Floats) -> bool:
    if len(known) < LEAST_ROWS:
        return False
    step = np.diff(known)
    falls = step < 0.0
    if (falls & (known[1:] > NOUGHT * known[:-1])).any():
        return False
    longest = run = 0
    for value, fell in zip(known, np.concatenate([[False], falls]), strict=True):
        run = 0 if value <= 0.0 else (1 if fell else run + 1)
        longest = max(longest, run)
    return longest >= LEAST_ROWS
