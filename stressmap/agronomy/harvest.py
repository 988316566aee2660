"""A crop's profile as it holds for one harvest: stages, allowance and crop coefficient moved with it."""

from __future__ import annotations

import datetime as dt
from typing import Any, TypeVar

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.profile_parts import Allowance, CropCoefficient, Stage
from stressmap.agronomy.target import moved_to_harvest
from stressmap.core.units import parse_month_day

Curve = TypeVar("Curve", Allowance, CropCoefficient)


def at_harvest(profile: CropProfile, harvest: str | None = None) -> CropProfile:
    """Move what hangs on the harvest to the day that a block, or its crop on this ranch, is harvested.

    What the ranch wrote itself is drawn for its own ``harvest`` of the crop, what is built in for the
    ``usual_harvest``; where that is not known, nothing moves. The season target is not touched: its last
    point goes to the harvest when it is read.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    harvest : str, optional
        Day of the year, ``MM-DD``; default: the ``harvest`` of the profile.

    Returns
    -------
    CropProfile
        Its ``harvest`` and ``usual_harvest`` are that day, so that a second call changes nothing.

    Raises
    ------
    ValueError
        If the harvest is no day of the year or not after the first point of a season.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> prune = load_profiles({}, "ranch.toml")["prune"]
    >>> [stage.begins for stage in at_harvest(prune, "08-15").stages][-3:]
    ['07-23', '08-15', '11-15']
    """
    day = harvest or profile.harvest
    if not day:
        return profile
    changes: dict[str, Any] = {"harvest": day, "usual_harvest": day}
    if profile.stages and (usual := _drawn_for(profile, "stages")):
        changes["stages"] = _stages(profile.stages, usual, day)
    if profile.allowance and (usual := _drawn_for(profile, "allowance")):
        changes["allowance"] = _moved(profile.allowance, usual, day)
    if profile.crop_coefficient and (usual := _drawn_for(profile, "crop_coefficient")):
        changes["crop_coefficient"] = _moved(profile.crop_coefficient, usual, day)
    return profile.model_copy(update=changes)


def _drawn_for(profile: CropProfile, key: str) -> str | None:
    own = profile.is_own(key) and not profile.is_own("usual_harvest")
    return (profile.harvest if own else None) or profile.usual_harvest


def _moved(curve: Curve, usual: str, harvest: str) -> Curve:
    return curve.model_copy(update={"points": moved_to_harvest(curve.points, usual, harvest)})


def _stages(stages: tuple[Stage, ...], usual: str, harvest: str) -> tuple[Stage, ...]:
    days = moved_to_harvest([(stage.begins, stage.harm) for stage in stages], usual, harvest)
    return tuple(
        stage.model_copy(update={"begins": day}) for stage, (day, _) in zip(stages, days, strict=True)
    )


def cut_off_days(profile: CropProfile, harvest: str | None = None) -> tuple[str, str] | None:
    """Give the days between which the last water before harvest is given.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    harvest : str, optional
        Day of the year, ``MM-DD``; default: that of the profile, else the usual one.

    Returns
    -------
    tuple of str, or None
        The earliest and the latest such day, ``MM-DD``; None where cut-off or harvest are not known.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> cut_off_days(load_profiles({}, "ranch.toml")["prune"], "08-25")
    ('08-11', '08-18')
    """
    day = harvest or profile.harvest or profile.usual_harvest
    if profile.cut_off is None or not day:
        return None
    ripe = dt.date(2000, *parse_month_day(day))
    early, late = (
        ripe - dt.timedelta(days=days) for days in (profile.cut_off.most_days, profile.cut_off.least_days)
    )
    return f"{early:%m-%d}", f"{late:%m-%d}"
