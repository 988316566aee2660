"""The typeface of sheets and pictures: DejaVu Sans, which comes with matplotlib."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import matplotlib
from matplotlib.font_manager import get_font

from stressmap.core.text import one_line

STAND_IN = "\N{WHITE SQUARE}"


def font_file(*, bold: bool = False) -> Path:
    """Find the typeface.

    Parameters
    ----------
    bold : bool
        The bold cut.

    Returns
    -------
    Path
        A TrueType file.
    """
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name


@cache
def _has(character: str) -> bool:
    return all(get_font(str(font_file(bold=bold))).get_char_index(ord(character)) for bold in (False, True))


def drawable(text: object, *, most: int = 400) -> str:
    r"""Put text on one line in characters that the typeface has; a square stands in for any other.

    Parameters
    ----------
    text : object
        Anything, a name out of a file included.
    most : int
        Characters kept.

    Returns
    -------
    str

    Examples
    --------
    >>> drawable("Árbol\n\N{DECIDUOUS TREE} <7>")
    'Árbol □ <7>'
    """
    return "".join(c if c == " " or _has(c) else STAND_IN for c in one_line(str(text), most=most))
