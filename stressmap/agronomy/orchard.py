"""The crops of the blocks at hand: which profile a block has, and its season target on a day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.agronomy.allowance import allowances, least_allowances, limits
from stressmap.agronomy.baseline import baseline_bar
from stressmap.agronomy.crop_names import settle_crops
from stressmap.agronomy.crops import CropProfile, for_variety
from stressmap.agronomy.hemisphere import at_latitude, latitude_of
from stressmap.agronomy.target import (
    calendar_days,
    planted_within,
    target_bar,
    young_tree_target_bar,
)
from stressmap.agronomy.visit_weather import UsualWeather, weather_shift_bar
from stressmap.core.arrays import Floats
from stressmap.core.errors import DataError, Problem, SettingsError
from stressmap.core.notes import Noted, NoteList
from stressmap.core.settings import RankBy

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
    usual : UsualWeather
        What is usual on the ranch, for season targets in absolute figures; empty without weather.
    """

    blocks: Any
    profiles: Profiles
    blocks_file: str = "blocks"
    settings_file: str = "ranch.toml"
    usual: UsualWeather = field(default_factory=UsualWeather)

    def season_targets(self, places: pd.DataFrame, days: Any) -> Floats:
        """Give the season target of places on days in absolute figures; as :func:`targets`.

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

    def baselines(self, places: pd.DataFrame, vpd_kpa: Floats) -> Floats:
        """Give what fully watered trees show at a deficit.

        Parameters
        ----------
        places : DataFrame, n rows
            ``crop`` and, optionally, ``variety``.
        vpd_kpa : array of float, shape (n,)
            [kPa].

        Returns
        -------
        array of float, shape (n,)
            [bar]; NaN where the crop has no line or the deficit is unknown.
        """
        result = np.full(len(places), np.nan)
        for profile, here in self._kinds(places):
            if profile.baseline is not None:
                line = profile.baseline
                result[here] = baseline_bar(
                    vpd_kpa[here], intercept_bar=line.intercept_bar, slope_bar_per_kpa=line.slope_bar_per_kpa
                )
        return result

    def shifts(self, places: pd.DataFrame, vpd_kpa: Floats, middle_kpa: float) -> Floats:
        """Give what carries potentials along their fully watered line to a middle weather.

        Parameters
        ----------
        places : DataFrame, n rows
            ``crop`` and, optionally, ``variety``.
        vpd_kpa : array of float, shape (n,)
            Deficit of each reading's own minute [kPa].
        middle_kpa : float
            The visit's [kPa].

        Returns
        -------
        array of float, shape (n,)
            [bar]; 0 where the crop has no line or a deficit is unknown.
        """
        result = np.zeros(len(places))
        for profile, here in self._kinds(places):
            if profile.baseline is not None:
                result[here] = weather_shift_bar(vpd_kpa[here], profile.baseline, middle_kpa)
        return result

    def allowances(self, places: pd.DataFrame, days: Any) -> Floats:
        """Give how far below a fully watered tree the crop should stand on days.

        That of the crop's profile; where the ranch wrote a ``season_target`` of its own in absolute figures,
        what it allows in the weather that is usual about that date, never less than the crop's least.

        Parameters
        ----------
        places : DataFrame, n rows
            ``block``, ``crop``, ``harvest``, ``planted`` and, optionally, ``variety``.
        days : array, Series or index of dates, n of them
            Local calendar days.

        Returns
        -------
        array of float, shape (n,)
            [bar], not negative; NaN where the crop has none, or where what is usual is not known.
        """
        when = calendar_days(days)
        result = allowances(places, when, self.profiles, self.blocks_file, self.settings_file)
        own = self._absolute(places)
        if own.any():
            at_usual = self.baselines(places, self.usual.on(when))
            allowed = at_usual - self.season_targets(places, days)
            allowed = np.maximum(allowed, least_allowances(places, self.profiles))
            known = np.isfinite(allowed)
            result[own] = np.where(known, np.fmin(allowed, self._young_allowances(places, when)), np.nan)[own]
        return result

    def targets(self, places: pd.DataFrame, days: Any, baseline: Floats) -> Floats:
        """Give where the crop should stand on days, in the weather that a baseline is of.

        Parameters
        ----------
        places : DataFrame, n rows
            ``block``, ``crop``, ``harvest``, ``planted`` and, optionally, ``variety``.
        days : array, Series or index of dates, n of them
            Local calendar days.
        baseline : array of float, shape (n,)
            What fully watered trees show in that weather [bar]; NaN where unknown.

        Returns
        -------
        array of float, shape (n,)
            The baseline less the allowance [bar]; the season's absolute figure where either is unknown.
        """
        relative = baseline - self.allowances(places, days)
        return np.where(np.isfinite(relative), relative, self.season_targets(places, days))

    def limits(self, places: pd.DataFrame, days: tuple[dt.date, dt.date] | None = None) -> Floats:
        """Give how far below a fully watered tree the crop is harmed; as :func:`limits`.

        Parameters
        ----------
        places : DataFrame, n rows
            ``crop`` and, optionally, ``variety``.
        days : tuple of date, optional
            First and last: the least limit of these days.

        Returns
        -------
        array of float, shape (n,)
            [bar]; NaN where the crop has none.
        """
        return limits(places, self.profiles, days)

    def _absolute(self, places: pd.DataFrame) -> NDArray[np.bool_]:
        """Tell where the season is in absolute figures: the ranch's own, or all that the profile has."""
        found = np.zeros(len(places), dtype=bool)
        for crop in places["crop"].dropna().unique():
            profile = self.profiles[crop]
            written = profile.is_own("season_target") and not profile.is_own("allowance")
            if written or (profile.allowance is None and profile.season_target is not None):
                found |= (places["crop"] == crop).to_numpy()
        return found

    def _young_allowances(self, places: pd.DataFrame, when: NDArray[np.datetime64]) -> Floats:
        """Return the most that young trees are allowed [bar], NaN where trees bear or nothing is said."""
        result = np.full(len(places), np.nan)
        for crop, profile in self.profiles.items():
            young = profile.young
            if young is not None and young.allowance_bar is not None:
                here = young_rows(places, when, young.years) & (places["crop"] == crop).to_numpy()
                result[here] = young.allowance_bar
        return result

    def _kinds(self, places: pd.DataFrame) -> Iterator[tuple[CropProfile, NDArray[np.bool_]]]:
        """Give each kind of tree among places, a crop or a variety of it with its own figures."""
        wanted = places.reindex(columns=["crop", "variety"]).reset_index(drop=True)
        kinds = wanted.astype(object).where(wanted.notna(), "")
        groups: dict[Any, Any] = kinds.groupby(["crop", "variety"]).indices
        for (crop, name), at in groups.items():
            if not crop:
                continue
            here = np.zeros(len(places), dtype=bool)
            here[at] = True
            yield for_variety(self.profiles[crop], name), here

    def courses(self, days: Any) -> dict[tuple[str, str, str | None], Floats]:
        """Give the targets that blocks of bearing trees are held against on days of usual weather.

        Parameters
        ----------
        days : array, Series or index of dates, n of them
            Local calendar days.

        Returns
        -------
        dict of (crop, variety, harvest) to array of float, shape (n,)
            Variety as the blocks' file writes it, empty where the crop has no figures of its own for it;
            harvest as ``MM-DD``, None where the season stands as the profile has it. Targets [bar], in
            absolute figures where what is usual is not known; NaN where there are none.
        """
        wanted = pd.DataFrame(self.blocks).reindex(columns=["crop", "variety", "harvest"]).astype(object)
        rows = wanted.where(wanted.notna(), None).itertuples(index=False, name=None)
        kinds = {(crop, self._own_variety(crop, name), day) for crop, name, day in rows}
        when = calendar_days(days)
        found: dict[tuple[str, str, str | None], Floats] = {}
        for crop, name, day in sorted(kinds, key=lambda kind: (kind[0], kind[1], kind[2] or "")):
            places = pd.DataFrame(
                {"block": "", "crop": crop, "variety": name, "harvest": day, "planted": np.nan},
                index=range(len(when)),
            )
            usual = self.baselines(places, self.usual.on(when))
            found[crop, name, day or self.profiles[crop].harvest] = self.targets(places, days, usual)
        return found

    def _own_variety(self, crop: str, name: str | None) -> str:
        """Return a variety's name where the crop's profile has figures of its own for it."""
        profile = self.profiles[crop]
        return name if name and for_variety(profile, name) != profile else ""


def settle(
    blocks: Any,
    profiles: Profiles,
    *,
    blocks_file: str,
    settings_file: str = "ranch.toml",
    shown: Callable[[str], str] = str,
) -> Noted[Orchard]:
    """Settle crops and hemisphere, once for a whole run.

    Parameters
    ----------
    blocks : GeoDataFrame
        As :data:`stressmap.core.schemas.BLOCKS`, crops as the file calls them.
    profiles : dict of str to CropProfile
        From :func:`stressmap.agronomy.crops.load_profiles`.
    blocks_file, settings_file : str
        For messages.
    shown : callable
        Of a crop, its word in the reader's language.

    Returns
    -------
    Noted of Orchard
        Says where another name for a crop was taken, and which seasons were moved.

    Raises
    ------
    DataError
        If a crop has no profile; one problem per crop.
    """
    notes = NoteList()
    settled = notes.keep(settle_crops(blocks, profiles, blocks_file, shown))
    grown = {crop: profiles[crop] for crop in sorted(settled["crop"].unique())}
    here = notes.keep(at_latitude(grown, latitude_of(blocks)))
    return notes.beside(Orchard(settled, here, blocks_file, settings_file))


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
                f"Write [crops.{crop.replace(' ', '_')}] {remedies[rank_by]}",
                column=f"crops.{crop.replace(' ', '_')}.{key}",
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
