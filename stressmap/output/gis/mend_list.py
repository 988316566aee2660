"""The small table of doubtful readings that a person mends by hand."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pandas as pd

from stressmap.core.errors import OutputError, Problem
from stressmap.output.gis.csv_tables import write_csv

NAME = "to_mend.csv"


def write_mend_list(table: pd.DataFrame, out: Path, inputs: tuple[Path, ...]) -> Path:
    """Write the list beside its target first, then put it in place.

    Parameters
    ----------
    table : DataFrame
        From :func:`stressmap.quality.assessment_summary.mend_table`.
    out : Path
        A ``.csv`` file, or a folder that shall hold ``to_mend.csv``.
    inputs : tuple of Path
        Files of the ranch, never written over.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    OutputError
        If it cannot be written, or is one of the inputs.
    """
    target = out if out.suffix.lower() == ".csv" and not out.is_dir() else out / NAME
    if target.resolve() in {path.resolve() for path in inputs}:
        what = "it is an input of the ranch and is not written over"
        raise OutputError(Problem(str(target), what, "Give another file with --out"))
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, partial = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".partial", dir=target.parent)
        os.close(handle)
        try:
            write_csv(table, Path(partial))
            Path(partial).chmod(0o644)
            Path(partial).replace(target)
        finally:
            Path(partial).unlink(missing_ok=True)
    except OSError as error:
        what = f"the output cannot be written ({error.strerror or error})"
        remedy = "Give a file or folder that can be written with --out"
        raise OutputError(Problem(str(target), what, remedy)) from None
    return target
