"""A CSV file or a workbook -> a sheet of text; the content decides which, never the name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted
from stressmap.core.sources import InputSource
from stressmap.intake.tabular import Known, Sheet, read_delimited
from stressmap.intake.workbook import read_fitting_sheets, read_workbook

WORKBOOK = b"PK\x03\x04"
"""How a workbook begins."""


def read_sheet(given: Path | InputSource, known: Known) -> Noted[Sheet]:
    """Read a CSV file or an XLSX workbook; the content decides which, not the name.

    Parameters
    ----------
    given : Path or InputSource
        The file.
    known : callable
        Whether a heading is recognised.

    Returns
    -------
    Noted of Sheet

    Raises
    ------
    DataError
        If it is no table.
    """
    source = InputSource.of(given)
    data = source.filled()
    if data.startswith(WORKBOOK):
        return read_workbook(data, source.name, known)
    return _read_text(data, source.name, known)


def read_sheets(
    given: Path | InputSource, known: Known, fits: Callable[[Sequence[str]], bool]
) -> Noted[tuple[Sheet, ...]]:
    """Read a CSV file, or every sheet of an XLSX workbook that is a table of one kind.

    Parameters
    ----------
    given : Path or InputSource
        The file.
    known : callable
        Whether a heading is recognised.
    fits : callable
        Whether a row of cells has the headings of such a table.

    Returns
    -------
    Noted of tuple of Sheet

    Raises
    ------
    NoRowsError
        If it holds no row.
    DataError
        If it is no table.
    """
    source = InputSource.of(given)
    data = source.filled()
    if data.startswith(WORKBOOK):
        return read_fitting_sheets(data, source.name, known, fits)
    sheet = _read_text(data, source.name, known)
    return Noted((sheet.value,), sheet.notes)


def _read_text(data: bytes, where: str, known: Known) -> Noted[Sheet]:
    refuse_web_page(data, where)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        what = "it is a workbook of the old .xls kind, or protected by a password"
        raise DataError(Problem(where, what, "Save it as .xlsx or CSV, without a password"))
    return read_delimited(data, where, known)


def refuse_web_page(data: bytes, where: str) -> None:
    """Refuse a page of the web that was saved in the place of a file.

    Parameters
    ----------
    data : bytes
        The file's content, or its beginning.
    where : str
        File, for messages.

    Raises
    ------
    DataError
    """
    head = data[:200].removeprefix(b"\xef\xbb\xbf").lstrip().lower()
    if head.startswith((b"<!doctype html", b"<html")):
        what = "it is a web page, not a table"
        raise DataError(Problem(where, what, "Download the file itself; the page may ask to log in"))
