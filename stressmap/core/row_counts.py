"""What became of the rows and columns of one input file: none disappears without being told."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

from stressmap.core.text import one_line, renamed


@dataclass(frozen=True)
class ToldRow:
    """One row that was left out or remarked upon, and why.

    Parameters
    ----------
    row : int
        As a spreadsheet shows it.
    code : str
        Why, in snake case; its words stand under ``[row]`` in ``output/text/notes_en.toml``.
    values : tuple of (str, value)
        What the words are filled with.

    Examples
    --------
    >>> told = ToldRow.of(12, "valve_unknown", valve="V99")
    >>> told.row, told.code, dict(told.values)
    (12, 'valve_unknown', {'valve': 'V99'})
    """

    row: int
    code: str
    values: tuple[tuple[str, Any], ...] = ()

    @classmethod
    def of(cls, row: int, code: str, /, **values: Any) -> ToldRow:
        """Make one; text becomes one short line, sequences tuples.

        Parameters
        ----------
        row : int
            As a spreadsheet shows it.
        code : str
            Why.
        **values : str, number, date or sequence of these
            What the words are filled with.

        Returns
        -------
        ToldRow
        """
        return cls(int(row), code, tuple((name, _plain(value)) for name, value in values.items()))

    def renamed(self, shown: Mapping[str, str]) -> ToldRow:
        """Put a shorter name in the place of a file's path; see :func:`stressmap.core.text.renamed`."""
        values = tuple((n, renamed(v, shown) if isinstance(v, str) else v) for n, v in self.values)
        return dataclasses.replace(self, values=values)


def _plain(value: Any) -> Any:
    if isinstance(value, str):
        return one_line(value, most=80)
    if isinstance(value, (list, tuple)):
        return tuple(_plain(one) for one in value)
    return value.item() if hasattr(value, "item") else value


class Columns(NamedTuple):
    """What became of the columns of one file.

    Parameters
    ----------
    read : tuple of (str, str)
        Headings and what each was read as, ``""`` where that is the heading itself.
    unread : tuple of (str, str)
        Headings that were not read and what each may have been meant as, ``""`` where nothing comes near.
    """

    read: tuple[tuple[str, str], ...] = ()
    unread: tuple[tuple[str, str], ...] = ()


NONE = Columns()


@dataclass(frozen=True)
class RowCounts:
    """What became of the rows of one file: every one of them was used, or is told.

    Parameters
    ----------
    file : str
        As messages name it, with the sheet of a workbook.
    kind : str
        Which input it is: a name of ``[files]``.
    rows : int
        Rows below the header, blank ones not counted.
    used : int
        Those that were used, in part at least.
    left_out : tuple of ToldRow
        The others, each once, by row.
    remarks : tuple of ToldRow
        What there is to say of rows that were used.
    columns : Columns
        Which of its columns were read.

    Raises
    ------
    ValueError
        If ``rows`` is not ``used`` and those left out together, or a row is left out twice.

    Examples
    --------
    >>> counts = RowCounts("irrigation.csv", "irrigation", 3, 2, (ToldRow.of(4, "no_time"),))
    >>> counts.rows == counts.used + len(counts.left_out)
    True
    """

    file: str
    kind: str
    rows: int
    used: int
    left_out: tuple[ToldRow, ...] = ()
    remarks: tuple[ToldRow, ...] = ()
    columns: Columns = NONE

    def __post_init__(self) -> None:
        """Refuse counts that do not come out even."""
        told = {one.row for one in self.left_out}
        if len(told) != len(self.left_out) or self.rows != self.used + len(told):
            msg = f"{self.file}: {self.rows} rows, {self.used} used, {len(self.left_out)} told"
            raise ValueError(msg)

    @classmethod
    def of(
        cls,
        file: str,
        kind: str,
        rows: Iterable[int],
        told: Iterable[ToldRow] = (),
        remarks: Iterable[ToldRow] = (),
        columns: Columns = NONE,
    ) -> RowCounts:
        """Count the rows of a file: those not told were used.

        Parameters
        ----------
        file, kind : str
            As for the class.
        rows : iterable of int
            Rows of the file, as a spreadsheet shows them.
        told : iterable of ToldRow
            Why rows were left out; of several reasons for one row the first counts.
        remarks : iterable of ToldRow
            What there is to say of rows that were used.
        columns : Columns
            Which of its columns were read.

        Returns
        -------
        RowCounts
        """
        first: dict[int, ToldRow] = {}
        for one in told:
            first.setdefault(one.row, one)
        count = len(list(rows))
        left_out = tuple(first[row] for row in sorted(first))
        said = tuple(sorted(dict.fromkeys(remarks), key=lambda one: one.row))
        return cls(file, kind, count, count - len(left_out), left_out, said, columns)

    def leaving(self, told: Iterable[ToldRow]) -> RowCounts:
        """Count rows as left out that only a later stage could tell.

        Parameters
        ----------
        told : iterable of ToldRow
            Why they are left out; rows that were left out before stay as they are told.

        Returns
        -------
        RowCounts
        """
        first = {one.row: one for one in (*told, *self.left_out)}
        left_out = tuple(first[row] for row in sorted(first))
        return dataclasses.replace(self, used=self.rows - len(left_out), left_out=left_out)

    def renamed(self, shown: Mapping[str, str]) -> RowCounts:
        """Put a shorter name in the place of the file's path.

        Parameters
        ----------
        shown : mapping of str to str
            A file's path as it was opened -> what to show.

        Returns
        -------
        RowCounts
        """
        groups = ((one.renamed(shown) for one in told) for told in (self.left_out, self.remarks))
        left_out, remarks = map(tuple, groups)
        return dataclasses.replace(self, file=renamed(self.file, shown), left_out=left_out, remarks=remarks)

    def as_plain(self) -> dict[str, Any]:
        """Give it as plain values, for ``run.json``."""
        return {
            "file": self.file,
            "kind": self.kind,
            "rows": self.rows,
            "used": self.used,
            "left_out": [{"row": one.row, "why": one.code} for one in self.left_out],
            "columns_read": {heading: ours or heading for heading, ours in self.columns.read},
            "columns_unread": {heading: meant or None for heading, meant in self.columns.unread},
        }
