"""Results appear all at once: written into a hidden folder beside the target, then put in its place."""

from __future__ import annotations

import datetime as dt
import errno
import hashlib
import os
import re
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from stressmap.core.errors import OutputError, Problem, SettingsError, StressmapError
from stressmap.core.input_files import InputFiles
from stressmap.core.text import first_line
from stressmap.output.staging.atomic_replace import put, workshop
from stressmap.output.staging.result_files import MARK, JobFiles, record_in, strangers
from stressmap.output.staging.workshops import NEW

__all__ = ["MARK", "default_folder", "make_ready", "slug", "staged"]

ANOTHER_FOLDER = "Give another folder with --out"
MOVE_AWAY = "Move what is yours elsewhere, or give another folder with --out"
NO_FILE_NAMES = re.compile(r"con|prn|aux|nul|conin|conout|clock|(com|lpt)\d")
"""Names that Windows keeps for devices."""
ALONE = {
    "season": "it holds a season",
    "form": "it holds a field form",
    "round": "it holds a measuring round",
    "record": "it holds a copy of a record",
    "district": "it holds the overview of a district",
}
"""What a folder with the result of a job holds in whose place no other job's result is put."""
MOST_LETTERS = 60
ROUNDS = "rounds"
"""Below the results of a ranch, the folder of its measuring rounds."""

WRITERS = {"fiona", "pyogrio", "rasterio", "sqlite3"}
"""Libraries that report a disk they cannot write by exceptions of their own, not by OSError."""


@contextmanager
def staged(target: Path, files: JobFiles) -> Iterator[Path]:
    """Give a folder to write into, and put it in the target's place when all went well.

    A target that is new, empty or an earlier result is replaced as a whole. In a folder that also holds
    files of the user's own, only the files of the run are replaced, one by one; a file of the user's own
    that has the name of one of them is never replaced.

    Parameters
    ----------
    target : Path
        Where the results shall be.
    files : JobFiles
        What the job may write.

    Yields
    ------
    Path
        An empty folder on the target's file system; nothing but writing belongs in this context.

    Raises
    ------
    OutputError
        If the target cannot be written; the earlier result is as it was.
    """
    with _said(target):
        place = _real(target)
        place.parent.mkdir(parents=True, exist_ok=True)
        with workshop(place, files) as shop:
            yield shop / NEW
            put(shop, place, files)


def make_ready(
    target: Path, files: JobFiles, inputs: Iterable[Path] = (), *, ranch: str | None = None
) -> None:
    """Find out before the long work whether results can be written, and clear what killed runs left there.

    Parameters
    ----------
    target : Path
        Where the results shall be; nothing is made.
    files : JobFiles
        What the job may write.
    inputs : iterable of Path
        Files that the user handed in; none of them may be written over.
    ranch : str, optional
        Its name, where the folder was not chosen by the user: the result of another ranch is not replaced.

    Raises
    ------
    OutputError
        If the target cannot be written, or a result would take the place of an input, of a file of the user's
        own or of another job's result.
    """
    with _said(target):
        place = _real(target)
        given = InputFiles(inputs)
        if (folder := given.folder_of(place / MARK)) is not None:
            what = f"every file in {folder.name} is read as an input, and so would the results be"
            raise OutputError(Problem(str(target), what, ANOTHER_FOLDER))
        for name in sorted(files.writes):
            if (file := given.at(place / name)) is not None:
                what = f"the input {file.name} lies in it and would be written over"
                raise OutputError(Problem(str(target), what, ANOTHER_FOLDER))
        there = place
        while not there.parent.exists():
            there = there.parent
        with workshop(there, files):
            pass
        _refuse_others(target, place, files, ranch)


def _refuse_others(target: Path, place: Path, files: JobFiles, ranch: str | None) -> None:
    """Refuse a folder in which something stands that this job may not replace."""
    record = record_in(place)
    if record and ranch is not None and (other := _ranch_of(record)) not in {None, ranch}:
        what = f"it holds the result of another ranch, {other!r}"
        raise OutputError(Problem(str(target), what, ANOTHER_FOLDER))
    if files.job == "water" and record and record.get("job") != files.job:
        what = f"it holds the result of a whole run ({MARK}), whose report and maps tell of another plan"
        raise OutputError(Problem(str(target), what, ANOTHER_FOLDER))
    held = record.get("job")
    if record and files.job != held and {files.job, held} & ALONE.keys():
        what = ALONE.get(str(held), f"it holds the result of a run ({MARK})")
        raise OutputError(Problem(str(target), what, ANOTHER_FOLDER))
    if mine := strangers(place, files):
        names = ", ".join(mine[:5]) + (f" and {len(mine) - 5} more" if len(mine) > 5 else "")
        what = f"it holds {names}, not written by an earlier run, which would be replaced"
        raise OutputError(Problem(str(target), what, MOVE_AWAY))


def _ranch_of(record: dict[str, object]) -> str | None:
    """Give the name of the ranch that a record is of, where it tells."""
    try:
        name = record["settings"]["ranch"]["name"]  # type: ignore[index]
    except (LookupError, TypeError):
        return None
    return name if isinstance(name, str) else None


@contextmanager
def _said(target: Path) -> Iterator[None]:
    """Turn what goes wrong with writing into one clear line."""
    try:
        yield
    except StressmapError:
        raise
    except Exception as error:
        if not isinstance(error, OSError) and type(error).__module__.split(".")[0] not in WRITERS:
            raise
        why = error.strerror if isinstance(error, OSError) and error.strerror else error
        if "PROJ:" in str(why):
            what = f"its database of coordinate systems cannot be used ({first_line(error)})"
            remedy = "Unset PROJ_LIB and PROJ_DATA, which lead to another one's"
            raise SettingsError(Problem("PROJ", what, remedy)) from None
        what = f"the output cannot be written ({why})"
        raise OutputError(
            Problem(str(target), what, "Give a folder that can be written with --out")
        ) from None


def _real(target: Path) -> Path:
    """Follow links, so that what a link leads to is replaced and not the link."""
    place = Path(os.path.realpath(target))
    if place.exists() and not (place.is_dir() and os.access(place, os.W_OK)):
        raise PermissionError(errno.EACCES, "it is not a folder that can be written")
    return place


def slug(name: str) -> str:
    """Make a name harmless as part of a path.

    Parameters
    ----------
    name : str
        Anything.

    Returns
    -------
    str
        Lower-case ASCII letters, digits and hyphens; never empty, and no name of a device. Where letters
        had to be left out, six characters made of the whole name tell it from others.

    Examples
    --------
    >>> slug("Peña & Hijos / ../x"), slug("nul")
    ('pena-hijos-x', 'nul-ranch')
    """
    letters = unicodedata.normalize("NFKD", name)
    plain = letters.encode("ascii", "ignore").decode().lower()
    short = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")
    lost = any(unicodedata.category(c)[0] in "LNS" and not c.isascii() for c in letters)
    if lost or not short or len(short) > MOST_LETTERS:
        whole = unicodedata.normalize("NFC", name).encode("utf-8", "surrogatepass")
        return f"{short[:MOST_LETTERS].strip('-') or 'ranch'}-{hashlib.sha256(whole).hexdigest()[:6]}"
    return f"{short}-ranch" if NO_FILE_NAMES.fullmatch(short) else short


def default_folder(name: str, first: dt.date) -> Path:
    """Name the folder of a visit's results.

    Parameters
    ----------
    name : str
        Of the ranch.
    first : date
        First day of the visit.

    Returns
    -------
    Path
        ``outputs/<ranch>/<first day>``, below the folder one is in.
    """
    return Path("outputs") / slug(name) / first.isoformat()


def folders_of(name: str, places: Iterable[Path]) -> list[Path]:
    """Find the folders of a ranch's visits.

    Parameters
    ----------
    name : str
        Of the ranch.
    places : iterable of Path
        Folders that may hold ``outputs``.

    Returns
    -------
    list of Path
        By the first day of the visit.
    """
    return _dated(places, Path("outputs") / slug(name))


def season_folder(name: str) -> Path:
    """Name the folder of a season.

    Parameters
    ----------
    name : str
        Of the ranch.

    Returns
    -------
    Path
        ``outputs/<ranch>/season``, below the folder one is in.
    """
    return Path("outputs") / slug(name) / "season"


def round_folder(name: str, day: dt.date) -> Path:
    """Name the folder of a measuring round.

    Parameters
    ----------
    name : str
        Of the ranch.
    day : date
        Of the round.

    Returns
    -------
    Path
        ``outputs/<ranch>/rounds/<day>``, below the folder one is in.
    """
    return Path("outputs") / slug(name) / ROUNDS / day.isoformat()


def rounds_of(name: str, places: Iterable[Path]) -> list[tuple[dt.date, Path]]:
    """Find the measuring rounds of a ranch.

    Parameters
    ----------
    name : str
        Of the ranch.
    places : iterable of Path
        Folders that may hold ``outputs``.

    Returns
    -------
    list of (date, Path)
        Day and folder, by day.
    """
    found = [
        (day_of_folder(folder), folder) for folder in _dated(places, Path("outputs") / slug(name) / ROUNDS)
    ]
    return [(day, folder) for day, folder in found if day is not None]


def day_of_folder(folder: Path) -> dt.date | None:
    """Give the day that a folder is called after; None where it is called otherwise."""
    try:
        return dt.date.fromisoformat(folder.name)
    except ValueError:
        return None


def _dated(places: Iterable[Path], below: Path) -> list[Path]:
    found = {one.resolve() for place in places for one in (place / below).glob("????-??-??")}
    return sorted(found, key=lambda folder: (folder.name, str(folder)))
