"""What became of one file that was handed in to be kept in the record."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

from stressmap.core.notes import Note
from stressmap.core.row_counts import ToldRow
from stressmap.store.ranch_record import AddedFile
from stressmap.store.record_tables import Kind


@dataclass(frozen=True)
class Arrived:
    """A file that was handed in, and what became of it.

    Parameters
    ----------
    name : str
        As it was named.
    kind : str
        What its rows are.
    added : AddedFile
        What became of its rows.
    empty : tuple of int
        Rows that are not filled in yet.
    doubts : tuple of (str, tuple of ToldRow)
        What to look at of rows that are kept, by file or sheet.
    notes : tuple of Note
        What was mended or taken for something as it was read.
    earlier : datetime or None
        When the same file was added before, UTC; nothing was added then.
    unusable : tuple of int
        Rows that name no valve, nothing that can be read, or a set that ends before it starts: they are not
        kept.
    refused : tuple of (str, tuple of ToldRow)
        Why they are not, by file or sheet.
    bare : int
        New readings without a pressure: a trouble, a note, a leaf in its bag.
    """

    name: str
    kind: Kind = "readings"
    added: AddedFile = field(default_factory=AddedFile)
    empty: tuple[int, ...] = ()
    doubts: tuple[tuple[str, tuple[ToldRow, ...]], ...] = ()
    notes: tuple[Note, ...] = ()
    earlier: dt.datetime | None = None
    unusable: tuple[int, ...] = ()
    refused: tuple[tuple[str, tuple[ToldRow, ...]], ...] = ()
    bare: int = 0
