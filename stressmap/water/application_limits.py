"""How much water a valve zone takes at once and over the days of a plan, and until when it may run."""

from __future__ import annotations

import datetime as dt

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.water_use import young_shares
from stressmap.core.units import parse_month_day
from stressmap.water.root_zone import available_mm_per_m

WETTED_SHARE: dict[str, float] = {"drip": 0.35, "micro_sprinkler": 0.60, "sprinkler": 1.0, "flood": 1.0}
"""Share of the ground that is wetted: FAO Irrigation and Drainage Paper 56, table 20: drip 0.3 to 0.4,
micro-sprinkler 0.5 to 0.8, sprinkler and border 1.0 (from memory only)."""
CATCH_UP, CATCH_UP_READ = 1.3, 1.5
"""A plan brings at most so many times the crop's own use of its days; the second where enough trees of the
valve zone were read. Common practice, no source: 1.2 to 1.5 times for a week or two, then read again."""
LIGHT_SETS_FROM, LIGHT_SETS_UNTIL, LIGHT_SET_SHARE = 6, 8, 0.5
"""Prune past its driest edge in June and July gets its water in sets of half the depth: a large irrigation
after long stress cracks the ends of the fruit (crop profile, read); the half is a judgement."""
TREES_READ = 3
"""Trees read in a valve zone from which on its figure is taken to be its own."""


def readily_available_mm(
    texture: str, profile: CropProfile, wetted: float, *, root_depth_m: float | None = None
) -> float:
    """Give the water that the wetted root zone takes from where trees begin to lack it.

    Parameters
    ----------
    texture : str
        Key of :data:`stressmap.water.root_zone.INCHES_PER_FOOT`.
    profile : CropProfile
        The crop.
    wetted : float
        Share of the ground that is wetted, 0 to 1.
    root_depth_m : float, optional
        [m]; by default the crop's.

    Returns
    -------
    float
        [mm on the whole area].
    """
    held = available_mm_per_m(texture) * (root_depth_m or profile.roots.depth_m)
    return profile.roots.depletion_fraction * held * wetted


def share_of_a_set(profile: CropProfile, day: dt.date, planted: float | None, *, very_dry: bool) -> float:
    """Give the share of a usual set that trees get at once: young trees and dry prune in summer get less.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    day : date
        First day of the plan.
    planted : float or None
        Year; unknown is full-grown.
    very_dry : bool
        Whether the trees are past the crop's driest edge.

    Returns
    -------
    float
        Over 0 to 1; young trees get theirs short and often, as their use is to that of a full cover.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> prune = load_profiles({}, "ranch.toml")["prune"]
    >>> share_of_a_set(prune, dt.date(2026, 7, 16), None, very_dry=True)
    0.5
    >>> round(share_of_a_set(prune, dt.date(2026, 8, 16), 2025.0, very_dry=True), 2)
    0.42
    """
    share = float(young_shares(profile, [day], planted)[0])
    month = (day.month + 5) % 12 + 1 if profile.hemisphere == "south" else day.month
    light = profile.name == "prune" and very_dry and LIGHT_SETS_FROM <= month < LIGHT_SETS_UNTIL
    return share * (LIGHT_SET_SHARE if light else 1.0)


def most_over_days_mm(daily_use_mm: float, days: int, trees: int) -> float:
    """Give the most depth that the days of a plan may bring.

    Parameters
    ----------
    daily_use_mm : float
        What the crop uses a day at its stress [mm].
    days : int
        Of the plan.
    trees : int
        Read in the valve zone.

    Returns
    -------
    float
        [mm].

    Examples
    --------
    >>> most_over_days_mm(8.0, 7, 1), most_over_days_mm(8.0, 7, 3)
    (72.8, 84.0)
    """
    return (CATCH_UP_READ if trees >= TREES_READ else CATCH_UP) * daily_use_mm * days


def cut_off_before(profile: CropProfile, start: dt.date) -> dt.date | None:
    """Give the day after which no water runs before the next harvest.

    Parameters
    ----------
    profile : CropProfile
        Moved to the harvest of its block.
    start : date
        First day of the plan.

    Returns
    -------
    date or None
        The latest day on which the last water is given, of the harvest on the first day of the plan or the
        next one after it; None where cut-off or harvest are not known.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> almond = load_profiles({}, "ranch.toml")["almond"].model_copy(update={"harvest": "08-10"})
    >>> cut_off_before(almond, dt.date(2026, 8, 1)).isoformat()
    '2026-07-31'
    """
    ripe = profile.harvest or profile.usual_harvest
    if profile.cut_off is None or ripe is None:
        return None
    month, day = parse_month_day(ripe)
    harvest = dt.date(start.year, month, day)
    if harvest < start:
        harvest = dt.date(start.year + 1, month, day)
    return harvest - dt.timedelta(days=profile.cut_off.least_days)
