"""Results appear all at once: written into a hidden folder beside the target, then renamed over it."""

from __future__ import annotations

import datetime as dt
import os
import re
import shutil
import tempfile
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from stressmap.errors import OutputError, Problem

MARK = "run.json"
"""A folder that holds this file is an earlier result and may be replaced as a whole."""


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
        An empty folder beside the target.

    Raises
    ------
    OutputError
        If the target cannot be written; the earlier result is as it was.
    """
    folder: Path | None = None
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if target.exists() and not (target.is_dir() and os.access(target, os.W_OK)):
            raise PermissionError(13, "it is not a folder that can be written")
        folder = Path(tempfile.mkdtemp(prefix=f".{target.name}.", suffix=".partial", dir=target.parent))
        folder.chmod(0o755)
        yield folder
        _put(folder, target)
    except OSError as error:
        what = f"the output cannot be written ({error.strerror or error})"
        raise OutputError(
            Problem(str(target), what, "Give a folder that can be written with --out")
        ) from None
    finally:
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)


def _put(folder: Path, target: Path) -> None:
    if not target.exists():
        folder.rename(target)
        return
    ours = {p.name for p in folder.iterdir()}
    present = {p.name for p in target.iterdir()}
    if present and not (MARK in present and present <= ours):
        for name in sorted(ours, key=lambda n: (n == MARK, n)):
            (folder / name).replace(target / name)
        return
    old = folder.with_suffix(".old")
    target.rename(old)
    try:
        folder.rename(target)
    except OSError:
        old.rename(target)
        raise
    shutil.rmtree(old, ignore_errors=True)


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
