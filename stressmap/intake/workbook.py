"""XLSX workbook -> the sheet that holds the table, as text."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import re
import warnings
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from stressmap.core.errors import DataError, NoRowsError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.intake.table_limits import MAX_COLUMNS, refuse_endless
from stressmap.intake.tabular import HEADER_WITHIN, MAX_CELL, Known, Sheet, from_rows
from stressmap.intake.zip_files import open_zip, unpack

MAX_ELEMENTS = 1_000_000
"""Elements of XML in all sheets: two a cell with a value; each takes some 10 microseconds and 300 bytes."""
MAX_STYLES = 200_000
"""Elements in what is no sheet; each takes some 40 microseconds."""
MOST_TIMES = 3
"""So often may one part be read; each sheet is read twice."""
LIKE_A_TABLE = 3
"""A sheet with so many of our headings that was not read may have been meant to be."""
MAX_MARK = 200_000
"""Bytes of one tag with its attributes, or of a comment, whose reading time grows with their square."""
_LONG_TAG = re.compile(rb"<[^<]{%d}" % MAX_MARK)
_TABLE = re.compile(rb"(?:\xef\xbb\xbf|\xff\xfe|\xfe\xff)?\s*(?:<\?[^>]*>\s*)?<(?:\w+:)?(?:worksheet|sst)\b")
"""How a sheet or its table of texts begins; what hides it behind a comment counts as the other kind."""


def read_workbook(data: bytes, where: str, known: Known) -> Noted[Sheet]:
    """Read the sheet of a workbook whose headings are recognised.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.
    known : callable
        Whether a heading is recognised.

    Returns
    -------
    Noted of Sheet
        Says which sheet was read when there are several.

    Raises
    ------
    DataError
        If it is no workbook, unpacks to too much, or several of its sheets could be the table.
    """
    notes = NoteList()
    sheets = notes.keep(_filled_sheets(data, where))
    return notes.beside(notes.keep(_likeliest(sheets, where, known)))


def read_fitting_sheets(
    data: bytes, where: str, known: Known, fits: Callable[[Sequence[str]], bool]
) -> Noted[tuple[Sheet, ...]]:
    """Read every sheet of a workbook that is a table of one kind, such as a sheet for each visit.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.
    known : callable
        Whether a heading is recognised.
    fits : callable
        Whether a row of cells has the headings of such a table.

    Returns
    -------
    Noted of tuple of Sheet
        Those of several are called by file and sheet. Where none fits, the one whose headings are recognised
        best. Says which sheets were read and which were not.

    Raises
    ------
    NoRowsError
        If no sheet holds a row.
    DataError
        As :func:`read_workbook`.
    """
    notes = NoteList()
    sheets = notes.keep(_filled_sheets(data, where))
    fitting = [name for name, rows in sheets.items() if any(fits(row) for row in rows[:HEADER_WITHIN])]
    if not fitting:
        return notes.beside((notes.keep(_likeliest(sheets, where, known)),))
    found: dict[str, Sheet] = {}
    bare: list[NoRowsError] = []
    for name in fitting:
        try:
            if len(fitting) > 1:
                part = from_rows(sheets[name], f"{where}:{name}", known, apart=True)
                found[name] = dataclasses.replace(part, title=name)
            else:
                found[name] = from_rows(sheets[name], where, known, apart=True)
        except NoRowsError as error:
            bare.append(error)
    if not found:
        raise bare[0]
    others = {name: rows for name, rows in sheets.items() if name not in fitting}
    alike = any(_recognised(rows, known) >= LIKE_A_TABLE for rows in others.values())
    notes.add(_told_sheets(where, list(found), list(sheets), alike=alike))
    return notes.beside(tuple(found.values()))


def _told_sheets(where: str, read: list[str], sheets: list[str], *, alike: bool) -> tuple[Note, ...]:
    """Say which of several sheets were read; with a caution where one that was not looks much alike."""
    others = [name for name in sheets if name not in read]
    if len(read) > 1 and not others:
        return (Note.of("sheets_all_read", file=where, sheets=read),)
    if len(read) == 1:
        return (Note.of("sheet_chosen", file=where, sheet=read[0]),) if others else ()
    told = Note.of("sheets_chosen", file=where, sheets=read, others=others)
    return (dataclasses.replace(told, severity="caution") if alike else told,)


def _filled_sheets(data: bytes, where: str) -> Noted[dict[str, list[list[str]]]]:
    """Read the sheets that hold anything; say which are hidden and therefore not read."""
    _refuse_bomb(data, where)
    sheets, hidden = _sheets(data, where)
    if hidden and not sheets:
        them = " and ".join(repr(name) for name in hidden[:3]) + (" is" if len(hidden) == 1 else " are")
        what = f"no sheet of it that is shown holds anything; {them} hidden"
        raise DataError(Problem(where, what, "Show the sheet with the table"))
    if not sheets:
        remedy = "Give a sheet with a header and rows"
        raise NoRowsError(Problem(where, "no sheet of it holds anything", remedy))
    notes = NoteList()
    if hidden:
        notes.say("sheets_hidden", "caution", file=where, names=hidden, count=len(hidden))
    return notes.beside(sheets)


def _likeliest(sheets: Mapping[str, list[list[str]]], where: str, known: Known) -> Noted[Sheet]:
    """Take the sheet whose headings are recognised best."""
    scores = {name: _recognised(rows, known) for name, rows in sheets.items()}
    best = max(scores.values())
    likely = [name for name in sheets if scores[name] == best]
    if len(likely) > 1 and best > 0:
        shown = " and ".join(repr(name) for name in likely[:3])
        raise DataError(
            Problem(where, f"the sheets {shown} could each be the table", "Keep one in the workbook")
        )
    notes = NoteList()
    if len(sheets) > 1:
        notes.say("sheet_chosen", file=where, sheet=likely[0])
    return notes.beside(from_rows(sheets[likely[0]], where, known, apart=True))


def _refuse_bomb(data: bytes, where: str) -> None:
    """Refuse a workbook whose parts hold more than can be read in seconds and a few hundred megabytes."""
    tables = others = 0
    with open_zip(data, where) as archive:
        _refuse_other_kind(archive.namelist(), where)
        for name in archive.namelist():
            part = unpack(archive, name, where)
            elements = part.count(b"<") - part.count(b"</")
            if part.lstrip(b"\xef\xbb\xbf").startswith(b"<") and _has_long_mark(part):
                what = f"{name!r} in it has a tag or comment of more than {MAX_MARK:,} characters"
                raise DataError(Problem(where, what, "Save it again as .xlsx or CSV"))
            if _TABLE.match(part.replace(b"\0", b"")[:1000]):
                tables += elements
            else:
                others += elements
    for found, most, of in (
        (tables, MAX_ELEMENTS, "cells and their values"),
        (others, MAX_STYLES, "styles and names"),
    ):
        if found > most:
            what = f"it has more than {most:,} {of}"
            raise DataError(Problem(where, what, "Save the table alone, as CSV"))


def _refuse_other_kind(parts: Sequence[str], where: str) -> None:
    """Name what else a zip may be that a spreadsheet program has written."""
    for part, what in (
        ("xl/workbook.bin", "it is a binary workbook (.xlsb)"),
        ("content.xml", "it is an OpenDocument spreadsheet (.ods)"),
    ):
        if part in parts:
            raise DataError(Problem(where, what, "Save it as .xlsx or CSV"))


def _has_long_mark(part: bytes) -> bool:
    if _LONG_TAG.search(part):
        return True
    for opening, closing in ((b"<!--", b"-->"), (b"<?", b"?>")):
        at = part.find(opening)
        while at >= 0:
            end = part.find(closing, at)
            if (len(part) if end < 0 else end) - at > MAX_MARK:
                return True
            at = part.find(opening, end) if end >= 0 else -1
    return False


class _Archive(io.BytesIO):
    """Bytes of a zip that refuse to be read over and over, as when two hundred sheets are all one part."""

    def __init__(self, data: bytes) -> None:
        super().__init__(data)
        self._times: dict[int, int] = {}

    def read(self, size: int | None = -1) -> bytes:
        at = self.tell()
        self._times[at] = self._times.get(at, 0) + 1
        if self._times[at] > MOST_TIMES:
            msg = "the same part is read too often"
            raise ValueError(msg)
        return super().read(size)


def _sheets(data: bytes, where: str) -> tuple[dict[str, list[list[str]]], list[str]]:
    """Give the rows of the sheets that are shown, and the names of hidden ones that hold anything."""
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(_Archive(data), read_only=True, data_only=True, keep_links=False)
            read = {sheet.title: _rows(sheet, where) for sheet in book.worksheets}
            shown = {sheet.title for sheet in book.worksheets if _visible(sheet)}
            book.close()
    except DataError:
        raise
    except Exception as error:  # openpyxl raises whatever its parsers raise
        what = f"it cannot be read as a workbook ({type(error).__name__})"
        raise DataError(Problem(where, what, "Save it again as .xlsx or CSV")) from None
    filled = {name: rows for name, rows in read.items() if any(any(row) for row in rows)}
    hidden = [name for name in filled if name not in shown]
    return {name: rows for name, rows in filled.items() if name in shown}, hidden


def _visible(sheet: Any) -> bool:
    return getattr(sheet, "sheet_state", "visible") == "visible"


def _rows(sheet: Any, where: str) -> list[list[str]]:
    sheet.reset_dimensions()
    rows: list[list[str]] = []
    cells = 0
    for values in sheet.iter_rows(values_only=True):
        row = [_text(value) for value in values[: MAX_COLUMNS + 1]]
        rows.append(row)
        cells += len(row)
        refuse_endless(len(rows), cells, where)
    return rows


def _text(value: object) -> str:
    """Write a cell as a person would read it, dates in ISO form."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, dt.timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)[: MAX_CELL + 1].strip()


def _recognised(rows: list[list[str]], known: Known) -> int:
    return max((len({c for c in row if c and known(c)}) for row in rows[:30]), default=0)
