"""What ``[files]`` names where it may name several: a file, a list of files, or a folder of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from stressmap.core.input_files import COMPONENTS, folded

TABLES = frozenset({".csv", ".tsv", ".xlsx", ".xlsm", ".geojson", ".json", ".gpkg", ".gpx"})
"""Endings of the files that are read of a folder; what else lies in it is told and not read."""
_HIDDEN = (".", "~$")
_LEFT_BY_SYSTEMS = frozenset({"thumbs.db", "desktop.ini", "icon\r"})
_BESIDE = tuple(ending for endings in COMPONENTS.values() for ending in endings if "-" in ending)


@dataclass(frozen=True)
class ListedFiles:
    """The files that one key of ``[files]`` leads to.

    Parameters
    ----------
    files : tuple of Path
        In the order of the list, those of a folder by name; each once.
    not_read : tuple of (Path, tuple of str)
        Folders, and the names in each that are no tables.
    """

    files: tuple[Path, ...]
    not_read: tuple[tuple[Path, tuple[str, ...]], ...] = ()


def files_of(named: Iterable[Path]) -> ListedFiles:
    """List the files that are read where files and folders are named.

    Hidden files, the locks of open spreadsheets and what systems leave in folders are passed over; folders
    in a folder are not entered.

    Parameters
    ----------
    named : iterable of Path
        As ``[files]`` has them. What is not there, or is a folder that cannot be looked into, stays as it is:
        who opens it says what is wrong.

    Returns
    -------
    ListedFiles
    """
    files: dict[Path, None] = {}
    not_read = []
    for path in named:
        try:
            inside = sorted(path.iterdir(), key=lambda p: (folded(p.name), p.name))
        except (OSError, ValueError):
            files.setdefault(path)
            continue
        shown = [p for p in inside if not _passed_over(p.name)]
        tables = [p for p in shown if p.suffix.lower() in TABLES and p.is_file()]
        files |= dict.fromkeys(tables)
        others = tuple(p.name for p in shown if p not in set(tables))
        if others:
            not_read.append((path, others))
    return ListedFiles(tuple(files), tuple(not_read))


def _passed_over(name: str) -> bool:
    low = folded(name)
    return low.startswith(_HIDDEN) or low.endswith(_BESIDE) or low in _LEFT_BY_SYSTEMS
