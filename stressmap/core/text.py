"""Text from outside made fit for one line."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping


def one_line(text: str, *, most: int = 400) -> str:
    r"""Fold white space and control characters of foreign text into single spaces, and cut it.

    Parameters
    ----------
    text : str
        Anything, a value out of a file included.
    most : int
        Characters kept.

    Returns
    -------
    str

    Examples
    --------
    >>> one_line("two\nlines")
    'two lines'
    """
    text = str(text)
    printable = text if text.isprintable() else "".join(c if c.isprintable() else " " for c in text)
    folded = " ".join(printable.split())
    return folded if len(folded) <= most else folded[: most - 1] + "…"


def renamed(text: str, shown: Mapping[str, str]) -> str:
    """Put shorter names in the place of the paths of files.

    Parameters
    ----------
    text : str
        That may name files.
    shown : mapping of str to str
        A file's path as it was opened -> what to show.

    Returns
    -------
    str

    Examples
    --------
    >>> renamed("/home/me/ranch/july.xlsx:South", {"/home/me/ranch/july.xlsx": "july.xlsx"})
    'july.xlsx:South'
    """
    for path in sorted(shown, key=len, reverse=True):
        text = text.replace(path, shown[path])
    return text


def first_line(error: Exception) -> str:
    r"""Say why a library failed, in the first line of what it says.

    Parameters
    ----------
    error : exception
        Of any kind; many libraries explain themselves on several lines, some not at all.

    Returns
    -------
    str

    Examples
    --------
    >>> first_line(RuntimeError("no such layer\nin 3 lines")), first_line(MemoryError())
    ('no such layer', 'MemoryError')
    """
    return next(iter(str(error).split("\n")), "").strip() or type(error).__name__


def without_accents(text: str) -> str:
    """Take accents off letters, and write signs such as ² and ½ in plain characters.

    Parameters
    ----------
    text : str
        Anything.

    Returns
    -------
    str

    Examples
    --------
    >>> without_accents("Presión en el árbol")
    'Presion en el arbol'
    """
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
