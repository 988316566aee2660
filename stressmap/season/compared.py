"""Irrigation cycles compared by soil, system and crop; drip that is run like flood."""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.special import ndtri

from stressmap.season.zone_courses import Z_90

LIKE_FLOOD_HOURS, LIKE_FLOOD_DAYS = 20.0, 6.0
"""Drip in irrigations of so many hours and more, with so many days and more between them, wets and dries its
soil as flooding does: a judgement, no source."""
ODDS = (np.arange(199) + 0.5) / 199
"""Equally likely points that stand for what the relief of one irrigation may be."""
COLUMNS = (
    "by", "kind", "cycles", "seen", "relief_bar", "relief_low_bar", "relief_high_bar", "recovered",
    "drying_bar_per_day", "drying_bar_per_mm",
)  # fmt: skip


def manners(cycles: pd.DataFrame, system: list[str | None], interval: np.ndarray) -> list[str | None]:
    """Tell how each valve zone is run, where that is unlike its system.

    Parameters
    ----------
    cycles : DataFrame
        ``zone`` and ``hours`` of irrigations.
    system : list of str or None, length Z
        Of each zone.
    interval : array of float, shape (Z,)
        Usual days between irrigations.

    Returns
    -------
    list of str or None
        ``like_flood`` for drip in long sets with long gaps.

    Examples
    --------
    >>> cycles = pd.DataFrame({"zone": [0, 0, 1], "hours": [36.0, 30.0, 8.0]})
    >>> manners(cycles, ["drip", "drip"], np.array([9.0, 2.0]))
    ['like_flood', None]
    """
    hours = cycles.groupby("zone")["hours"].median().reindex(range(len(system))).to_numpy(np.float64)
    with np.errstate(invalid="ignore"):
        long = (hours >= LIKE_FLOOD_HOURS) & (interval >= LIKE_FLOOD_DAYS)
    return [
        "like_flood" if s == "drip" and is_long else None for s, is_long in zip(system, long, strict=True)
    ]


def compared(cycles: pd.DataFrame) -> pd.DataFrame:
    """Compare cycles by soil, system and crop, those with readings on both sides where there are any.

    Parameters
    ----------
    cycles : DataFrame
        With ``soil``, ``system``, ``manner`` and ``crop``, and ``relief_bar`` with the 90 % interval of each.

    Returns
    -------
    DataFrame
        :data:`COLUMNS`: medians of each kind; the interval of the relief holds nine tenths of what its cycles
        may be, each as unsure as it is: for a single one it is its own.
    """
    if cycles.empty:
        return pd.DataFrame(columns=list(COLUMNS))
    ways = cycles["system"].where(
        cycles["manner"].isna(), cycles["system"] + "_" + cycles["manner"].astype(str)
    )
    rows = []
    for by, kinds in (("soil", cycles["soil"]), ("system", ways), ("crop", cycles["crop"])):
        for kind, own in cycles.groupby(kinds.fillna("unknown"), sort=True):
            both = own[own["seen"] == "both"]
            used = both if len(both) else own
            low, high = _nine_tenths(used)
            middle = used[["relief_bar", "recovered", "drying_bar_per_day", "drying_bar_per_mm"]].median()
            rows.append(
                {"by": by, "kind": kind, "cycles": len(own), "seen": len(both), "relief_low_bar": low,
                 "relief_high_bar": high, **middle.to_dict()}
            )  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _nine_tenths(cycles: pd.DataFrame) -> tuple[float, float]:
    """Give the 5 % and 95 % points of all reliefs together, each a normal law of its own interval [bar]."""
    known = cycles[["relief_bar", "relief_low_bar", "relief_high_bar"]].dropna()
    if known.empty:
        return np.nan, np.nan
    middle, low, high = known.to_numpy(np.float64).T[:, :, None]
    points = middle + (high - low) / 2 * ndtri(ODDS) / Z_90
    at_5, at_95 = np.quantile(points, [0.05, 0.95], method="hazen")
    return float(at_5), float(at_95)
