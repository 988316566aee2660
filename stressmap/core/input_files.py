"""Files that a user handed in, known again whatever name or link leads to them: none is written over."""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import suppress
from pathlib import Path

COMPONENTS = {
    ".shp": (".shx", ".dbf", ".prj", ".qpj", ".cpg", ".sbn", ".sbx", ".qix", ".shp.xml"),
    ".tif": (".tfw", ".tifw", ".wld", ".tif.aux.xml", ".tif.ovr", ".tif.msk"),
    ".gpkg": (".gpkg-wal", ".gpkg-shm", ".gpkg-journal"),
    ".sqlite": (".sqlite-wal", ".sqlite-shm", ".sqlite-journal"),
}
"""Endings of the files that belong to a file, by its own ending."""


class InputFiles:
    """The files of a ranch, and every file that belongs to one of them.

    Parameters
    ----------
    files : iterable of Path
        As named by the user; of a folder every file in it. One that is not there is known by its name alone.
    """

    def __init__(self, files: Iterable[Path]) -> None:
        self._by_file: dict[tuple[int, int], Path] = {}
        self._by_name: dict[tuple[object, str], Path] = {}
        named = tuple(files)
        self._folders = {_name(path / "x")[0]: path for path in named if path.is_dir()}
        for path in _parts(named):
            for place in {path.absolute(), Path(os.path.realpath(path))}:
                self._by_name.setdefault(_name(place), path)
            with suppress(OSError, ValueError):
                found = path.stat()
                self._by_file.setdefault((found.st_dev, found.st_ino), path)

    def at(self, place: Path) -> Path | None:
        """Tell which input would be lost if something were written to a place.

        Parameters
        ----------
        place : Path
            Where something is to be written.

        Returns
        -------
        Path or None
            The input whose name (in any case of letters) the place has, or that it leads to by a link.
        """
        by_name = self._by_name.get(_name(place.absolute()))
        if by_name is not None:
            return by_name
        try:
            found = place.stat()
        except (OSError, ValueError):
            return None
        return self._by_file.get((found.st_dev, found.st_ino))

    def folder_of(self, place: Path) -> Path | None:
        """Tell in which folder of inputs a new file would stand, to be read as one of them the next time.

        Parameters
        ----------
        place : Path
            Where something is to be written.

        Returns
        -------
        Path or None
            The folder, as named.
        """
        return self._folders.get(_name(place.absolute())[0])


def folded(name: str) -> str:
    """Write a file's name as a system that knows no upper case compares it.

    Parameters
    ----------
    name : str
        Without folders.

    Returns
    -------
    str

    Examples
    --------
    >>> folded("Stress.TIF")
    'stress.tif'
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", name).casefold())


def components(file: Path) -> list[Path]:
    """Find the files that belong to a file and lie beside it, such as the attributes of a shapefile.

    Parameters
    ----------
    file : Path
        Any.

    Returns
    -------
    list of Path
        In order; none where there is no such file or folder.
    """
    wanted = {folded(file.stem + ending) for ending in COMPONENTS.get(file.suffix.lower(), ())}
    with suppress(OSError, ValueError):
        return sorted(p for p in file.parent.iterdir() if folded(p.name) in wanted) if wanted else []
    return []


def _parts(files: Iterable[Path]) -> Iterator[Path]:
    for file in files:
        with suppress(OSError, ValueError):
            if file.is_dir():
                yield from sorted(p for p in file.iterdir() if not p.is_dir())
                continue
        yield file
        yield from components(file)


def _name(place: Path) -> tuple[object, str]:
    """Give a place as its folder, by identity where it exists, and its folded name."""
    try:
        folder = place.parent.stat()
        return (folder.st_dev, folder.st_ino), folded(place.name)
    except (OSError, ValueError):
        return str(place.parent), folded(place.name)
