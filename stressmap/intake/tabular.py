"""Bytes of a spreadsheet -> a frame of text, with the row numbers that a spreadsheet shows.

Nothing here knows what a column means: :mod:`stressmap.intake.columns` recognises headings, and hands
``known`` down so that the header can be told from a title above it.
"""

from __future__ import annotations

import csv
import json
import math
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from stressmap.core.errors import DataError, NoRowsError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.row_counts import ToldRow
from stressmap.intake.table_limits import MAX_COLUMNS, most_rows, refuse_endless
from stressmap.intake.unit_headings import unit_in

MAX_CELL = 32_767
HEADER_WITHIN = 30
"""The header is looked for in this many first rows."""

DELIMITERS = (",", ";", "\t", "|")
_LINE = re.compile(r"[^\r\n]*(?:\r\n|[\r\n])|[^\r\n]+$")
_GAP = re.compile(r"\s{20,}")
_KINDS = frozenset(
    ("mean", "average", "avg", "sample", "total", "sum", "max", "min", "media", "promedio", "muestra", "suma")
)
"""What a second row under the units may say: how each value of a record was made."""
Known = Callable[[str], bool]


@dataclass(frozen=True)
class Sheet:
    """A table as its file has it.

    Parameters
    ----------
    where : str
        File (and sheet of a workbook) as messages name it.
    headings : tuple of str
        Column headings as written, one per column; may repeat or be empty.
    units : tuple of str
        What a row of units says per column, ``""`` where nothing.
    frame : DataFrame of str
        Cells, stripped, ``""`` where empty; columns 0, 1, ...; the index is the row that a spreadsheet
        shows. Rows without any entry are not in it.
    title : str
        Of the sheet of a workbook of which several are read.
    told : tuple of ToldRow
        Rows of the file that are no entries and therefore not in ``frame``, and why.
    """

    where: str
    headings: tuple[str, ...]
    units: tuple[str, ...]
    frame: pd.DataFrame
    title: str = ""
    told: tuple[ToldRow, ...] = ()

    @property
    def rows(self) -> list[int]:
        """All rows below the header that hold anything, as a spreadsheet shows them."""
        return sorted([*self.frame.index.tolist(), *(one.row for one in self.told)])

    @property
    def book(self) -> str:
        """Name what it is a part of: its workbook where several sheets of that are read, else itself."""
        return self.where.removesuffix(f":{self.title}") if self.title else self.where


def read_delimited(data: bytes, where: str, known: Known) -> Noted[Sheet]:
    r"""Read separated text: comma, semicolon, tab or bar; UTF-8, UTF-16 with its mark, or Latin-1.

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
    Sheet

    Raises
    ------
    DataError
        If it is no table.

    Examples
    --------
    >>> known = {"tree", "bar"}.__contains__
    >>> sheet = read_delimited(b"Visit 3\n\ntree;bar\nT1;12,5\n", "a.csv", known).value
    >>> sheet.headings
    ('tree', 'bar')
    >>> sheet.frame.loc[4].tolist()
    ['T1', '12,5']
    """
    notes = NoteList()
    text = notes.keep(_decode(data, where))
    head = text[: MAX_CELL * 4]
    if len(text) > len(head) and "\n" not in head and "\r" not in head:
        what = f"its first line is longer than {len(head):,} characters"
        raise DataError(Problem(where, what, "Give a table with a line per row"))
    lines = head.splitlines()[: 2 * HEADER_WITHIN]
    if len(text) > len(head):
        lines = lines[:-1] or lines
    delimiter = max(DELIMITERS, key=lambda mark: _fitness(lines, mark, known))
    return notes.beside(from_rows(_split(text, delimiter, where), where, known))


def _decode(data: bytes, where: str) -> Noted[str]:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return Noted(data.decode("utf-16", errors="replace"))
    if b"\x00" in data:
        raise DataError(Problem(where, "it is not a text file", "Save the table as CSV or .xlsx"))
    try:
        return Noted(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        note = Note.of("text_not_utf8", file=where)
        try:
            return Noted(data.decode("cp1252"), (note,))
        except UnicodeDecodeError:
            return Noted(data.decode("latin-1"), (note,))


def _fitness(lines: list[str], delimiter: str, known: Known) -> tuple[int, int, int]:
    """Score a delimiter: headings recognised, then how many rows agree in width, then the width."""
    try:
        rows = [r for r in csv.reader(lines, delimiter=delimiter, skipinitialspace=True) if any(r)]
    except csv.Error:
        return (0, 0, 0)
    recognised = max((sum(known(c.strip()) for c in row) for row in rows), default=0)
    widths = [len(row) for row in rows]
    width = max(set(widths), key=widths.count, default=1)
    return (recognised, widths.count(width) if width > 1 else 0, width)


def _split(text: str, delimiter: str, where: str) -> list[list[str]]:
    csv.field_size_limit(MAX_CELL)
    lines = (found[0] for found in _LINE.finditer(text))  # StringIO would take four bytes a character
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True, strict=True)
    rows: list[list[str]] = []
    cells = 0
    try:
        for row in reader:
            rows.append(row)
            cells += len(row)
            refuse_endless(len(rows), cells, where)
    except csv.Error as error:
        what = (
            "a quotation mark in it is not closed"
            if "field limit" not in str(error)
            else "a cell is too long"
        )
        remedy = "Close it, or remove it"
        raise DataError(Problem(where, what, remedy, row=len(rows) + 1)) from None
    return rows


def from_rows(rows: Sequence[Sequence[str]], where: str, known: Known, *, apart: bool = False) -> Sheet:
    """Find the header among rows of text, and what stands below it.

    Parameters
    ----------
    rows : sequence of sequence of str
        All rows of the file, the first being row 1, blank ones included.
    where : str
        File, for messages.
    known : callable
        Whether a heading is recognised.
    apart : bool
        Whether each cell stands in a column of its own, as in a workbook: what stands to the right of the
        header is then a column without a heading, not a separator too many.

    Returns
    -------
    Sheet

    Raises
    ------
    NoRowsError
        If there is no header, or nothing below it.
    DataError
        If a row has more cells than the header.
    """
    cells = [[_stripped(c) for c in row] for row in rows]
    header = _header(cells, known)
    if header is None:
        raise NoRowsError(Problem(where, "it is empty", "Give a file with a header and a row per entry"))
    headings = _trimmed(cells[header])
    if apart:
        widest = max(len(_trimmed(row)) for row in cells[header:])
        headings += [""] * (widest - len(headings))
    if len(headings) > MAX_COLUMNS:
        what = f"the header has {len(headings)} columns; at most {MAX_COLUMNS} are read"
        raise DataError(Problem(where, what, "Remove columns that are not needed", row=header + 1))
    units, skipped = _units(cells, header)
    width = len(headings)
    numbered = [(i + 1, row) for i, row in enumerate(cells) if i > header and i not in skipped and any(row)]
    _refuse_wide(numbered, width, where)
    again = [n for n, row in numbered if _folded(row) == _folded(headings)]
    numbered = [(n, row) for n, row in numbered if n not in again]
    body = [row[:width] + [""] * (width - len(row)) for _, row in numbered]
    if not body:
        remedy = "Give a row per entry below the header"
        raise NoRowsError(Problem(where, "it has a header and no row below it", remedy, row=header + 1))
    index = pd.Index([n for n, _ in numbered], name="row")
    frame = pd.DataFrame(body, index=index, columns=range(width), dtype=object)
    told = tuple(ToldRow.of(n, "heading_again") for n in again)
    return Sheet(where, tuple(headings), tuple(units[:width] + [""] * (width - len(units))), frame, told=told)


def _folded(row: list[str]) -> list[str]:
    return [cell.casefold() for cell in _trimmed(row)]


def _stripped(cell: str) -> str:
    """Strip a cell, and cut long gaps inside it, over which patterns would look again and again."""
    bare = cell.strip()
    return bare if len(bare) < 100 else _GAP.sub(" ", bare)


def _trimmed(row: list[str]) -> list[str]:
    """Drop the empty cells at a row's end."""
    end = len(row)
    while end and not row[end - 1]:
        end -= 1
    return row[:end]


def _header(cells: list[list[str]], known: Known) -> int | None:
    """Find the header: the row with most recognised headings, else the first of full width."""
    first = [i for i, row in enumerate(cells[: 10 * HEADER_WITHIN]) if any(row)][:HEADER_WITHIN]
    if not first:
        return None
    recognised = {i: len({c for c in cells[i] if c and known(c)}) for i in first}
    best = max(first, key=lambda i: recognised[i])
    if recognised[best]:
        return best
    widths = {i: sum(map(bool, cells[i])) for i in first}
    return max(first, key=lambda i: widths[i])


def _units(cells: list[list[str]], header: int) -> tuple[list[str], tuple[int, ...]]:
    """Find a row of units just above or just below the header, and which rows below are no entries."""
    if header > 0 and _says_units(cells[header - 1]):
        return cells[header - 1], ()
    below = header + 1
    if below < len(cells) and _says_units(cells[below]):
        kinds = below + 1 < len(cells) and _says_kinds(cells[below + 1])
        return cells[below], (below, below + 1) if kinds else (below,)
    return [], ()


def _says_kinds(row: list[str]) -> bool:
    filled = [c.casefold().rstrip(".") for c in row if c]
    return bool(filled) and all(c in _KINDS for c in filled)


def _says_units(row: list[str]) -> bool:
    filled = [c for c in row if c and c not in {"-", "—", "local", "local time", "hora local"}]
    return bool(filled) and all(unit_in(c) for c in filled)


def _refuse_wide(numbered: list[tuple[int, list[str]]], width: int, where: str) -> None:
    lengths = [len(row) for _, row in numbered]
    # a separator too many is harmless at the end of every row, but shifts the cells of a single one
    usual = max(set(lengths), key=lengths.count, default=width)
    wide = [(n, row) for n, row in numbered if any(row[width:]) or len(row) > max(usual, width)]
    problems = [
        Problem(
            where,
            f"it has {len(row)} cells, the header {width}",
            "Put quotation marks around a text or number with the separator in it",
            row=n,
        )
        for n, row in wide[:10]
    ]
    if problems:
        raise DataError(problems)


def sheet_of(records: Iterable[dict[str, Any]], where: str) -> Sheet:
    """Make a sheet of records, the first being row 2.

    Parameters
    ----------
    records : iterable of dict
        Heading -> value.
    where : str
        File, for messages.

    Returns
    -------
    Sheet

    Raises
    ------
    NoRowsError
        If there is no record.
    DataError
        If there are too many, or a cell is too long.
    """
    held = list(records)
    if not held:
        raise NoRowsError(Problem(where, "it holds no points", "Export the readings again"))
    headings = list(dict.fromkeys(str(name) for record in held for name in record))
    if len(held) > most_rows(len(headings), where):
        refuse_endless(len(held), len(held) * len(headings), where)
    body = [[_text(record.get(name)) for name in headings] for record in held]
    for row, cells in enumerate(body, start=2):
        if max(map(len, cells), default=0) > MAX_CELL:
            raise DataError(Problem(where, "a cell is too long", "Shorten it", row=row))
    index = pd.RangeIndex(2, len(held) + 2, name="row")
    frame = pd.DataFrame(body, index=index, columns=range(len(headings)), dtype=object)
    return Sheet(where, tuple(headings), ("",) * len(headings), frame)


def _text(value: Any) -> str:
    if value is None or value is pd.NaT or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, (dict, list)):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    # half of a pair of code units, as JSON may hold, is no text that could be written to a file
    return _stripped(str(value)).encode(errors="replace").decode()
