"""XLSX workbook -> the sheet that holds the table, as text."""

from __future__ import annotations

import datetime as dt
import io
import warnings
import zipfile
from typing import Any

from stressmap.errors import DataError, Notes, Problem
from stressmap.intake.tabular import MAX_CELL, MAX_COLUMNS, MAX_ROWS, Known, Sheet, from_rows

MAX_UNPACKED = 300_000_000
"""A workbook that unpacks to more bytes than this is refused; zipfile reads no further than it declares."""
MAX_CELLS = 20_000_000


def read_workbook(data: bytes, where: str, known: Known, notes: Notes) -> Sheet:
    """Read the sheet of a workbook whose headings are recognised.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.
    known : callable
        Whether a heading is recognised.
    notes : Notes
        Told which sheet was read when there are several.

    Returns
    -------
    Sheet

    Raises
    ------
    DataError
        If it is no workbook, unpacks to too much, or several of its sheets could be the table.
    """
    refuse_bomb(data, where)
    sheets = _sheets(data, where)
    if not sheets:
        raise DataError(
            Problem(where, "no sheet of it holds anything", "Give a sheet with a header and rows")
        )
    scores = {name: _recognised(rows, known) for name, rows in sheets.items()}
    best = max(scores.values())
    likely = [name for name in sheets if scores[name] == best]
    if len(likely) > 1 and best > 0:
        shown = " and ".join(repr(name) for name in likely[:3])
        raise DataError(
            Problem(where, f"the sheets {shown} could each be the table", "Keep one in the workbook")
        )
    if len(sheets) > 1:
        notes.say(f"{where}: the sheet {likely[0]!r} was read, the others were not.")
    return from_rows(sheets[likely[0]], where, known)


def refuse_bomb(data: bytes, where: str) -> None:
    """Refuse a zip that unpacks to more than ``MAX_UNPACKED`` bytes, or is no zip.

    Parameters
    ----------
    data : bytes
        The file's content.
    where : str
        File, for messages.

    Raises
    ------
    DataError
    """
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as packed:
            size = sum(entry.file_size for entry in packed.infolist())
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        raise DataError(Problem(where, "it is a damaged zip file", "Save or copy it again")) from None
    if size > MAX_UNPACKED:
        what = f"it unpacks to {size / 1e6:,.0f} MB; at most {MAX_UNPACKED / 1e6:,.0f} MB are read"
        raise DataError(Problem(where, what, "Save it again with only what is needed"))


def _sheets(data: bytes, where: str) -> dict[str, list[list[str]]]:
    import openpyxl

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True, keep_links=False)
            read = {sheet.title: _rows(sheet, where) for sheet in book.worksheets if _visible(sheet)}
            book.close()
    except DataError:
        raise
    except Exception as error:  # openpyxl raises whatever its parsers raise
        what = f"it cannot be read as a workbook ({type(error).__name__})"
        raise DataError(Problem(where, what, "Save it again as .xlsx or CSV")) from None
    return {name: rows for name, rows in read.items() if any(any(row) for row in rows)}


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
        if cells > MAX_CELLS or len(rows) > MAX_ROWS:
            what = f"the sheet {sheet.title!r} has more than {MAX_CELLS:,} cells"
            raise DataError(Problem(where, what, "Clear what lies beyond the table"))
    return rows


def _text(value: object) -> str:
    """Write a cell as a person would read it, dates in ISO form."""
    if value is None:
        return ""
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, dt.timedelta):
        return str(value)
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)[: MAX_CELL + 1].strip()


def _recognised(rows: list[list[str]], known: Known) -> int:
    return max((len({c for c in row if c and known(c)}) for row in rows[:30]), default=0)
