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
    leads : bool
        Whether it is a smaller heading: never last in a column either.
    under : Piece, optional
        The smaller heading that it stands below; written again where it comes into the next column.
    """

    height: float
    draw: Callable[[float, float], None]
    heads: bool = False
    leads: bool = False
    under: Piece | None = None


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
        if y > start and y + _with_next(pieces, place) > bottom:
            column, y = (column + 1) % COLUMNS, start
            if column == 0:
                pages.append([])
                y = start = top
            for above in (heading, piece.under):
                if above is not None and above is not piece:
                    pages[-1].append(_placed(sheet, column, y, above))
                    y += above.height
        pages[-1].append(_placed(sheet, column, y, piece))
        y += piece.height
    return pages


def _with_next(pieces: list[Piece], place: int) -> float:
    """Give the height of a piece and, of headings, of all down to the first row below them [mm]."""
    rows = iter(pieces[place:])
    height = 0.0
    for piece in rows:
        height += piece.height
        if not (piece.heads or piece.leads):
            break
    return height


def _placed(sheet: CrewSheet, column: int, top: float, piece: Piece) -> Placed:
    return Placed(MARGIN + column * (column_width(sheet) + GUTTER), top, piece)
