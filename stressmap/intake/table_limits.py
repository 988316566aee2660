"""How large a table may be: what the machine's memory bears, within bounds that hold everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from stressmap.core.errors import DataError, Problem
from stressmap.core.machine_memory import most_that_fit

BYTES_A_ROW, BYTES_A_CELL = 4_000, 200
"""Twice or more what was measured: 1.5 kB a row of readings, 1.1 of the log, about 100 bytes a cell."""
LEAST_ROWS, MOST_ROWS = 200_000, 1_000_000
LEAST_CELLS, MOST_CELLS = 4_000_000, 20_000_000
"""Whatever the memory: the first are read on every machine, more than the second on none."""
MAX_COLUMNS = 500
MAX_OUTLINES = 30_000
"""Polygons of one file: a ranch of 2,500 blocks with six valve zones each has half as many."""


@dataclass(frozen=True)
class TableLimits:
    """The most rows, and cells, of one table; rows also of all files of one kind together."""

    rows: int
    cells: int


@cache
def table_limits(memory: int | None = None) -> TableLimits:
    """Tell how large tables may be.

    Parameters
    ----------
    memory : int, optional
        Bytes there are; by default the machine's.

    Returns
    -------
    TableLimits

    Examples
    --------
    >>> table_limits(1_000_000_000), table_limits(5_000_000_000), table_limits(64_000_000_000)
    (TableLimits(rows=200000, cells=4000000), TableLimits(rows=620000, cells=12000000), \
TableLimits(rows=1000000, cells=20000000))
    """
    rows = min(MOST_ROWS, max(LEAST_ROWS, most_that_fit(BYTES_A_ROW, memory)))
    return TableLimits(rows, min(MOST_CELLS, max(LEAST_CELLS, most_that_fit(BYTES_A_CELL, memory))))


def refuse_endless(rows: int, cells: int, where: str) -> None:
    """Refuse a table that is larger than memory bears, as soon as that shows.

    Parameters
    ----------
    rows, cells : int
        Counted so far.
    where : str
        File, for messages.

    Raises
    ------
    DataError
    """
    most = table_limits()
    if rows > most.rows or cells > most.cells:
        what = f"{most.rows:,} rows" if rows > most.rows else f"{most.cells:,} cells"
        told = f"it has more than {what}, the most that are read on this machine"
        raise DataError(Problem(where, told, "Cut it to the rows and columns that are needed"))


def most_rows(columns: int, where: str) -> int:
    """Tell how many rows a table of so many columns may have.

    Parameters
    ----------
    columns : int
        It has.
    where : str
        File, for messages.

    Returns
    -------
    int

    Raises
    ------
    DataError
        If it has more than ``MAX_COLUMNS``.
    """
    if columns > MAX_COLUMNS:
        what = f"it has {columns} columns; at most {MAX_COLUMNS} are read"
        raise DataError(Problem(where, what, "Remove columns that are not needed"))
    most = table_limits()
    return min(most.rows, most.cells // max(1, columns))
