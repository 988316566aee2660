"""The ranches of a district: what each is called there, and whether its result still stands."""

from __future__ import annotations

import datetime as dt
import json
import os
from collections import Counter
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stressmap.core import settings
from stressmap.core.district_settings import District
from stressmap.core.errors import SettingsError, StressmapError
from stressmap.core.ranch_result import RanchResult
from stressmap.core.settings import Shared
from stressmap.core.toml_file import read_toml
from stressmap.jobs.next_round import next_round
from stressmap.jobs.record_of_ranch import record_rows
from stressmap.output import outputs
from stressmap.output.staging import run_record
from stressmap.output.staging.output_folder import slug
from stressmap.output.staging.result_files import is_file, record_in


@dataclass(frozen=True)
class ListedRanch:
    """A ranch as the district lists it.

    Parameters
    ----------
    slug : str
        Of its folder in the district.
    source : Path
        Its ``ranch.toml``.
    name : str
        As its settings have it, else that of the folder they lie in.
    """

    slug: str
    source: Path
    name: str


def listed_ranches(district: District) -> tuple[ListedRanch, ...]:
    """Give each ranch of a district a name of a folder that no other one has.

    That is its name's; where several ranches are called alike, with that of the folder in which its settings
    lie; where that does not tell them apart either, they are numbered in the order of the list.

    Parameters
    ----------
    district : District
        From :func:`stressmap.core.district_settings.load`.

    Returns
    -------
    tuple of ListedRanch
        In the order of the list.
    """
    names = [_name_of(source) for source in district.ranches]
    slugs = [slug(name) for name in names]
    folders = [slug(Path(os.path.realpath(source)).parent.name) for source in district.ranches]
    alike = Counter(slugs)
    longer = [f"{s}-{f}" if alike[s] > 1 else s for s, f in zip(slugs, folders, strict=True)]
    return tuple(
        ListedRanch(own, source, name)
        for own, source, name in zip(_numbered(longer), district.ranches, names, strict=True)
    )


def _numbered(slugs: Iterable[str]) -> list[str]:
    """Tell apart what is alike."""
    given: list[str] = []
    for one in slugs:
        number, free = 1, one
        while free in given:
            number += 1
            free = f"{one}-{number}"
        given.append(free)
    return given


def standing(ranch: ListedRanch, shared: Shared, folder: Path, *, borrow: bool = False) -> RanchResult | None:
    """Give the result of an earlier call, if the same call would make the same again.

    Parameters
    ----------
    ranch : ListedRanch
        The ranch.
    shared : mapping of str to mapping
        What the district hands down.
    folder : Path
        Where its result would be.
    borrow : bool
        Whether ranches borrow from each other: a result of the other kind does not stand. What was lent is
        looked at when all ranches have told their part.

    Returns
    -------
    RanchResult or None
        None where there is none, where a file of it is missing, or where settings, inputs or versions
        differ. What is wrong with them is told by the run.
    """
    with suppress(OSError, StressmapError, KeyError, TypeError, ValueError):
        page = record_in(folder)
        if (
            page.get("job") == "run"
            and ("borrowed" in page) == borrow
            and _as_now(page, ranch.source, shared)
            and _whole(page, folder)
        ):
            first, last = (dt.date.fromisoformat(day) for day in page["visit"])
            return RanchResult(ranch.slug, ranch.source, ranch.name, folder, "unchanged", (first, last))
    return None


def _whole(page: dict[str, Any], folder: Path) -> bool:
    known = outputs.files_of("run").known
    return all(name in known and is_file(folder / name) for name in page["files"])


def _as_now(page: dict[str, Any], source: Path, shared: Shared) -> bool:
    """Tell whether a run would read, and do, what the one of the record did."""
    chosen = settings.load(source, shared)
    now = {"settings": run_record.settings_shown(chosen), "versions": run_record.versions()}
    if any(page[key] != value for key, value in json.loads(json.dumps(now)).items()):
        return False
    first, last = (dt.date.fromisoformat(day) for day in page["visit"])
    planned = next_round(chosen, (first, last))
    if page.get("next_round") != (None if planned is None else planned.as_plain()):
        return False
    return bool(page["sha256"] == run_record.fingerprints(source, chosen, record_rows(chosen)))


def bytes_to_read(source: Path, shared: Shared, *keys: str) -> int:
    """Tell how much a ranch hands in: the largest are begun first, so that none is waited for at the end.

    Parameters
    ----------
    source : Path
        Its ``ranch.toml``.
    shared : mapping of str to mapping
        What the district hands down.
    keys : str
        Of ``[files]``, those that count; all if there is none.

    Returns
    -------
    int
        [bytes]; 0 where that cannot be told.
    """
    try:
        inputs = settings.load(source, shared).inputs()
        return sum(file.stat().st_size for key, file in inputs.items() if not keys or key in keys)
    except (OSError, StressmapError, ValueError):
        return 0


def _name_of(source: Path) -> str:
    """Read what a ranch is called, whatever else is wrong with its settings."""
    with suppress(SettingsError, LookupError, TypeError):
        name = read_toml(source)["ranch"]["name"]
        if isinstance(name, str) and name.strip():
            return name
    return Path(os.path.realpath(source)).parent.name
