"""A CSV file or a workbook -> a sheet of text; the content decides which, never the name."""

from __future__ import annotations

from pathlib import Path

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Notes
from stressmap.intake.tabular import Known, Sheet, read_bytes, read_delimited
from stressmap.intake.workbook import read_workbook


def read_sheet(path: Path, known: Known, notes: Notes) -> Sheet:
    """Read a CSV file or an XLSX workbook; the content decides which, not the name.

    Parameters
    ----------
    path : Path
        The file.
    known : callable
        Whether a heading is recognised.
    notes : Notes
        Told what was assumed.

    Returns
    -------
    Sheet

    Raises
    ------
    DataError
        If it is no table.
    """
    data = read_bytes(path)
    if data.startswith(b"PK\x03\x04"):
        return read_workbook(data, str(path), known, notes)
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        what = "it is a workbook of the old .xls kind, or protected by a password"
        raise DataError(Problem(str(path), what, "Save it as .xlsx or CSV, without a password"))
    return read_delimited(data, str(path), known, notes)
