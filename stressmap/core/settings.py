"""``ranch.toml`` -> one frozen :class:`Settings`, passed down in parts.

Every key of ``docs/contract.md`` has a field here; an unknown key is refused with the nearest known one.
Paths are resolved against the folder of the file.
"""

from __future__ import annotations

import datetime as dt
import difflib
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import (
    Field,
    PrivateAttr,
    ValidationError,
    field_validator,
    model_validator,
)

from stressmap.core.errors import SettingsError
from stressmap.core.listed_files import files_of
from stressmap.core.memory_settings import Memory
from stressmap.core.named_files import Files
from stressmap.core.ranch_names import Names
from stressmap.core.record_place import RecordPlace, Store
from stressmap.core.round_settings import RoundSettings
from stressmap.core.season_settings import SeasonSettings
from stressmap.core.setting_problems import MOST_PROBLEMS, keys_of, problem_of
from stressmap.core.setting_types import (
    Clock,
    Day,
    DepthMM,
    FlowM3H,
    InputFile,
    Number,
    Part,
    Share,
    Switch,
    Systems,
    VolumeM3,
    Whole,
)
from stressmap.core.toml_file import read_toml
from stressmap.core.unfilled import refuse_unfilled
from stressmap.core.watering_manners import WateringManners

FLAG_CODES = (
    "no_value", "no_place", "no_time", "outside_blocks", "near_boundary", "outside_window", "short_bag",
    "recheck_apart", "duplicate", "impossible_value", "unit_suspect", "lonlat_swapped",
    "sign_read_as_potential", "unlike_neighbours", "outside_visit",
)  # fmt: skip
"""Flag codes of ``docs/contract.md``, in its order."""
Spreadsheet = Literal["plain", "en", "es"]
Shared = Mapping[str, Mapping[str, Any]]
RankBy = Literal["below_target", "below_baseline", "tension"]

_BRACES = re.compile(r"\{\w\}").findall
STEPS = (0.25, 0.5, 1.0, 2.0)


class Ranch(Part):
    """``[ranch]``: what it is called, its clock, and the units people see.

    ``spreadsheet`` is the locale in which CSV files open with a double click; ``plain`` is for programs.
    """

    name: str = Field(min_length=1)
    timezone: str
    units: Literal["us", "metric"] = "us"
    languages: tuple[Literal["en", "es"], ...] = Field(default=("en", "es"), min_length=1)
    crs: str | None = None
    contact: str | None = Field(default=None, max_length=120)
    spreadsheet: Spreadsheet = "plain"

    @field_validator("timezone")
    @classmethod
    def _known_zone(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            msg = f'{value!r} is not a time zone; write an IANA name such as "America/Los_Angeles"'
            raise ValueError(msg) from None
        return value

    @property
    def zone(self) -> ZoneInfo:
        """The time zone as an object."""
        return ZoneInfo(self.timezone)


class Visit(Part):
    """``[visit]``: the days whose readings are mapped together; both empty for the latest."""

    start: Day | None = Field(default=None, alias="from")
    end: Day | None = Field(default=None, alias="to")

    @model_validator(mode="after")
    def _in_order(self) -> Visit:
        if self.start and self.end and self.end < self.start:
            msg = f"to ({self.end}) is before from ({self.start})"
            raise ValueError(msg)
        return self


class Reading(Part):
    """``[reading]``: how readings were taken and which of them count.

    Of the less usual keys: ``date_order`` of dates like 03/07/2026; ``crs`` of ``x`` and ``y``;
    ``gps_accuracy_m``, what a position is good for where the row does not say; ``possible_bar``, least and
    greatest pressure a tree can show at midday (common practice: 5 to 20, 30 to 60 at the extreme);
    ``unlike_z``, standard errors from what others predict beyond which a reading is set aside or marked;
    ``align_chambers``, whether the offset between two chambers or crews on the same trees is taken out;
    ``same_weather``, whether readings are carried to the middle weather; ``chosen``, how the trees were.
    """

    unit: Literal["bar", "MPa", "kPa", "psi"] = "bar"
    window: tuple[Clock, Clock] = (dt.time(13), dt.time(15))
    bag_minutes: Number = Field(default=10.0, ge=0)
    recheck_bar: Number = Field(default=1.0, gt=0)
    gps_m: Number = Field(default=10.0, ge=0, le=1000)
    gps_accuracy_m: Number = Field(default=3.0, ge=0, le=1000)
    possible_bar: tuple[Number, Number] = (0.5, 70.0)
    unlike_z: Number = Field(default=3.5, gt=0)
    date_order: Literal["day-first", "month-first"] | None = None
    crs: str | None = None
    align_chambers: Switch = False
    same_weather: Switch = True
    chosen: Literal["by plan", "by eye"] | None = None
    keep: tuple[Annotated[str, Field(json_schema_extra={"enum": list(FLAG_CODES)})], ...] = ()

    @field_validator("keep")
    @classmethod
    def _known_flags(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        for code in value:
            if code not in FLAG_CODES:
                near = difflib.get_close_matches(code, FLAG_CODES, n=1, cutoff=0)[0]
                known = ", ".join(FLAG_CODES)
                msg = f"{code!r} is not a flag code; did you mean {near!r}? Known here: {known}"
                raise ValueError(msg)
        return value

    @model_validator(mode="after")
    def _window_in_order(self) -> Reading:
        if self.possible_bar[1] <= self.possible_bar[0]:
            msg = "possible_bar does not rise; write the least and the greatest such as [0.5, 70]"
            raise ValueError(msg)
        if self.window[1] <= self.window[0]:
            msg = 'window ends before it begins; write ["13:00", "15:00"]'
            raise ValueError(msg)
        return self


class Map(Part):
    """``[map]``: what is mapped, how, and the edges between priorities.

    Of the less usual keys: ``rank_unmeasured``, whether valve zones of blocks without a reading get
    a rank; ``water_share``, the share of the area that one turn of water reaches, for which ``look_again``
    places to measure again are chosen; ``covariate``, a raster such as soil or canopy that may help to tell
    how stress lies.
    """

    cell_m: Number = Field(default=5.0, ge=0.1, le=1000)
    rank_by: RankBy = "below_target"
    method: Literal["structured", "ordinary"] = "structured"
    edges_bar: tuple[Number, Number, Number] | None = None
    smallest_zone_ha: Number = Field(default=0.2, ge=0)
    rank_unmeasured: Switch = True
    water_share: Number = Field(default=0.25, gt=0, lt=1)
    look_again: Whole = Field(default=10, ge=0, le=50)
    covariate: InputFile | None = None
    basemap: str | None = None

    @field_validator("basemap")
    @classmethod
    def _tiles(cls, value: str | None) -> str | None:
        if value and not (
            re.match(r"https://[\w.{}:-]+/", value) and {"{z}", "{x}", "{y}"} <= set(_BRACES(value))
        ):
            msg = f"{value!r} is no address of map tiles; write https://.../{{z}}/{{x}}/{{y}}.png"
            raise ValueError(msg)
        return value

    @field_validator("edges_bar")
    @classmethod
    def _rising(cls, value: tuple[float, float, float] | None) -> tuple[float, float, float] | None:
        if value and not value[0] < value[1] < value[2]:
            msg = f"{list(value)} does not rise; write three rising numbers such as [0, 2, 4]"
            raise ValueError(msg)
        return value


class ModelPriors(Part):
    """``[model]``: what the structured method takes for plausible before any reading.

    Standard deviations between blocks, between valve zones, of the pattern within blocks, from tree to tree
    and of one reading [bar], and the range of the pattern [m]. Weak: fifty readings hardly feel them.
    """

    block_bar: Number = Field(default=2.0, gt=0)
    valve_bar: Number = Field(default=1.5, gt=0)
    pattern_bar: Number = Field(default=1.5, gt=0)
    tree_bar: Number = Field(default=1.0, gt=0)
    error_bar: Number = Field(default=0.5, gt=0)
    range_m: Number = Field(default=100.0, gt=0)


class Baseline(Part):
    """Fully watered line: intercept [bar] and slope [bar/kPa] on vapour pressure deficit."""

    intercept_bar: Number = Field(le=0)
    slope_bar_per_kpa: Number = Field(le=0)


class Water(WateringManners):
    """``[water]``: what there is for the water plan, and how it may be given.

    ``turns`` is how many times over the days a valve may get its ``max_hours``, by default once for each
    day; ``eto`` is reference evapotranspiration a day, where the weather does not tell; ``amounts_anyway``
    asks for amounts from readings over ten days old and for blocks with fewer than three trees read too.
    """

    available: VolumeM3 | None = None
    pump: FlowM3H | None = None
    pumps: dict[str, FlowM3H] = Field(default={})
    start: Day | None = Field(default=None, alias="from")
    days: Whole = Field(default=7, ge=1, le=60)
    next_turn: Day | None = None
    hours: tuple[Clock, Clock] = (dt.time(0), dt.time.max)
    crew_hours: tuple[Clock, Clock] | None = None
    out_of_service: tuple[str, ...] = ()
    step_hours: Number = Field(default=0.5, json_schema_extra={"enum": list(STEPS)})
    turns: Whole | None = Field(default=None, ge=1)
    mm_per_bar: Number | None = Field(default=None, gt=0)
    soil: str | None = None
    root_depth_m: Number | None = Field(default=None, gt=0, le=10)
    eto: DepthMM | None = None
    divide_by: Literal["uniformity", "efficiency"] = "uniformity"
    uniformity: dict[Systems, Share] = Field(default={})
    efficiency: dict[Systems, Share] = Field(default={})
    draws: Whole = Field(default=100, ge=0, le=10_000)
    time_limit_s: Number = Field(default=30.0, gt=0)
    amounts_anyway: Switch = False

    @property
    def most_turns(self) -> int:
        """Longest sets that a valve may get over the plan: as set, else one for each day."""
        return self.days if self.turns is None else self.turns

    @field_validator("step_hours")
    @classmethod
    def _handy_step(cls, value: float) -> float:
        if value not in STEPS:
            msg = f"{value:g} is not a step that hours are cut into; write 0.25, 0.5, 1 or 2"
            raise ValueError(msg)
        return value

    @field_validator("hours", "crew_hours")
    @classmethod
    def _some_hours(cls, value: tuple[dt.time, dt.time] | None) -> tuple[dt.time, dt.time] | None:
        if value and value[0] == value[1]:
            msg = 'no time lies between the two; write ["20:00", "06:00"], or ["00:00", "24:00"] for all day'
            raise ValueError(msg)
        return value

    @model_validator(mode="after")
    def _one_way_to_state_pumps(self) -> Water:
        if self.pump and self.pumps:
            msg = "pump and pumps are both given; keep pump for one pump, [water.pumps] for several"
            raise ValueError(msg)
        return self


class Settings(Part):
    """A whole ``ranch.toml``.

    ``crops`` stays a plain table here; :mod:`stressmap.agronomy.crops` lays it over the built-in profiles
    and refuses what a profile does not know.
    """

    ranch: Ranch
    files: Files
    names: Names = Names()
    visit: Visit = Visit()
    columns: dict[str, str] = Field(default={}, max_length=1000)
    reading: Reading = Reading()
    map: Map = Map()
    model: ModelPriors = ModelPriors()
    memory: Memory = Memory()
    crops: dict[str, dict[str, Any]] = Field(default={})
    water: Water | None = None
    season: SeasonSettings = SeasonSettings()
    store: Store = Store()
    round: RoundSettings = RoundSettings()
    _source: Path = PrivateAttr(default=Path("ranch.toml"))

    @property
    def source(self) -> str:
        """The file that they were read from, as the user named it, for messages."""
        return str(self._source)

    @property
    def record(self) -> RecordPlace:
        """The place of the ranch's record."""
        return self.store.place(self._source)

    def inputs(self) -> dict[str, Path]:
        """Give every input file that is read: by its key, and of several under one key by its name too."""
        found: dict[str, Path] = {}
        for key, paths in self.named_inputs().items():
            files = files_of(paths).files if isinstance(getattr(self.files, key, None), tuple) else paths
            alone = files == paths and len(files) == 1
            found |= {key if alone else f"{key}: {self.shown(file)}": file for file in files}
        return found

    def named_inputs(self) -> dict[str, tuple[Path, ...]]:
        """Give what is named under each key: files, and folders of them."""
        named = {**dict(self.files), "covariate": self.map.covariate}
        return {
            key: paths if isinstance(paths, tuple) else (paths,)
            for key, paths in named.items()
            if paths is not None
        }

    def named(self, key: str) -> str:
        """Say in a few words which files a key of ``[files]`` names, for messages."""
        first, *others = map(str, self.named_inputs()[key])
        return f"{first} and {len(others)} more" if others else first

    def shown(self, file: Path) -> str:
        """Name a file as seen from the folder of the settings, the same wherever that folder lies."""
        return Path(os.path.relpath(_resolved(file), self._source.resolve().parent)).as_posix()


def load(path: Path, shared: Shared | None = None) -> Settings:
    """Read and check a ``ranch.toml``.

    Parameters
    ----------
    path : Path
        The file; the paths inside it are relative to its folder.
    shared : mapping of str to mapping, optional
        Tables of a district, whose keys count where the file does not have them; paths in them are absolute.

    Returns
    -------
    Settings

    Raises
    ------
    SettingsError
        If it cannot be read, is not TOML, or a key or value is wrong; one problem each.
    """
    table = below(read_toml(path), shared or {})
    refuse_unfilled(table, path)
    files, chosen_map = table.get("files"), table.get("map")
    if isinstance(chosen_map, dict) and isinstance(chosen_map.get("covariate"), str):
        table["map"] = chosen_map | {"covariate": _resolved(path.parent / chosen_map["covariate"])}
    if isinstance(files, dict):
        table["files"] = {key: _placed(value, path.parent) for key, value in files.items()}
    try:
        settings = Settings.model_validate(table)
    except ValidationError as error:
        problems = [problem_of(path, d, Settings) for d in error.errors()[:MOST_PROBLEMS]]
        raise SettingsError(problems) from None
    settings._source = path
    return settings


def below(table: dict[str, Any], shared: Shared) -> dict[str, Any]:
    """Lay the tables of a ranch over those that a district shares, key by key; its ``[water]`` counts whole.

    Parameters
    ----------
    table : dict
        A ``ranch.toml`` as it was read.
    shared : mapping of str to mapping
        What counts where the ranch says nothing.

    Returns
    -------
    dict

    Examples
    --------
    >>> below({"map": {"cell_m": 5}}, {"map": {"cell_m": 10, "look_again": 3}})
    {'map': {'cell_m': 5, 'look_again': 3}}
    """
    laid = dict(table)
    for name, inside in shared.items():
        own = table.get(name, {})
        if isinstance(own, dict) and not (own and name == "water"):  # what is no table is told as that
            laid[name] = own | {key: value for key, value in inside.items() if key not in own}
    return laid


def _placed(value: object, folder: Path) -> object:
    """Find a path, or each of a list of them, from the folder of the settings; leave what is none."""
    if isinstance(value, list):
        return [_placed(one, folder) for one in value]
    return _resolved(folder / value) if isinstance(value, str) and value else value


def _resolved(path: Path) -> Path:
    """Follow links and dots, as far as that leads anywhere; who opens the file says what is wrong with it."""
    try:
        return path.resolve()
    except (OSError, RuntimeError, ValueError):
        return path.absolute()


def known_keys(parents: tuple[str, ...]) -> list[str]:
    """List the keys that a table of ``ranch.toml`` may have.

    Parameters
    ----------
    parents : tuple of str
        Where the table is, ``()`` for the top and ``("map",)`` for ``[map]``.

    Returns
    -------
    list of str

    Examples
    --------
    >>> known_keys(("visit",))
    ['from', 'to']
    """
    return keys_of(Settings, parents)
