"""The one door for input files: what is no plain file, or too large, is refused before it is read.

A named pipe would wait for ever for somebody to write into it, and a device has no end.
"""

from __future__ import annotations

import stat
from pathlib import Path

from stressmap.core.errors import DataError, Problem

MAX_BYTES = 100_000_000
"""A file larger than this is refused: a hundred times a season of readings or of hourly weather."""


def read_plain(path: Path, *, most: int = MAX_BYTES) -> bytes:
    """Read a file whole.

    Parameters
    ----------
    path : Path
        The file.
    most : int
        Bytes that it may have.

    Returns
    -------
    bytes

    Raises
    ------
    DataError
        If there is none, it is a folder, a pipe or a device, cannot be read or is larger than ``most``.
    """
    data = read_head(path, size=most + 1, most=most)
    if len(data) > most:  # it has grown since, or is a file that tells no size
        raise too_large(str(path), len(data), most)
    return data


def read_head(path: Path, *, size: int = 64, most: int = MAX_BYTES) -> bytes:
    """Read the first bytes of a file, so that its content can tell of what kind it is.

    Parameters
    ----------
    path : Path
        The file.
    size : int
        Bytes to read.
    most : int
        Bytes that the whole file may have.

    Returns
    -------
    bytes

    Raises
    ------
    DataError
        As :func:`read_plain`.
    """
    where = str(path)
    try:
        found = path.stat()
        if stat.S_ISDIR(found.st_mode):
            raise DataError(Problem(where, "it is a folder", "Give the path of a file"))
        if not stat.S_ISREG(found.st_mode):
            what = "it is a pipe or a device, not a file"
            raise DataError(Problem(where, what, "Write what it gives into a file, and give that"))
        if found.st_size > most:
            raise too_large(where, found.st_size, most)
        with path.open("rb") as opened:
            return opened.read(size)
    except FileNotFoundError:
        raise DataError(Problem(where, "there is no such file", "Correct the path")) from None
    except OSError as error:
        what = f"it cannot be read ({error.strerror})"
        raise DataError(Problem(where, what, "Close it elsewhere, or give a file that can be read")) from None


def too_large(where: str, size: int, most: int) -> DataError:
    """Say that something is larger than what is read of its kind.

    Parameters
    ----------
    where : str
        File, for the message.
    size, most : int
        Bytes that it has, and may have.

    Returns
    -------
    DataError
        To be raised.
    """
    what = f"it has {size / 1e6:,.0f} MB; at most {most / 1e6:,.0f} MB are read"
    return DataError(Problem(where, what, "Cut it to what is needed"))
