"""A CSV file or a workbook -> a sheet of text; the content decides which, never the name."""

from __future__ import annotations

from pathlib import Path

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted
from stressmap.core.sources import InputSource
from stressmap.intake.tabular import Known, Sheet, read_delimited
from stressmap.intake.workbook import read_workbook


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
    if data.startswith(b"PK\x03\x04"):
        return read_workbook(data, source.name, known)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        what = "it is a workbook of the old .xls kind, or protected by a password"
        raise DataError(Problem(source.name, what, "Save it as .xlsx or CSV, without a password"))
    return read_delimited(data, source.name, known)
