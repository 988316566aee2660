"""The small table of doubtful readings that a person mends by hand."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import pandas as pd

from stressmap.core.errors import OutputError, Problem
from stressmap.core.input_files import InputFiles
from stressmap.core.row_counts import RowCounts, ToldRow
from stressmap.core.schemas import MEND_LIST, columns_of, hold
from stressmap.output.gis.csv_tables import write_csv
from stressmap.output.text.note_words import reason, remedy, word_of
from stressmap.output.text.words import Words

NAME = "to_mend.csv"
ANOTHER_FILE = "Give another file with --out"


def mend_target(out: Path, inputs: Iterable[Path]) -> Path:
    """Say where the list will stand, before the work.

    Parameters
    ----------
    out : Path
        A ``.csv`` file, or a folder that shall hold ``to_mend.csv``.
    inputs : iterable of Path
        Files of the ranch, never written over.

    Returns
    -------
    Path
        The file to write; nothing is made.

    Raises
    ------
    OutputError
        If it cannot be written, is one of the inputs or among them, or is there and no earlier list.
    """
    target = out if out.suffix.lower() == ".csv" and not out.is_dir() else out / NAME
    given = InputFiles(inputs)
    if (folder := given.folder_of(target)) is not None:
        what = f"every file in {folder.name} is read as an input, and so would the list be"
        raise OutputError(Problem(str(target), what, ANOTHER_FILE))
    if given.at(target) is not None:
        what = "it is an input of the ranch and is not written over"
        raise OutputError(Problem(str(target), what, ANOTHER_FILE))
    try:
        if os.path.lexists(target) and not _is_list(target):
            what = "it is there already, and is no earlier list of readings to mend"
            raise OutputError(Problem(str(target), what, f"Move it away, or {ANOTHER_FILE.lower()}"))
        there = target.parent
        while not os.path.lexists(there):
            there = there.parent
        with tempfile.TemporaryFile(dir=there):
            pass
    except OSError as error:
        raise _unwritable(target, error) from None
    return target


def write_mend_list(
    table: pd.DataFrame, words: Words, target: Path, counts: Iterable[RowCounts] = ()
) -> None:
    """Write the list beside its target first, then put it in place.

    Parameters
    ----------
    table : DataFrame
        From :func:`stressmap.quality.assessment_summary.mend_table`.
    words : Words
        The language of what is wrong and what to do.
    target : Path
        From :func:`mend_target`.
    counts : iterable of RowCounts
        What became of the rows of other files; those left out stand below the readings.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, partial = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".partial", dir=target.parent)
        os.close(handle)
        try:
            write_csv(_in_words(table, words, counts), Path(partial))
            Path(partial).chmod(0o644)
            Path(partial).replace(target)
        finally:
            Path(partial).unlink(missing_ok=True)
    except OSError as error:
        raise _unwritable(target, error) from None


def _is_list(target: Path) -> bool:
    """Tell whether an earlier list stands there: by its first line, however it was saved since."""
    if not target.is_file():
        return False
    with target.open("rb") as opened:
        line = opened.read(1000).partition(b"\n")[0]
    text = line.decode("utf-8-sig", "replace").strip().replace('"', "")
    return any(text.split(sep) == list(columns_of(MEND_LIST)) for sep in ",;\t")


def _unwritable(target: Path, error: OSError) -> OutputError:
    what = f"the output cannot be written ({error.strerror or error})"
    return OutputError(Problem(str(target), what, "Give a file or folder that can be written with --out"))


def _in_words(table: pd.DataFrame, words: Words, counts: Iterable[RowCounts] = ()) -> pd.DataFrame:
    """Add what is wrong with each reading and what to do about it, and the rows left out of other files."""
    told = table.copy() if "file" in table else table.assign(file=None)
    for place, (column, section, between) in enumerate((("wrong", "says", ", "), ("to_do", "remedy", "; "))):
        texts = [
            between.join(dict.fromkeys(word_of(section, code, words) for code in codes))
            for codes in table["flags"]
        ]
        told.insert(4 + place, column, pd.Series(texts, index=table.index, dtype=object))
    left_out = [_left_out(one, found.file, words) for found in counts for one in found.left_out]
    if left_out:
        # one table from records: a column without a figure in one of two tables would lose its kind
        figures = dict.fromkeys(("lon", "lat", "pressure_bar", "recheck_bar", "bag_minutes"), float)
        together = pd.DataFrame([*told.to_dict("records"), *left_out], columns=told.columns)
        told = together.astype({"row": int, "used": bool, **figures})
    return hold(told, MEND_LIST)


def _left_out(one: ToldRow, file: str, words: Words) -> dict[str, Any]:
    """Tell a row of another file that was left out."""
    return {
        "row": one.row,
        "used": False,
        "flags": (one.code,),
        "wrong": reason(one, words),
        "to_do": remedy(one, words),
        "valve": dict(one.values).get("valve"),
        "file": file,
    }
