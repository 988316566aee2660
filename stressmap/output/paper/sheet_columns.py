"""Two columns down the pages of the crew sheet: pieces flow from one into the next, headings come again."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from stressmap.output.paper.sheet_type import MARGIN, CrewSheet

GUTTER = 6.0
"""Between the columns [mm]."""
COLUMNS = 2


class Piece(NamedTuple):
    """What is never parted by a page's end.

    Parameters
    ----------
    height : float
        [mm].
    draw : callable
        Takes left and top [mm].
    heads : bool
        Whether it stands over what follows: never last in a column, and written again over the next.
    """

    height: float
    draw: Callable[[float, float], None]
    heads: bool = False


class Placed(NamedTuple):
    """A piece and where it stands: left and top [mm]."""

    left: float
    top: float
    piece: Piece


def column_width(sheet: CrewSheet) -> float:
    """Give the width of a column [mm]."""
    return (sheet.epw - GUTTER) / COLUMNS


def in_columns(
    sheet: CrewSheet, pieces: list[Piece], top: float, bottom: float, first: float
) -> list[list[Placed]]:
    """Lay pieces out, column by column.

    Parameters
    ----------
    sheet : CrewSheet
        Whose paper.
    pieces : list of Piece
        In their order.
    top, bottom : float
        Of the columns [mm].
    first : float
        Top of the columns on the first page [mm].

    Returns
    -------
    list of list of Placed
        A list a page.
    """
    pages: list[list[Placed]] = [[]]
    column, y, start = 0, first, first
    heading: Piece | None = None
    for place, piece in enumerate(pieces):
        heading = piece if piece.heads else heading
        after = pieces[place + 1].height if piece.heads and place + 1 < len(pieces) else 0.0
        if y > start and y + piece.height + after > bottom:
            column, y = (column + 1) % COLUMNS, start
            if column == 0:
                pages.append([])
                y = start = top
            if heading is not None and heading is not piece:
                pages[-1].append(_placed(sheet, column, y, heading))
                y += heading.height
        pages[-1].append(_placed(sheet, column, y, piece))
        y += piece.height
    return pages


def _placed(sheet: CrewSheet, column: int, top: float, piece: Piece) -> Placed:
    return Placed(MARGIN + column * (column_width(sheet) + GUTTER), top, piece)
