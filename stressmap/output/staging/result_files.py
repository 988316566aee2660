"""Names of the files that a job writes, and whose the files of such names in a folder are."""

from __future__ import annotations

import json
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from stressmap.core.input_files import folded

MARK = "run.json"
"""The last file of a result: it says what the result is and which files belong to it."""

Job = Literal["run", "water", "season", "form", "round", "record", "district"]
MOST_RECORD_BYTES = 50_000_000


@dataclass(frozen=True)
class JobFiles:
    """Names of files, from the table of outputs.

    Parameters
    ----------
    job : {"run", "water", "season", "form", "round", "record", "district"}
        What writes.
    writes : frozenset of str
        What it may write.
    known : frozenset of str
        What any job may write: only files of such names are ever moved or taken away.
    """

    job: Job
    writes: frozenset[str]
    known: frozenset[str]


def is_file(path: Path) -> bool:
    """Tell whether a plain file, and no link to one, is there.

    Parameters
    ----------
    path : Path
        Where.

    Returns
    -------
    bool
    """
    try:
        return stat.S_ISREG(path.lstat().st_mode)
    except (FileNotFoundError, NotADirectoryError):
        return False


def record_in(place: Path) -> dict[str, Any]:
    """Read the record of the result in a folder.

    Parameters
    ----------
    place : Path
        The folder.

    Returns
    -------
    dict
        Empty if the folder holds no result of this program.

    Raises
    ------
    OSError
        If there is a record that cannot be read.
    """
    if not is_file(place / MARK) or (place / MARK).lstat().st_size > MOST_RECORD_BYTES:
        return {}
    text = (place / MARK).read_bytes()
    try:
        page = json.loads(text)
        ours = isinstance(page["files"], list) and "stressmap" in page["versions"]
    except (ValueError, LookupError, TypeError, RecursionError):
        return {}
    return page if ours else {}


def listed(place: Path, known: frozenset[str]) -> set[str]:
    """Name the files in a folder that belong to the result in it.

    Parameters
    ----------
    place : Path
        The folder.
    known : frozenset of str
        Names that this program writes.

    Returns
    -------
    set of str
        Only plain files, and only known names, whatever else the record may say.
    """
    said = {name for name in record_in(place).get("files", ()) if isinstance(name, str)}
    return {name for name in said & known if is_file(place / name)}


def strangers(place: Path, files: JobFiles) -> list[str]:
    """Name what stands in a folder where a job would write, and is no earlier result of ours.

    Parameters
    ----------
    place : Path
        The folder.
    files : JobFiles
        Of the job.

    Returns
    -------
    list of str
        In order.

    Raises
    ------
    OSError
        If the folder cannot be read.
    """
    if not place.exists():
        return []
    wanted, ours = {folded(name) for name in files.writes}, listed(place, files.known)
    return sorted(p.name for p in place.iterdir() if folded(p.name) in wanted and p.name not in ours)
