"""Crop profiles: what is known of a crop, every figure with its source and standing, from TOML.

The built-in ones are ``crops/*.toml``; the ``[crops.X]`` tables of a ranch are laid over them, and new crops
may be added there. A crop without a published baseline has none: it is ranked by tension or by its target.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, Field, ValidationError, model_validator

from stressmap.agronomy.profile_parts import (
    SET_BY_RANCH,
    Allowance,
    Bars,
    BaselineLine,
    Caution,
    CropCoefficient,
    CropNames,
    CutOff,
    Depth,
    Edge3,
    Edges,
    Level,
    LimitSpan,
    Roots,
    Scale,
    Source,
    Stage,
    StressShares,
    Targets,
    TooWet,
    Variety,
    Young,
)
from stressmap.agronomy.target import check_season
from stressmap.core.errors import Problem, SettingsError, what_and_remedy
from stressmap.core.setting_types import MonthDay, Part
from stressmap.core.settings import RankBy
from stressmap.intake.unit_headings import normal

__all__ = [
    "BaselineLine",
    "CropProfile",
    "Edge3",
    "Edges",
    "Stage",
    "edges_for",
    "for_variety",
    "level_of",
    "load_profiles",
]

BUILT_IN = Path(__file__).parent / "crops"


class CropProfile(Part):
    """What is known of one crop.

    ``harvest`` is the ranch's own; ``usual_harvest`` the one that the built-in season is drawn for.
    ``limit_bar`` is how far below the fully watered line the crop is harmed, ``limit_within`` where that is
    less on some days of the year; ``mm_per_bar`` the water that brings its trees back by one bar [mm], where
    that was measured on the ranch.
    """

    name: str = Field(min_length=1)
    also: tuple[str, ...] = ()
    title: CropNames
    hemisphere: Literal["north", "south"] = "north"
    season_target: Targets | None = None
    harvest: MonthDay | None = None
    usual_harvest: MonthDay | None = None
    allowance: Allowance | None = None
    limit_bar: Bars | None = None
    limit_within: tuple[LimitSpan, ...] = ()
    cut_off: CutOff | None = None
    varieties: dict[str, Variety] = Field(default_factory=dict)
    baseline: BaselineLine | None = None
    edges: Edges = Edges()
    young: Young | None = None
    too_wet: TooWet | None = None
    stages: tuple[Stage, ...] = ()
    crop_coefficient: CropCoefficient | None = None
    stress_coefficient: StressShares | None = None
    roots: Roots = Roots()
    mm_per_bar: Depth | None = None
    levels: tuple[Level, ...] = ()
    cautions: tuple[Caution, ...] = ()
    sources: dict[str, Source] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _stages_in_order(self) -> CropProfile:
        if self.stages:
            check_season([(stage.begins, stage.harm) for stage in self.stages])
        return self

    def is_own(self, key: str) -> bool:
        """Tell whether the ranch wrote a key itself.

        Parameters
        ----------
        key : str
            ``"season_target"``.

        Returns
        -------
        bool
        """
        return key in self.sources and self.sources[key].standing == SET_BY_RANCH


def load_profiles(overrides: Mapping[str, Mapping[str, Any]], where: str) -> dict[str, CropProfile]:
    """Load the built-in profiles and lay a ranch's own figures over them.

    A key of a ranch replaces the whole built-in key; of ``edges`` only the rankings named are replaced.

    Parameters
    ----------
    overrides : mapping of str to mapping
        ``[crops.X]`` of a ``ranch.toml``.
    where : str
        The ``ranch.toml``, for messages.

    Returns
    -------
    dict of str to CropProfile
        By lower-case crop name.

    Raises
    ------
    SettingsError
        If a key or value is wrong; one problem each.

    Examples
    --------
    >>> own = {"pistachio": {"season_target": [["05-01", -8], ["09-01", -14]]}}
    >>> profiles = load_profiles(own, "ranch.toml")
    >>> sorted(profiles), profiles["pistachio"].baseline
    (['almond', 'cherry', 'olive', 'pistachio', 'prune', 'table grape', 'walnut'], None)
    """
    tables = _read_all(BUILT_IN)
    spelt = {normal(name): name for name in tables}
    profiles = dict(_profiles(BUILT_IN))
    problems: list[Problem] = []
    for written, own in overrides.items():
        name = spelt.get(normal(written), written.strip().lower())
        try:
            profiles[name] = CropProfile.model_validate(_laid_over(name, tables.get(name), own))
        except ValidationError as error:
            problems += [_problem(where, written, detail) for detail in error.errors()]
    if problems:
        raise SettingsError(problems)
    return profiles


@cache
def _profiles(folder: Path) -> dict[str, CropProfile]:
    """Read the profiles of a folder, once; not to be changed."""
    return {name: CropProfile.model_validate(table) for name, table in sorted(_read_all(folder).items())}


@cache
def _read_all(folder: Path) -> dict[str, dict[str, Any]]:
    """Read the tables of a folder, once; not to be changed."""
    tables = [tomllib.loads(path.read_text(encoding="utf-8")) for path in folder.glob("*.toml")]
    return {table["name"]: table for table in tables}


def _laid_over(name: str, base: Mapping[str, Any] | None, own: Mapping[str, Any]) -> dict[str, Any]:
    table: dict[str, Any] = {
        "title": {"en": name.capitalize(), "es": name.capitalize()},
        **(base or {}),
        **own,
    }
    keys = set(own) - {"sources"}
    if isinstance(own.get("edges"), Mapping):
        table["edges"] = {**(base or {}).get("edges", {}), **own["edges"]}
        keys = (keys - {"edges"}) | {f"edges.{ranking}" for ranking in own["edges"]}
    mine = {key: {"cite": "[crops] of the ranch", "standing": SET_BY_RANCH} for key in sorted(keys)}
    told = own.get("sources", {})
    table["sources"] = (
        {**(base or {}).get("sources", {}), **mine, **told} if isinstance(told, Mapping) else told
    )
    table["name"] = name
    return table


def _problem(where: str, crop: str, detail: Any) -> Problem:
    place = [str(part) for part in detail["loc"] if part != "[key]"]
    dotted = ".".join(["crops", crop, *place])
    if detail["type"] == "extra_forbidden":
        known = _known_keys(detail["loc"][:-1])
        near = difflib.get_close_matches(place[-1], known, n=1, cutoff=0.0)[0]
        return Problem(
            where, f"unknown key {dotted!r}", f"Did you mean {near!r}? Known here: {', '.join(known)}"
        )
    if detail["type"] == "missing":
        return Problem(where, f"the key {dotted!r} is missing", "Add it beside the other keys of that table")
    what, remedy = what_and_remedy(detail, _remedy(place))
    return Problem(where, what, remedy, column=dotted)


def _remedy(place: list[str]) -> str:
    if place and place[0] == "season_target":
        return 'Write potentials in bar, negative, as [["05-01", -6.0], ["08-01", -14.0]]'
    if place and place[0] in ("allowance", "varieties"):
        return 'Write bars below the fully watered line as points = [["04-01", 2.0], ["08-05", 6.0]]'
    return "Correct it"


def _known_keys(place: tuple[Any, ...]) -> list[str]:
    model: Any = CropProfile
    for part in (p for p in place if isinstance(p, str) and p in model.model_fields):
        model = next(iter(_models_in(model.model_fields[part].annotation)), model)
    return sorted(field.alias or name for name, field in model.model_fields.items())


def _models_in(annotation: Any) -> list[Any]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for inner in getattr(annotation, "__args__", ()) for model in _models_in(inner)]


def for_variety(profile: CropProfile, variety: object) -> CropProfile:
    """Give a crop's profile with what is known of a variety in place.

    A key that the ranch wrote for the crop goes before what is built in for the variety.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    variety : str or None
        As people write it; an unknown one, or anything that is no text, leaves the crop's own.

    Returns
    -------
    CropProfile

    Examples
    --------
    >>> walnut = load_profiles({}, "ranch.toml")["walnut"]
    >>> for_variety(walnut, "SERR").allowance.least_bar, for_variety(walnut, "Hartley") is walnut
    (1.5, True)
    """
    if not isinstance(variety, str) or not profile.varieties:
        return profile
    wanted = normal(variety)
    known = {normal(word): found for name, found in profile.varieties.items() for word in (name, *found.also)}
    if wanted not in known:
        return profile
    ours = profile.is_own("varieties")
    changes = {
        key: value
        for key in ("allowance", "baseline")
        if (value := getattr(known[wanted], key)) is not None and (ours or not profile.is_own(key))
    }
    return profile.model_copy(update=changes)


def edges_for(
    profile: CropProfile, rank_by: RankBy, edges_bar: Edge3 | None = None, where: str = "ranch.toml"
) -> Edge3:
    """Give the edges between the four priorities for a crop and a ranking.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    rank_by : str
        ``"below_target"``, ``"below_baseline"`` or ``"tension"``.
    edges_bar : tuple of float, optional
        Those of the map's settings, which go before the crop's.
    where : str
        The ``ranch.toml``, for messages.

    Returns
    -------
    tuple of float
        Three rising edges on the ranked figure [bar].

    Raises
    ------
    SettingsError
        If the crop has none for that ranking.

    Examples
    --------
    >>> edges_for(load_profiles({}, "ranch.toml")["prune"], "below_target")
    (0.0, 2.0, 4.0)
    """
    edges: Edge3 | None = edges_bar or getattr(profile.edges, rank_by)
    if edges is None:
        key = profile.name.replace(" ", "_")
        raise SettingsError(
            Problem(
                where,
                f"{profile.name} has no edges for rank_by = {rank_by!r}",
                f"Write [crops.{key}] edges = {{ {rank_by} = [..., ..., ...] }} "
                f"or [map] edges_bar, three rising numbers in bar{_published(profile, rank_by)}",
                column=f"crops.{key}.edges.{rank_by}",
            )
        )
    return edges


def _published(profile: CropProfile, rank_by: RankBy) -> str:
    """Name the steps of a crop's levels, which are too few for edges, as a help to whoever writes some."""
    steps = sorted({-level.from_bar for level in profile.levels if level.scale == "absolute"} - {0.0})
    if rank_by != "tension" or not steps:
        return ""
    return f" (of {profile.name} {', '.join(f'{step:g}' for step in steps)} bar of tension are published)"


def level_of(profile: CropProfile, scale: Scale, bar: float) -> Level | None:
    """Find what a potential means for a crop, on one of the two published scales.

    Parameters
    ----------
    profile : CropProfile
        The crop.
    scale : str
        ``"absolute"`` for a potential, ``"below_baseline"`` for its distance from the fully watered line.
    bar : float
        Potential, or potential less baseline [bar]; negative is drier on both.

    Returns
    -------
    Level or None
        None where the crop has no word for it.

    Examples
    --------
    >>> level_of(load_profiles({}, "ranch.toml")["prune"], "absolute", -14.0).level.en
    'mild to moderate'
    """
    return next((level for level in profile.levels if level.scale == scale and level.holds(bar)), None)
