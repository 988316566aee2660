"""A table that loses nothing on a narrow terminal: headings and words are broken, figures never."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from rich.cells import cell_len
from rich.markup import escape
from rich.table import Table

GAP = 2
EASY, LEAST = 18, 6
"""Widths of a column of words: to which it gives way before headings do, and however narrow the terminal."""


def narrow_table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    width: int,
    *,
    right: Collection[int],
    breaks: Collection[int],
) -> Table:
    """Lay out a table.

    Parameters
    ----------
    heads : sequence of str
        Headings.
    rows : sequence of sequence of str
        Cells; text of files is escaped here.
    width : int
        Of the terminal.
    right : collection of int
        Columns set to the right.
    breaks : collection of int
        Columns whose cells may be broken into lines; the others are as wide as their widest cell.

    Returns
    -------
    Table
    """
    table = Table(box=None, pad_edge=False, header_style="bold")
    for place, (head, room) in enumerate(zip(heads, _widths(heads, rows, width, breaks), strict=True)):
        column = {"overflow": "fold", "width": room}
        if place in right:
            table.add_column(escape(head), justify="right", **column)  # type: ignore[arg-type]
        else:
            table.add_column(escape(head), **column)  # type: ignore[arg-type]
    for row in rows:
        table.add_row(*(escape(cell) for cell in row))
    return table


def _widths(
    heads: Sequence[str], rows: Sequence[Sequence[str]], width: int, breaks: Collection[int]
) -> list[int]:
    """Give each column what it needs; else long names are broken, then headings, then all that has words."""
    cells = [max((cell_len(row[place]) for row in rows), default=0) for place in range(len(heads))]
    found = [max(cell, cell_len(head)) for cell, head in zip(cells, heads, strict=True)]
    room = width - GAP * (len(found) - 1)
    _shrink(found, room, breaks, EASY)
    for place, head in enumerate(heads):
        if sum(found) > room and place not in breaks:
            found[place] = max(cells[place], *(cell_len(word) for word in head.split() or [""]))
    _shrink(found, room, breaks, LEAST)
    return found


def _shrink(found: list[int], room: int, places: Collection[int], least: int) -> None:
    """Make the widest of some columns narrower until all fit or none of them is wider than the least."""
    while sum(found) > room and any(found[place] > least for place in places):
        found[max(places, key=lambda place: found[place])] -= 1
