"""Crop profiles: what is known of a crop, every figure with its source and standing, from TOML.

The built-in ones are ``crops/*.toml``; the ``[crops.X]`` tables of a ranch are laid over them, and new crops
may be added there. A crop without a published baseline has none: it is ranked by tension or by its target.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, Field, ValidationError, model_validator

from stressmap.agronomy.target import check_season
from stressmap.core.errors import Problem, SettingsError, what_and_remedy
from stressmap.core.settings import Baseline, MonthDay, Part, RankBy

Standing = Literal[
    "read", "from memory, cross-checked", "from memory only", "derived", "common practice, no source",
    "set by the ranch",
]  # fmt: skip
"""How far a figure can be trusted: the text was read; remembered and recomputed; only remembered; worked out
here from other figures; what people in the trade do; or what the user wrote."""

Edge3 = tuple[float, float, float]
Scale = Literal["absolute", "below_baseline"]
SET_BY_RANCH: Standing = "set by the ranch"
BUILT_IN = Path(__file__).parent / "crops"
PARTIAL = BUILT_IN / "partial"
"""What is known of crops without a whole profile, laid under what a ranch writes about them."""


def _rising(edges: Edge3) -> Edge3:
    if not edges[0] < edges[1] < edges[2]:
        msg = f"{list(edges)} does not rise; write three rising numbers such as [0, 2, 4]"
        raise ValueError(msg)
    return edges


def _in_season_order(points: tuple[tuple[str, float], ...]) -> tuple[tuple[str, float], ...]:
    check_season(points)
    return points


Edges3 = Annotated[Edge3, AfterValidator(_rising)]
Potential = Annotated[float, Field(ge=-60.0, le=0.0)]
Targets = Annotated[tuple[tuple[MonthDay, Potential], ...], AfterValidator(_in_season_order)]
Coefficients = Annotated[
    tuple[tuple[MonthDay, Annotated[float, Field(ge=0.0, le=2.0)]], ...], AfterValidator(_in_season_order)
]


class CropNames(Part):
    """One text in the languages of the sheets."""

    en: str
    es: str

    def said(self, language: str) -> str:
        """Return it in a language.

        Parameters
        ----------
        language : str
            ``"en"`` or ``"es"``.

        Returns
        -------
        str
        """
        return self.es if language == "es" else self.en


class Source(Part):
    """Where a figure comes from, and how far it can be trusted."""

    cite: str
    standing: Standing
    remark: str | None = None


class BaselineLine(Baseline):
    """Fully watered line, and the deficits [kPa] it was published for."""

    vpd_range_kpa: tuple[float, float] | None = None
    provisional: bool = False


class Edges(Part):
    """The edges between the four priorities [bar], for each of the three ranked figures."""

    below_target: Edges3 = (0.0, 2.0, 4.0)
    below_baseline: Edges3 | None = None
    tension: Edges3 | None = None


class Level(Part):
    """What a range of potentials means; the two scales are published apart and never converted."""

    scale: Scale
    from_bar: float
    to_bar: float | None = None
    level: CropNames
    text: CropNames
    standing: Standing

    def holds(self, bar: float) -> bool:
        """Tell whether a potential (or a distance from the baseline), both negative [bar], is in the range.

        Parameters
        ----------
        bar : float
            [bar].

        Returns
        -------
        bool
        """
        return bar <= self.from_bar and (self.to_bar is None or bar > self.to_bar)


class Stage(Part):
    """A growth stage: the day it begins and how harmful stress is in it, 0 (not) to 1 (most)."""

    begins: MonthDay = Field(alias="from")
    harm: float = Field(ge=0.0, le=1.0)
    text: CropNames


class Young(Part):
    """Limits for trees planted under ``years`` years ago."""

    driest_target_bar: Potential
    years: int = Field(default=4, ge=1)


class TooWet(Part):
    """Trees whose distance below the baseline is under this [bar] are too wet, not praiseworthy."""

    below_baseline_bar: float


class CropCoefficient(Part):
    """Crop coefficient on reference evapotranspiration through the season, and height of the trees [m]."""

    points: Coefficients
    height_m: float = Field(default=3.0, gt=0.0)


class Roots(Part):
    """What trees take from the soil.

    ``depth_m`` is how deep the roots of irrigated trees reach [m]; ``depletion_fraction`` the share of the
    available water there that they take without stress, at a crop evapotranspiration of 5 mm a day.
    """

    depth_m: float = Field(default=1.5, gt=0.0, le=10.0)
    depletion_fraction: float = Field(default=0.50, gt=0.0, lt=1.0)


class Caution(CropNames):
    """Something a user of this crop must know."""

    standing: Standing = SET_BY_RANCH


class CropProfile(Part):
    """What is known of one crop."""

    name: str = Field(min_length=1)
    also: tuple[str, ...] = ()
    title: CropNames
    hemisphere: Literal["north", "south"] = "north"
    season_target: Targets | None = None
    harvest: MonthDay | None = None
    baseline: BaselineLine | None = None
    edges: Edges = Edges()
    young: Young | None = None
    too_wet: TooWet | None = None
    stages: tuple[Stage, ...] = ()
    crop_coefficient: CropCoefficient | None = None
    roots: Roots = Roots()
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
    (['almond', 'pistachio', 'prune', 'walnut'], None)
    """
    tables, partial = _read_all(BUILT_IN), _read_all(PARTIAL)
    profiles = {name: CropProfile.model_validate(table) for name, table in sorted(tables.items())}
    problems: list[Problem] = []
    for written, own in overrides.items():
        name = written.strip().lower()
        try:
            profiles[name] = CropProfile.model_validate(_laid_over(name, (partial | tables).get(name), own))
        except ValidationError as error:
            problems += [_problem(where, written, detail) for detail in error.errors()]
    if problems:
        raise SettingsError(problems)
    return profiles


def _read_all(folder: Path) -> dict[str, dict[str, Any]]:
    return {path.stem: tomllib.loads(path.read_text(encoding="utf-8")) for path in folder.glob("*.toml")}


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
        raise SettingsError(
            Problem(
                where,
                f"{profile.name} has no edges for rank_by = {rank_by!r}",
                f"Write [crops.{profile.name}] edges = {{ {rank_by} = [..., ..., ...] }} "
                "or [map] edges_bar, three rising numbers in bar",
                column=f"crops.{profile.name}.edges.{rank_by}",
            )
        )
    return edges


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
