"""``DISTRICT.toml`` -> one frozen :class:`District`: its ranches, what they share, how work is spread."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Literal

from pydantic import Field, PrivateAttr, ValidationError, field_validator

from stressmap.core.errors import Problem, SettingsError
from stressmap.core.setting_problems import MOST_PROBLEMS, problem_of
from stressmap.core.setting_types import Day, Number, Part, SeveralFiles, Switch, VolumeM3, Whole
from stressmap.core.settings import Settings, Shared
from stressmap.core.toml_file import read_toml

RANCH_FILE = "ranch.toml"
SHARED_FILES = ("weather", "forecast", "roads")
"""Inputs that several ranches may have in common."""
Language = Literal["en", "es"]


class DistrictTable(Part):
    """``[district]``: what it is called, its ranches, and whether they borrow strength from each other.

    ``languages`` are those of the overview, and of the ranches that name none.
    """

    name: str = Field(min_length=1)
    ranches: SeveralFiles
    languages: tuple[Language, ...] = Field(default=("en", "es"), min_length=1)
    borrow: Switch = False


class DistrictWorkers(Part):
    """``[workers]``: how the work is spread.

    ``count`` of workers on this computer, by default one for each core as far as memory allows; ``memory_gb``
    of one of them at most; ``failures``, how many times a ranch may lose its worker before it is given up;
    a ranch of over ``divide_over`` blocks is mapped in parts of ``part_blocks`` blocks.
    """

    count: Whole | None = Field(default=None, ge=1, le=1000)
    memory_gb: Number = Field(default=3.0, ge=0.5, le=1000)
    failures: Whole = Field(default=3, ge=1, le=20)
    divide_over: Whole = Field(default=200, ge=1)
    part_blocks: Whole = Field(default=25, ge=1)


class DistrictWater(Part):
    """``[water]``: a volume that the ranches share over some days.

    ``floor`` is the share of its need that a ranch gets at least; the plans of all begin on the same day, by
    default the one after the newest visit.
    """

    available: VolumeM3
    start: Day | None = Field(default=None, alias="from")
    floor: Number = Field(default=0.0, ge=0, le=1)
    days: Whole | None = Field(default=None, ge=1, le=60)


class DistrictResults(Part):
    """``[results]``: where results go besides the folder; who sends them refuses a wrong address."""

    url: str | None = Field(default=None, min_length=1, repr=False)


class District(Part):
    """A whole ``DISTRICT.toml``.

    ``shared`` holds tables of a ``ranch.toml`` whose keys count for every ranch that does not have them.
    """

    district: DistrictTable
    workers: DistrictWorkers = DistrictWorkers()
    water: DistrictWater | None = None
    results: DistrictResults = DistrictResults()
    shared: dict[str, dict[str, Any]] = Field(default={})
    _source: Path = PrivateAttr(default=Path("district.toml"))

    @field_validator("shared")
    @classmethod
    def _shareable(cls, value: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
        own = [f"files.{key}" for key in value.get("files", {}) if key not in SHARED_FILES]
        own += ["ranch.name"] if "name" in value.get("ranch", {}) else []
        for key in own:
            also = f"of files, {', '.join(SHARED_FILES)} may be shared"
            msg = f"{key} is each ranch's own ({also}); leave it out"
            raise ValueError(msg)
        return value

    @property
    def name(self) -> str:
        """What the district is called."""
        return self.district.name

    @property
    def ranches(self) -> tuple[Path, ...]:
        """Every ``ranch.toml``, as seen from where one is, in the order of the list."""
        return self.district.ranches

    @property
    def languages(self) -> tuple[Language, ...]:
        """Of the overview, the first being the reader's own."""
        return self.district.languages

    @property
    def borrow(self) -> bool:
        """Whether ranches of one crop share what is plausible before any reading."""
        return self.district.borrow

    @property
    def source(self) -> str:
        """The file that it was read from, as the user named it, for messages."""
        return str(self._source)

    def handed_down(self) -> Shared:
        """Give what :func:`stressmap.core.settings.load` lays below the tables of each ranch."""
        if "languages" not in self.district.model_fields_set:
            return self.shared
        ranch = {"languages": list(self.languages)} | self.shared.get("ranch", {})
        return self.shared | {"ranch": ranch}


def load(path: Path) -> District:
    """Read and check a ``DISTRICT.toml``.

    Parameters
    ----------
    path : Path
        The file; the paths inside it are relative to its folder.

    Returns
    -------
    District

    Raises
    ------
    SettingsError
        If it cannot be read, is not TOML, or a key or value is wrong; one problem each. The
        ranches themselves are not looked at.
    """
    table = read_toml(path, "district")
    _place(table, path.parent)
    try:
        district = District.model_validate(table)
    except ValidationError as error:
        problems = [problem_of(path, d, District) for d in error.errors()[:MOST_PROBLEMS]]
        raise SettingsError(problems) from None
    district._source = path
    _refuse_twice(district)
    _refuse_shared(district)
    return district


def _place(table: dict[str, Any], folder: Path) -> None:
    """Find the paths of the file from its folder; leave what is none."""
    about = table.get("district")
    if isinstance(about, dict) and "ranches" in about:
        named = about["ranches"]
        several = named if isinstance(named, list) else [named]
        placed = [_ranch_file(folder / one) if isinstance(one, str) and one else one for one in several]
        table["district"] = about | {"ranches": placed}
    shared = table.get("shared")
    if isinstance(shared, dict):
        table["shared"] = dict(shared)
        for name, keys in {"files": SHARED_FILES, "map": ("covariate",)}.items():
            inside = shared.get(name)
            if isinstance(inside, dict):
                found = {key: _seen_from(folder, v) if key in keys else v for key, v in inside.items()}
                table["shared"][name] = found


def _seen_from(folder: Path, named: object) -> object:
    """Find a path from a folder; what is none, and what no file can be called, is refused as it stands."""
    with suppress(OSError, ValueError):
        return os.path.realpath(folder / named) if isinstance(named, str) and named else named
    return named


def _ranch_file(named: Path) -> Path:
    """Give the settings of a ranch, where their file or their folder is named."""
    return named if named.suffix.lower() == ".toml" and not named.is_dir() else named / RANCH_FILE


def _refuse_twice(district: District) -> None:
    """Refuse a ranch that is listed twice: its results would stand in one folder."""
    seen: set[str] = set()
    for ranch in district.ranches:
        place = os.path.realpath(ranch)
        if place in seen:
            what, column = f"{ranch} is listed twice", "district.ranches"
            raise SettingsError(Problem(district.source, what, "Keep one of them", column=column))
        seen.add(place)


def _refuse_shared(district: District) -> None:
    """Refuse what no ``ranch.toml`` may have either, beside what each ranch has of its own."""
    own: Mapping[str, dict[str, Any]] = {
        "ranch": {"name": "x", "timezone": "UTC"},
        "files": {"readings": "x", "blocks": "x"},
    }
    try:
        Settings.model_validate({**own, **{k: own.get(k, {}) | v for k, v in district.shared.items()}})
    except ValidationError as error:
        details = [dict(d) | {"loc": ("shared", *d["loc"])} for d in error.errors()[:MOST_PROBLEMS]]
        raise SettingsError(problem_of(Path(district.source), d, _SharedWhole) for d in details) from None


class _SharedWhole(Part):
    """For naming the keys that there are below ``[shared]``."""

    shared: Settings
