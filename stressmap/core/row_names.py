"""How rows of readings are called in messages: by their number, and by their file where there are several."""

from __future__ import annotations

from pathlib import PurePosixPath

import pandas as pd


def row_names(readings: pd.DataFrame) -> pd.Series:
    """Name the rows of a table.

    Parameters
    ----------
    readings : DataFrame
        With ``row`` and ``file``, whole: of some rows alone it cannot be told whether there are other files.

    Returns
    -------
    Series of int or str
        Numbers where all rows are of one file, otherwise with the file's name, or its path where two files
        have one name.

    Examples
    --------
    >>> table = pd.DataFrame({"row": [2, 2], "file": ["visits/june.csv", "visits/july.xlsx:South"]})
    >>> row_names(table).tolist(), row_names(table.head(1)).tolist()
    (['2 (june.csv)', '2 (july.xlsx:South)'], [2])
    """
    files = readings["file"].unique()
    if len(files) < 2:
        return readings["row"]
    short = {file: PurePosixPath(str(file)).name for file in files}
    if len(set(short.values())) < len(files):
        short = {file: str(file) for file in files}
    return readings["row"].astype(str) + " (" + readings["file"].map(short) + ")"
