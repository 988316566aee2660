"""Any kind of readings file -> a sheet of text; the content decides the kind, the name only where it must."""

from __future__ import annotations

from pathlib import Path

from stressmap.errors import Notes
from stressmap.intake.tabular import Known, Sheet, read_sheet


def read_any(path: Path, known: Known, notes: Notes) -> Sheet:
    """Read a file of points as a table.

    Parameters
    ----------
    path : Path
        CSV, XLSX, GeoJSON, GeoPackage or GPX.
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
        If it is none of these, or cannot be used.
    """
    return read_sheet(path, known, notes)
