"""Zip files from outside: refused before they unpack to more than a file of a ranch can hold."""

from __future__ import annotations

import io
import zipfile

from stressmap.core.errors import DataError, Problem

MAX_UNPACKED = 300_000_000
"""A zip that unpacks to more bytes than this is refused; zipfile reads no further than it declares."""
MAX_PARTS = 5_000
_ENTRY = b"PK\x01\x02"
"""Stands before each entry of a zip's table of contents."""


def open_zip(data: bytes, where: str) -> zipfile.ZipFile:
    """Open a zip file.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.

    Returns
    -------
    ZipFile

    Raises
    ------
    DataError
        If it is no zip, holds more than ``MAX_PARTS`` files or unpacks to more than ``MAX_UNPACKED`` bytes.
    """
    if data.count(_ENTRY) > MAX_PARTS:  # looked for before the table is read, which takes a kilobyte for each
        what = f"it holds more than {MAX_PARTS:,} files"
        raise DataError(Problem(where, what, "Pack only the files that are needed"))
    try:
        archive = zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        raise DataError(Problem(where, "it is a damaged zip file", "Save or copy it again")) from None
    size = sum(entry.file_size for entry in archive.infolist())
    if size > MAX_UNPACKED:
        what = f"it unpacks to {size / 1e6:,.0f} MB; at most {MAX_UNPACKED / 1e6:,.0f} MB are read"
        raise DataError(Problem(where, what, "Save it again with only what is needed"))
    return archive


def unpack(archive: zipfile.ZipFile, name: str, where: str) -> bytes:
    """Unpack one file of a zip.

    Parameters
    ----------
    archive : ZipFile
        From :func:`open_zip`.
    name : str
        The file in it.
    where : str
        The zip file, for messages.

    Returns
    -------
    bytes

    Raises
    ------
    DataError
        If it is damaged, locked by a password or packed in an unknown way.
    """
    try:
        return archive.read(name)
    except Exception as error:  # zipfile raises whatever its unpackers raise
        what = f"{name!r} in it cannot be unpacked ({error})"
        raise DataError(Problem(where, what, "Pack or copy it again, without a password")) from None
