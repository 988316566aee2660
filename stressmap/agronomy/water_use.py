"""How much less than a full cover that lacks nothing a crop uses: young trees, and trees under stress."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from stressmap.agronomy.crops import CropProfile
from stressmap.core.arrays import Floats


def stress_coefficient(profile: CropProfile, below_baseline_bar: ArrayLike) -> Floats:
    """Give the share of its full water use that a crop under stress still takes.

    Straight between the points of the profile; where stress, or what it does to the crop's water use, is not
    known, the share is 1.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    below_baseline_bar : float or array of float
        How far the trees are below the fully watered line [bar]; NaN where unknown, below zero where wetter.

    Returns
    -------
    array of float
        0 to 1, in the shape of what was given: Ks of FAO Irrigation and Drainage Paper 56, equation 81, read
        off the trees instead of the soil.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> profiles = load_profiles({}, "ranch.toml")
    >>> stress_coefficient(profiles["prune"], [0.0, 5.5, float("nan")]).tolist()
    [1.0, 0.5, 1.0]
    >>> stress_coefficient(profiles["almond"], 8.0).tolist()
    1.0
    """
    bars = np.asarray(below_baseline_bar, dtype=np.float64)
    if profile.stress_coefficient is None:
        return np.ones_like(bars)
    at, shares = np.array(profile.stress_coefficient).T
    return np.asarray(np.interp(np.nan_to_num(bars, nan=0.0), at, shares))


def young_shares(profile: CropProfile, days: Sequence[dt.date], planted: float | None) -> Floats:
    """Give the share of a full cover's water use that trees of a year of planting take on days.

    Parameters
    ----------
    profile : CropProfile
        The crop; without figures for young trees the share is 1.
    days : sequence of date, n of them
        Local calendar days. South of the equator a year of growth begins in July.
    planted : float or None
        Year; unknown or NaN is full-grown.

    Returns
    -------
    array of float, shape (n,)
        The highest coefficient of that year from planting over that of a full cover, at most 1.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> almond = load_profiles({}, "ranch.toml")["almond"]
    >>> young_shares(almond, [dt.date(2026, 7, 1)], 2025.0).round(2).tolist()
    [0.49]
    """
    full = profile.crop_coefficient
    if full is None or not full.young_kc_mid or planted is None or np.isnan(planted):
        return np.ones(len(days))
    highest = max(kc for _, kc in full.points)
    shares = np.minimum(1.0, np.append(np.array(full.young_kc_mid) / highest, 1.0))
    early = profile.hemisphere == "south"
    years = np.array([day.year - (early and day.month < 7) for day in days], dtype=int) - int(planted)
    return np.asarray(shares[np.clip(years, 0, len(shares) - 1)])
