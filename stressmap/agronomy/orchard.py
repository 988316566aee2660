"""The crops of the blocks at hand: which profile a block has, and its season target on a day."""

from __future__ import annotations

import datetime as dt
import difflib
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.profile_parts import Allowance
from stressmap.agronomy.target import (
    calendar_days,
    month_day_six_months_on,
    planted_within,
    six_months_on,
    target_bar,
    with_harvest,
    young_tree_target_bar,
)
from stressmap.core.arrays import Floats
from stressmap.core.errors import DataError, Problem, SettingsError
from stressmap.core.notes import Notes
from stressmap.core.settings import RankBy
from stressmap.intake.unit_headings import normal

Profiles = dict[str, CropProfile]
HARVEST = "Write month and day of the harvest, MM-DD, after the first day of the crop's season_target"
"""What to do about a harvest that no season can end with."""


@dataclass(frozen=True)
class Orchard:
    """The blocks with their crops settled, and each crop's profile as it holds on this ranch.

    Made once by :func:`settle` and handed on; nobody settles a crop or a hemisphere again.

    Parameters
    ----------
    blocks : GeoDataFrame, n rows
        As :data:`stressmap.core.schemas.BLOCKS`; ``crop`` is a key of ``profiles``.
    profiles : dict of str to CropProfile
        Of the crops that are grown, in order, their built-in seasons those of the ranch's hemisphere.
    blocks_file, settings_file : str
        The file of the blocks and the ``ranch.toml``, for messages.
    """

    blocks: Any
    profiles: Profiles
    blocks_file: str = "blocks"
    settings_file: str = "ranch.toml"

    def targets(self, places: pd.DataFrame, days: Any) -> Floats:
        """Give the season target of places on days; as :func:`targets`.

        Parameters
        ----------
        places : DataFrame, n rows
            ``block``, ``crop``, ``harvest``, ``planted``.
        days : array, Series or index of dates, n of them
            Local calendar days.

        Returns
        -------
        array of float, shape (n,)
            [bar].
        """
        return targets(places, days, self.profiles, self.blocks_file, self.settings_file)

    def seasons(self) -> dict[tuple[str, str | None], tuple[tuple[str, float], ...]]:
        """Give the season targets that the blocks are held against.

        Returns
        -------
        dict of (crop, harvest) to points
            Harvest as ``MM-DD``, None where the crop's season ends as its profile says; points are month and
            day with the target [bar]. One entry for each harvest that a block or its crop has.
        """
        own = self.blocks["harvest"].astype(object).where(self.blocks["harvest"].notna(), None)
        kinds = sorted(
            set(zip(self.blocks["crop"], own, strict=True)), key=lambda kind: (kind[0], kind[1] or "")
        )
        found: dict[tuple[str, str | None], tuple[tuple[str, float], ...]] = {}
        for crop, day in kinds:
            profile = self.profiles[crop]
            harvest = day or profile.harvest
            if profile.season_target:
                points = profile.season_target
                found[crop, harvest] = with_harvest(points, harvest) if harvest else points
        return found


def settle(
    blocks: Any, profiles: Profiles, notes: Notes, *, blocks_file: str, settings_file: str = "ranch.toml"
) -> Orchard:
    """Settle crops and hemisphere, once for a whole run.

    Parameters
    ----------
    blocks : GeoDataFrame
        As :data:`stressmap.core.schemas.BLOCKS`, crops as the file calls them.
    profiles : dict of str to CropProfile
        From :func:`stressmap.agronomy.crops.load_profiles`.
    notes : Notes
        Told where another name for a crop was taken, and which seasons were moved.
    blocks_file, settings_file : str
        For messages.

    Returns
    -------
    Orchard

    Raises
    ------
    DataError
        If a crop has no profile; one problem per crop.
    """
    settled = settle_crops(blocks, profiles, blocks_file, notes)
    grown = {crop: profiles[crop] for crop in sorted(settled["crop"].unique())}
    return Orchard(settled, at_latitude(grown, latitude_of(blocks), notes), blocks_file, settings_file)


def settle_crops(blocks: pd.DataFrame, profiles: Profiles, where: str, notes: Notes) -> pd.DataFrame:
    """Give every block the name of a crop profile, from what the file calls its crop.

    Parameters
    ----------
    blocks : DataFrame
        Columns ``block`` and ``crop``.
    profiles : dict of str to CropProfile
        By crop name.
    where : str
        The file of the blocks, for messages.
    notes : Notes
        Told where another name for a crop was taken.

    Returns
    -------
    DataFrame
        A copy; ``crop`` is a key of ``profiles``.

    Raises
    ------
    DataError
        If a crop has no profile; one problem per crop.
    """
    known, problems = dict[str, str](), []
    for crop in pd.unique(blocks["crop"]):
        name = profile_name(str(crop), profiles)
        if name is None:
            problems.append(_unknown(str(crop), blocks, list(profiles), where))
            continue
        known[crop] = name
        if normal(name) != normal(str(crop)):
            notes.say(f"{where}: the crop {crop!r} is taken as {name}.")
    if problems:
        raise DataError(problems)
    return blocks.assign(crop=[known[crop] for crop in blocks["crop"]])


def profile_name(crop: str, profiles: Profiles) -> str | None:
    """Tell which crop profile is meant.

    Parameters
    ----------
    crop : str
        As people write it: another word for the crop, Spanish or a plural.
    profiles : dict of str to CropProfile
        By crop name.

    Returns
    -------
    str or None
        A key of ``profiles``; None where there is none, as for fresh plums, which are not
        let down like prunes.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> profiles = load_profiles({}, "ranch.toml")
    >>> profile_name("Ciruela pasa", profiles), profile_name("plum", profiles)
    ('prune', None)
    """
    known = {normal(also): name for name, profile in profiles.items() for also in profile.also}
    known |= {normal(name): name for name in profiles}
    return known.get(normal(crop))


def _unknown(crop: str, blocks: pd.DataFrame, names: list[str], where: str) -> Problem:
    first = blocks.loc[blocks["crop"] == crop, "block"].iloc[0]
    near = difflib.get_close_matches(normal(crop), names, n=1)
    guess = f"Did you mean {near[0]!r}? Otherwise write" if near else "Write"
    remedy = f"{guess} a profile [crops.{normal(crop)}] in the settings, or one of {', '.join(sorted(names))}"
    return Problem(where, f"block {first!r}: no profile for the crop {crop!r}", remedy, column="crop")


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


def at_latitude(profiles: Profiles, latitude: float | None, notes: Notes) -> Profiles:
    """Move the built-in seasons by half a year where the ranch lies in the other hemisphere.

    What the ranch wrote itself is taken as it stands.

    Parameters
    ----------
    profiles : dict of str to CropProfile
        By crop name.
    latitude : float or None
        [degrees], negative in the south; None leaves all as it is.
    notes : Notes
        Told which crops were moved.

    Returns
    -------
    dict of str to CropProfile

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> at_latitude(load_profiles({}, "ranch.toml"), -34.0, Notes())["prune"].season_target
    (('11-01', -6.0), ('02-01', -14.0))
    """
    if latitude is None:
        return profiles
    here = "south" if latitude < 0.0 else "north"
    moved = {name: _in_hemisphere(profile, here) for name, profile in profiles.items()}
    changed = [name for name in moved if _season(moved[name]) != _season(profiles[name])]
    if changed:
        notes.say(
            f"The ranch lies in the {here}: the built-in season of {', '.join(sorted(changed))} was moved "
            "by six months; write [crops] season_target to set your own days."
        )
    return moved


def _season(profile: CropProfile) -> tuple[object, ...]:
    return profile.season_target, profile.allowance


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
    return profile.model_copy(update=changes)


def _six_months_on(allowance: Allowance) -> Allowance:
    return allowance.model_copy(update={"points": six_months_on(allowance.points)})


def require_ranking(crops: list[str], profiles: Profiles, rank_by: RankBy, where: str = "ranch.toml") -> None:
    """Refuse a ranking that a crop cannot give.

    Parameters
    ----------
    crops : list of str
        The crops that were measured.
    profiles : dict of str to CropProfile
        By crop name.
    rank_by : str
        The ranked figure.
    where : str
        The ``ranch.toml``, for messages.

    Raises
    ------
    SettingsError
        Naming each crop that lacks a season target (or a baseline), and the ways out.
    """
    key = {"below_target": "season_target", "below_baseline": "baseline"}.get(rank_by)
    lacking = [crop for crop in crops if key and getattr(profiles[crop], key) is None]
    remedies = {
        "below_target": 'season_target = [["MM-DD", bar], ...] with your own days and targets, or '
        '[map] rank_by = "tension"',
        "below_baseline": "baseline = { intercept_bar = ..., slope_bar_per_kpa = ... } if one is published "
        'for your crop, or [map] rank_by = "below_target" or "tension"',
    }
    words = {"below_target": "season target", "below_baseline": "fully watered baseline"}
    if lacking:
        raise SettingsError(
            Problem(
                where,
                f"the crop {crop} has no {words[rank_by]}, and rank_by = {rank_by!r} needs one",
                f"Write [crops.{crop}] {remedies[rank_by]}",
                column=f"crops.{crop}.{key}",
            )
            for crop in lacking
        )


def targets(
    places: pd.DataFrame, days: Any, profiles: Profiles, where: str, settings_file: str = "ranch.toml"
) -> Floats:
    """Give the season target of places on days, young trees and own harvest days included.

    Parameters
    ----------
    places : DataFrame, n rows
        ``block``, ``crop`` (a key of ``profiles``, or None), ``harvest`` (``MM-DD`` or None), ``planted``
        (year or NaN).
    days : array, Series or index of dates, n of them
        Local calendar days; NaT gives NaN.
    profiles : dict of str to CropProfile
        By crop name.
    where, settings_file : str
        The file of the blocks and the ``ranch.toml``, for messages.

    Returns
    -------
    array of float, shape (n,)
        [bar]; NaN where the crop is unknown or has no season target.

    Raises
    ------
    DataError
        If a block's harvest is no day of the year or before the season's first point.
    SettingsError
        If the harvest of a crop's profile is.
    """
    when = calendar_days(days)
    harvest = places["harvest"].astype(object).where(places["harvest"].notna(), "")
    result = np.full(len(places), np.nan)
    kinds = pd.DataFrame({"crop": places["crop"].to_numpy(), "harvest": harvest.to_numpy()})
    groups: dict[Any, Any] = kinds.groupby(["crop", "harvest"], dropna=True).indices
    for (crop, day), at in groups.items():
        profile = profiles[crop]
        if profile.season_target is None:
            continue
        try:
            result[at] = target_bar(when[at], profile.season_target, harvest=day or profile.harvest)
        except ValueError as error:
            if not day:
                column = f"crops.{crop}.harvest"
                raise SettingsError(Problem(settings_file, str(error), HARVEST, column=column)) from None
            what = f"block {places['block'].iloc[at[0]]!r}: {error}"
            raise DataError(Problem(where, what, HARVEST, column="harvest")) from None
    return _young_limited(result, places, when, profiles)


def _young_limited(
    target: Floats, places: pd.DataFrame, when: NDArray[np.datetime64], profiles: Profiles
) -> Floats:
    limited = target.copy()
    for crop in places["crop"].dropna().unique():
        young = profiles[crop].young
        if young is None:
            continue
        here = young_rows(places, when, young.years) & (places["crop"] == crop).to_numpy()
        limited[here] = young_tree_target_bar(target[here], young.driest_target_bar)
    return limited


def young_rows(places: pd.DataFrame, when: NDArray[np.datetime64], years: int) -> NDArray[np.bool_]:
    """Tell which places were planted under so many years before their day.

    Parameters
    ----------
    places : DataFrame, n rows
        ``planted``, a year or NaN.
    when : array of datetime64[D], shape (n,)
        NaT is nowhere young.
    years : int
        How many years count as young.

    Returns
    -------
    array of bool, shape (n,)
    """
    return planted_within(places["planted"].to_numpy(np.float64), when, years)


def middle_day(visit: tuple[dt.date, dt.date]) -> dt.date:
    """Give the middle day of a visit, the earlier of two.

    Parameters
    ----------
    visit : tuple of date
        First and last day.

    Returns
    -------
    date

    Examples
    --------
    >>> middle_day((dt.date(2026, 7, 14), dt.date(2026, 7, 17))).isoformat()
    '2026-07-15'
    """
    return visit[0] + (visit[1] - visit[0]) // 2
