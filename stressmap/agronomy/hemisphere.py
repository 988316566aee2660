"""Built-in seasons moved by half a year where the ranch lies in the other hemisphere."""

from __future__ import annotations

from typing import Any

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.profile_parts import Allowance, LimitSpan
from stressmap.agronomy.target import (
    month_day_six_months_on,
    six_months_on,
)
from stressmap.core.notes import Note, Noted


def latitude_of(blocks: Any) -> float | None:
    """Give the latitude of the ranch [degrees], negative in the south.

    Parameters
    ----------
    blocks : GeoDataFrame or DataFrame
        In any CRS.

    Returns
    -------
    float or None
        None where the blocks have no shape or no CRS.
    """
    if getattr(blocks, "crs", None) is None or len(blocks) == 0:
        return None
    _, south, _, north = blocks.geometry.to_crs("EPSG:4326").total_bounds
    return float((south + north) / 2.0)


def at_latitude(profiles: dict[str, CropProfile], latitude: float | None) -> Noted[dict[str, CropProfile]]:
    """Move the built-in seasons by half a year where the ranch lies in the other hemisphere.

    What the ranch wrote itself is taken as it stands.

    Parameters
    ----------
    profiles : dict of str to CropProfile
        By crop name.
    latitude : float or None
        [degrees], negative in the south; None leaves all as it is.

    Returns
    -------
    Noted of dict of str to CropProfile
        Says which crops were moved.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> at_latitude(load_profiles({}, "ranch.toml"), -34.0).value["prune"].season_target
    (('11-01', -6.0), ('02-01', -14.0))
    """
    if latitude is None:
        return Noted(profiles)
    here = "south" if latitude < 0.0 else "north"
    moved = {name: _in_hemisphere(profile, here) for name, profile in profiles.items()}
    changed = [name for name in moved if _season(moved[name]) != _season(profiles[name])]
    notes = (Note.of("season_moved", side=here, crops=sorted(changed)),) if changed else ()
    return Noted(moved, notes)


def _in_hemisphere(profile: CropProfile, here: str) -> CropProfile:
    if profile.hemisphere == here:
        return profile
    changes: dict[str, Any] = {"hemisphere": here}
    if profile.usual_harvest and not profile.is_own("usual_harvest"):
        changes["usual_harvest"] = month_day_six_months_on(profile.usual_harvest)
    if profile.allowance and not profile.is_own("allowance"):
        changes["allowance"] = _six_months_on(profile.allowance)
    if not profile.is_own("varieties"):
        changes["varieties"] = {
            name: one.model_copy(update={"allowance": one.allowance and _six_months_on(one.allowance)})
            for name, one in profile.varieties.items()
        }
    if profile.season_target and not profile.is_own("season_target"):
        changes["season_target"] = six_months_on(profile.season_target)
    if profile.stages and not profile.is_own("stages"):
        changes["stages"] = tuple(
            s.model_copy(update={"begins": month_day_six_months_on(s.begins)}) for s in profile.stages
        )
    if profile.crop_coefficient and not profile.is_own("crop_coefficient"):
        points = six_months_on(profile.crop_coefficient.points)
        changes["crop_coefficient"] = profile.crop_coefficient.model_copy(update={"points": points})
    return profile.model_copy(update=changes | _spans(profile))


def _spans(profile: CropProfile) -> dict[str, tuple[LimitSpan, ...]]:
    if profile.is_own("limit_within"):
        return {}
    days = [[month_day_six_months_on(day) for day in (one.begins, one.until)] for one in profile.limit_within]
    return {
        "limit_within": tuple(
            span.model_copy(update={"begins": begins, "until": until})
            for span, (begins, until) in zip(profile.limit_within, days, strict=True)
        )
    }


def _season(profile: CropProfile) -> tuple[object, ...]:
    return profile.season_target, profile.allowance


def _six_months_on(allowance: Allowance) -> Allowance:
    return allowance.model_copy(update={"points": six_months_on(allowance.points)})
