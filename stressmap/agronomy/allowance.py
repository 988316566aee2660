"""The allowance: how far below a fully watered tree a crop should stand on a day, and how far harms it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.agronomy.crops import CropProfile, for_variety
from stressmap.agronomy.harvest import at_harvest
from stressmap.agronomy.target import calendar_days, planted_within, through_season
from stressmap.core.arrays import Floats
from stressmap.core.errors import DataError, Problem, SettingsError

HARVEST = "Write month and day of the harvest, MM-DD, after the first day of the crop's allowance"


def allowances(
    places: pd.DataFrame,
    days: Any,
    profiles: Mapping[str, CropProfile],
    where: str = "blocks",
    settings_file: str = "ranch.toml",
) -> Floats:
    """Give the allowance of places on days, with variety, harvest and young trees taken into account.

    Parameters
    ----------
    places : DataFrame, n rows
        ``block``, ``crop`` (a key of ``profiles``, or None), ``harvest`` (``MM-DD`` or None), ``planted``
        (year or NaN) and, optionally, ``variety`` (text or None).
    days : array, Series or index of dates, n of them
        Local calendar days; NaT gives NaN.
    profiles : mapping of str to CropProfile
        By crop name.
    where, settings_file : str
        The file of the blocks and the ``ranch.toml``, for messages.

    Returns
    -------
    array of float, shape (n,)
        Bars below the fully watered line, 0 or more; NaN where the crop is unknown or has no allowance.

    Raises
    ------
    DataError
        If a block's harvest is no day of the year or before the season's first point.
    SettingsError
        If the harvest of a crop's profile is.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> places = pd.DataFrame(
    ...     {"block": ["A", "B"], "crop": "prune", "harvest": None, "planted": [2005.0, 2024.0]}
    ... )
    >>> allowances(places, ["2026-08-25"] * 2, load_profiles({}, "ranch.toml")).tolist()
    [8.0, 3.0]
    """
    when = calendar_days(days)
    result = np.full(len(places), np.nan)
    for crop, variety, harvest, at in _alike(places):
        profile = for_variety(profiles[crop], variety)
        if profile.allowance is None:
            continue
        try:
            moved = at_harvest(profile, harvest).allowance or profile.allowance
        except ValueError as error:
            if not harvest:
                column = f"crops.{crop}.harvest"
                raise SettingsError(Problem(settings_file, str(error), HARVEST, column=column)) from None
            what = f"block {places['block'].iloc[at[0]]!r}: {error}"
            raise DataError(Problem(where, what, HARVEST, column="harvest")) from None
        bars = through_season(when[at], moved.points)
        young = profile.young
        if young is not None and young.allowance_bar is not None:
            here = planted_within(places["planted"].to_numpy(np.float64)[at], when[at], young.years)
            bars[here] = np.minimum(bars[here], young.allowance_bar)
        result[at] = bars
    return result


def limits(
    places: pd.DataFrame, profiles: Mapping[str, CropProfile], days: tuple[dt.date, dt.date] | None = None
) -> Floats:
    """Give how far below the fully watered line places are harmed.

    Parameters
    ----------
    places : DataFrame, n rows
        ``crop``: a key of ``profiles``, or None.
    profiles : mapping of str to CropProfile
        By crop name.
    days : tuple of date, optional
        First and last: the least limit of these days; by default that of the year.

    Returns
    -------
    array of float, shape (n,)
        [bar]; NaN where it is not known.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> limits(pd.DataFrame({"crop": ["walnut", None]}), load_profiles({}, "ranch.toml")).tolist()
    [6.0, nan]
    >>> september = dt.date(2026, 9, 10), dt.date(2026, 9, 17)
    >>> limits(pd.DataFrame({"crop": ["almond"]}), load_profiles({}, "ranch.toml"), september).tolist()
    [8.0]
    """
    known = {crop: _limit(profiles[crop], days) for crop in places["crop"].unique() if crop in profiles}
    return np.array([known.get(crop, np.nan) for crop in places["crop"]], dtype=np.float64)


def _limit(profile: CropProfile, days: tuple[dt.date, dt.date] | None) -> float:
    found = [] if profile.limit_bar is None else [profile.limit_bar]
    if days is not None:
        between = [days[0] + dt.timedelta(days=k) for k in range((days[1] - days[0]).days + 1)]
        found += [span.limit_bar for span in profile.limit_within if any(map(span.holds, between))]
    return min(found, default=float("nan"))


def least_allowances(places: pd.DataFrame, profiles: Mapping[str, CropProfile]) -> Floats:
    """Give the least that any target of places may allow.

    Parameters
    ----------
    places : DataFrame, n rows
        ``crop`` and, optionally, ``variety``, as for :func:`allowances`.
    profiles : mapping of str to CropProfile
        By crop name.

    Returns
    -------
    array of float, shape (n,)
        [bar]; 0 where the crop is unknown or has no allowance.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> places = pd.DataFrame({"crop": ["walnut", "walnut"], "variety": ["Chandler", "Serr"]})
    >>> least_allowances(places, load_profiles({}, "ranch.toml")).tolist()
    [1.0, 1.5]
    """
    result = np.zeros(len(places))
    for crop, variety, _, at in _alike(places):
        allowance = for_variety(profiles[crop], variety).allowance
        if allowance is not None:
            result[at] = allowance.least_bar
    return result


def _alike(places: pd.DataFrame) -> Iterator[tuple[str, str, str | None, NDArray[np.intp]]]:
    """Go through the places of a crop, a variety and a harvest, those of unknown crops left out."""
    wanted = places.reindex(columns=["crop", "variety", "harvest"]).reset_index(drop=True)
    kinds = wanted.astype(object).where(wanted.notna(), "")
    groups: dict[Any, Any] = kinds.groupby(["crop", "variety", "harvest"]).indices
    for (crop, variety, harvest), at in groups.items():
        if crop:
            yield crop, variety, harvest or None, at
