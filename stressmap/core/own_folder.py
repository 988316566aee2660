"""A folder of the user's own among the temporary files, for what is made once and needed by every run."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path


def folder_of_ones_own(among: Path | None = None) -> Path | None:
    """Make or find a folder that only this user can write to or read.

    What lies in it is trusted, so a folder that someone else made under its name, a link, or one that others
    may write to is not taken.

    Parameters
    ----------
    among : Path, optional
        Where; by default the system's folder for temporary files.

    Returns
    -------
    Path or None
        None where there is none, and on systems that do not tell whose a folder is.
    """
    if not hasattr(os, "getuid"):
        return None
    try:
        folder = (among or Path(tempfile.gettempdir())) / f"stressmap-{os.getuid()}"
        folder.mkdir(mode=0o700, exist_ok=True)
        found = folder.lstat()
    except OSError:
        return None
    alone = stat.S_ISDIR(found.st_mode) and found.st_uid == os.getuid() and not found.st_mode & 0o077
    return folder if alone else None
