"""Trees that are young in an old block, as notes beside their readings tell."""

from __future__ import annotations

import re
from collections.abc import Iterable

from stressmap.core.text import without_accents

YOUNG_YEARS = 6
"""Trees planted so many years ago and less are young (common practice, no source)."""
SAYS = re.compile(
    r"\b(young|replant(ed|s)?|re-planted|new tree|joven(es)?|replantad[oa]|replante|resembrad[oa]|resiembra"
    r"|arbol nuevo)\b"
)
PLANTED = re.compile(r"\b(?:planted|plantad[oa]|sembrad[oa])\s*(?:in|en|:)?\s*((?:19|20)\d\d)\b")


def young_in_old_block(notes: Iterable[object], planted: float, year: int) -> bool:
    """Tell whether a tree is younger than the block around it, and young.

    Parameters
    ----------
    notes : iterable
        What was written beside the tree's readings; what is no text tells nothing.
    planted : float
        Year in which the block was planted; NaN where not known.
    year : int
        Of the question.

    Returns
    -------
    bool
        A young tree of a young block is like its neighbours: False.

    Examples
    --------
    >>> young_in_old_block(["Replanted 2023, weak"], 1998, 2026)
    True
    >>> young_in_old_block(["young"], 2023, 2026), young_in_old_block(["planted 1999"], 1998, 2026)
    (False, False)
    """
    if year - planted <= YOUNG_YEARS:
        return False
    for note in notes:
        words = without_accents(note).casefold() if isinstance(note, str) else ""
        years = [int(found) for found in PLANTED.findall(words)]
        years += [int(found) for found in re.findall(r"\b(20\d\d)\b", words) if SAYS.search(words)]
        if years and year - max(years) <= YOUNG_YEARS:
            return True
        if not years and SAYS.search(words):
            return True
    return False
