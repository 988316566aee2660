"""The tables of a key of ``[files]`` that may name several: every file, and every fitting sheet of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Literal, TypeVar

import pandas as pd

from stressmap.core.errors import DataError, NoRowsError, Problem
from stressmap.core.listed_files import TABLES, files_of
from stressmap.core.notes import Noted, NoteList
from stressmap.core.sources import InputSource
from stressmap.intake.table_limits import table_limits
from stressmap.intake.tabular import Sheet
from stressmap.intake.times import Order, order_shown

Given = Path | InputSource | Sequence[Path | InputSource]
Kind = Literal["readings", "irrigation"]
MOST_FILES = 1000
"""So many files or sheets of one kind are read."""
_CALLED: Mapping[Kind, tuple[str, str]] = MappingProxyType(
    {"readings": ("reading", "readings"), "irrigation": ("irrigation", "entries of the irrigation log")}
)
T = TypeVar("T")
U = TypeVar("U")


def sheets_of(
    given: Given, kind: Kind, read: Callable[[InputSource], Noted[tuple[Sheet, ...]]]
) -> Noted[tuple[Sheet, ...]]:
    """Read all tables of one kind: of a file, of each file of a list or in a folder, of each fitting sheet.

    Parameters
    ----------
    given : Path, InputSource or sequence of these
        What ``[files]`` names, or bytes with names.
    kind : str
        Which input it is.
    read : callable
        Of a source, its tables.

    Returns
    -------
    Noted of tuple of Sheet
        In the order of files and sheets. Says which files hold no row yet or were not read.

    Raises
    ------
    NoRowsError
        If none of them holds a row.
    DataError
        If one cannot be read, there is none or there are too many.
    """
    notes = NoteList()
    named = (given,) if isinstance(given, (Path, InputSource)) else tuple(given)
    sources = notes.keep(_sources(named, kind))
    bare: list[NoRowsError] = []

    def tables(source: InputSource) -> tuple[Sheet, ...]:
        try:
            return notes.keep(read(source))
        except NoRowsError as error:
            bare.append(error)
            return ()

    found = tuple(sheet for sheets in each(sources, tables) for sheet in sheets)
    if not found:
        alone = len(named) == 1 and not _is_folder(named[0])
        raise bare[0] if alone else NoRowsError(_nothing_yet(named, sources, kind))
    if bare:
        notes.say("files_without_rows", files=[error.problems[0].where for error in bare])
    _refuse_too_much(found, named)
    return notes.beside(found)


def orders_of(
    sheets: Sequence[Sheet], days: Sequence[pd.Series | None], stated: Order | None
) -> list[Order | None]:
    """Tell the order of day and month for each table: as stated, or as the sheets of its workbook agree.

    Parameters
    ----------
    sheets : sequence of Sheet
        The tables.
    days : sequence of Series or None
        The cells of each that hold its dates.
    stated : str or None
        ``[reading] date_order``.

    Returns
    -------
    list of str or None
        None where a table must tell by itself: files may be of different hands.
    """
    if stated is not None:
        return [stated] * len(sheets)
    shown: dict[str, set[Order]] = {}
    for sheet, cells in zip(sheets, days, strict=True):
        own = None if cells is None else order_shown(cells)
        shown.setdefault(sheet.book, set()).update([own] if own else [])
    agreed = {book: orders.pop() for book, orders in shown.items() if len(orders) == 1}
    return [agreed.get(sheet.book) if sheet.title else None for sheet in sheets]


def each(things: Iterable[U], work: Callable[[U], T]) -> list[T]:
    """Do something with each of several things and raise all their problems at once.

    Parameters
    ----------
    things : iterable
        Such as files.
    work : callable
        Of one of them.

    Returns
    -------
    list
        In their order.

    Raises
    ------
    DataError
        With the problems of all.
    """
    done: list[T] = []
    problems: list[Problem] = []
    for thing in things:
        try:
            done.append(work(thing))
        except DataError as error:
            problems += error.problems
    if problems:
        raise DataError(problems)
    return done


def _is_folder(one: Path | InputSource) -> bool:
    return isinstance(one, Path) and one.is_dir()


def _sources(named: Sequence[Path | InputSource], kind: Kind) -> Noted[tuple[InputSource, ...]]:
    """List the files to read, those of folders too."""
    notes, sources = NoteList(), []
    written = [str(one) for one in named if isinstance(one, Path)]
    again = [name for name in dict.fromkeys(written) if written.count(name) > 1]
    if again:
        notes.say("files_named_twice", "caution", files=again)
    for one in named:
        if isinstance(one, InputSource):
            sources.append(one)
            continue
        listed = files_of((one,))
        sources += [InputSource.of(path) for path in listed.files]
        for folder, names in listed.not_read:
            notes.say("files_not_read", "caution", file=str(folder), names=names)
        if not listed.files:
            endings = ", ".join(sorted(TABLES))
            what = f"the folder holds no file of {_CALLED[kind][1]} (names that end in {endings} are read)"
            raise DataError(Problem(str(one), what, "Put one into it"))
    if not sources:
        raise DataError(Problem(kind, "no file is named", "Name a file, a list of files or a folder"))
    if len(sources) > MOST_FILES:
        what = f"there are more than {MOST_FILES:,} files"
        raise DataError(Problem(_said(named), what, "Put visits together, or move old ones away"))
    return notes.beside(tuple({source.name: source for source in sources}.values()))


def _nothing_yet(named: Sequence[Path | InputSource], sources: Sequence[InputSource], kind: Kind) -> Problem:
    first = Path(sources[0].name).name
    others = f" and {len(sources) - 1} more" if len(sources) > 1 else ""
    what = (
        f"no {_CALLED[kind][1]} yet: {first}{others} {'have' if others else 'has'} no row below the headings"
    )
    return Problem(_said(named), what, f"Fill in a row per {_CALLED[kind][0]}")


def _said(named: Sequence[Path | InputSource]) -> str:
    first, *others = (one.name if isinstance(one, InputSource) else str(one) for one in named)
    return f"{first} and {len(others)} more" if others else first


def _refuse_too_much(found: Sequence[Sheet], named: Sequence[Path | InputSource]) -> None:
    rows, most = sum(len(sheet.frame) for sheet in found), table_limits().rows
    if rows > most or len(found) > MOST_FILES:
        what = (
            f"they have {rows:,} rows in {len(found):,} sheets together; {most:,} rows and {MOST_FILES:,} "
            "sheets are the most that are read on this machine"
        )
        raise DataError(Problem(_said(named), what, "Move those of earlier seasons away"))
