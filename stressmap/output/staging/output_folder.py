"""Results appear all at once: written into a hidden folder beside the target, then put in its place."""

from __future__ import annotations

import datetime as dt
import errno
import os
import re
import unicodedata
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from stressmap.core.errors import OutputError, Problem, StressmapError
from stressmap.output.staging.atomic_replace import MARK, NEW, put, workshop

__all__ = ["MARK", "default_folder", "make_ready", "slug", "staged"]

WRITERS = {"fiona", "pyogrio", "rasterio", "sqlite3"}
"""Libraries that report a disk they cannot write by exceptions of their own, not by OSError."""


@contextmanager
def staged(target: Path) -> Iterator[Path]:
    """Give a folder to write into, and put it in the target's place when all went well.

    A target that is new, empty or an earlier result is replaced as a whole. In a folder that also holds
    files of the user's own, only the files of the run are replaced, one by one.

    Parameters
    ----------
    target : Path
        Where the results shall be.

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
        with workshop(place) as shop:
            yield shop / NEW
            put(shop, place)


def make_ready(target: Path, inputs: Iterable[Path] = (), names: Collection[str] = ()) -> None:
    """Find out before the long work whether results can be written, and clear what killed runs left there.

    Parameters
    ----------
    target : Path
        Where the results shall be; nothing is made.
    inputs : iterable of Path
        Files that the run reads; none of them may be written over.
    names : collection of str
        Of the files that the job may write.

    Raises
    ------
    OutputError
        If the target cannot be written, or a result would take the place of an input.
    """
    with _said(target):
        place = _real(target)
        for file in inputs:
            there = Path(os.path.realpath(file))
            if there.parent == place and there.name in names:
                what = f"the input {file.name} lies in it and would be written over"
                raise OutputError(Problem(str(target), what, "Give another folder with --out"))
        while not place.parent.exists():
            place = place.parent
        with workshop(place):
            pass


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
        Lower-case ASCII letters, digits and hyphens; never empty.

    Examples
    --------
    >>> slug("Peña & Hijos / ../x")
    'pena-hijos-x'
    """
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60] or "ranch"


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
