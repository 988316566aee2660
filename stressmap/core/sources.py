"""What a reader reads: a file on disk, or bytes with a name, such as a phone's export or a stored record."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from stressmap.core.errors import NoRowsError, Problem
from stressmap.core.safe_read import MAX_BYTES, read_head, read_plain, too_large

SQLITE = b"SQLite format 3\x00"
"""How every GeoPackage begins."""


@dataclass(frozen=True)
class InputSource:
    """An open thing with a name.

    Parameters
    ----------
    name : str
        As the user wrote it; stands in messages.
    path : Path or None
        Where it lies, if it is a file.
    data : bytes or None
        What it holds, if it is none.

    Examples
    --------
    >>> InputSource.of_bytes(b"tree,bar", "phone.csv").read()
    b'tree,bar'
    """

    name: str
    path: Path | None = None
    data: bytes | None = None

    @classmethod
    def of(cls, given: Path | InputSource) -> InputSource:
        """Take a path as a source; a source stays what it is."""
        return given if isinstance(given, InputSource) else cls(str(given), given)

    @classmethod
    def of_bytes(cls, data: bytes, name: str) -> InputSource:
        """Give bytes a name."""
        return cls(name, None, data)

    def read(self, *, most: int = MAX_BYTES) -> bytes:
        """Read it whole.

        Parameters
        ----------
        most : int
            Bytes that it may have.

        Returns
        -------
        bytes

        Raises
        ------
        DataError
            If it is no plain file, cannot be read or is larger than ``most``.
        """
        if self.path is not None:
            return read_plain(self.path, most=most)
        data = self.data or b""
        if len(data) > most:
            raise too_large(self.name, len(data), most)
        return data

    def filled(self, remedy: str = "Give a file with a header and a row per entry") -> bytes:
        """Read it whole, and refuse it if nothing is in it.

        Parameters
        ----------
        remedy : str
            What to do where it is empty.

        Returns
        -------
        bytes

        Raises
        ------
        DataError
            As :meth:`read`, or if it is empty.
        """
        data = self.read()
        if not data.strip():
            raise NoRowsError(Problem(self.name, "it is empty", remedy))
        return data

    def head(self, size: int = 64, *, most: int = MAX_BYTES) -> bytes:
        """Read its first bytes, so that its content can tell of what kind it is.

        Parameters
        ----------
        size : int
            Bytes to read.
        most : int
            Bytes that the whole may have.

        Returns
        -------
        bytes

        Raises
        ------
        DataError
            As :meth:`read`.
        """
        if self.path is not None:
            return read_head(self.path, size=size, most=most)
        return self.read(most=most)[:size]

    @contextmanager
    def on_disk(self) -> Iterator[Path]:
        """Lend it as a file, for libraries that open only such: itself, or a copy that goes afterwards."""
        if self.path is not None:
            yield self.path
            return
        with tempfile.TemporaryDirectory(prefix="stressmap") as folder:
            data = self.read()
            copy = Path(folder) / ("source.gpkg" if data.startswith(SQLITE) else "source")
            copy.write_bytes(data)
            yield copy
