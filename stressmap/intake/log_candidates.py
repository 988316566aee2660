"""Which valves a log row that could not be used may mean."""

from __future__ import annotations

import re

import pandas as pd

from stressmap.core.text import without_accents
from stressmap.intake.known_names import BLOCK_WORDS, KnownNames

_SUMS = re.compile(r"\b(?:sub ?total|total(?:es)?|sum|suma)\b")
_FILLERS = re.compile(r"\b(?:las?|los|del?|the|of|in|en)\b")
_EVERY = re.compile(r"\b(?:all|every|everything|tod[oa]s?)\b")


class LogCandidates:
    """The valves of a ranch, asked which of them a cell may mean that names none plainly.

    Parameters
    ----------
    valves : DataFrame
        With ``valve`` and, where it is known, ``block``.
    """

    def __init__(self, valves: pd.DataFrame) -> None:
        self._every = tuple(str(name) for name in valves["valve"])
        self._known = KnownNames(valves["valve"])
        self._by_block: dict[str, list[str]] = {}
        if "block" in valves:
            for name, block in zip(self._every, valves["block"].astype(str), strict=True):
                self._by_block.setdefault(block, []).append(name)
        self._blocks = KnownNames(self._by_block, BLOCK_WORDS)
        self._asked: dict[str, tuple[str, ...]] = {}

    def of(self, cell: str) -> tuple[str, ...]:
        """Give every valve that may be meant.

        Parameters
        ----------
        cell : str
            As written.

        Returns
        -------
        tuple of str
            The valves whose names are near, those of a block that is named; all where the cell is empty, says
            all or holds words only; none where it is the sum of a column or names another valve.
        """
        if cell not in self._asked:
            self._asked[cell] = self._meant(cell)
        return self._asked[cell]

    def _meant(self, cell: str) -> tuple[str, ...]:
        plain = without_accents(cell.casefold())
        if _SUMS.search(plain):
            return ()
        if blocks := self._blocks.several(_FILLERS.sub("", _EVERY.sub("", plain)).strip()).names:
            return tuple(valve for block in blocks for valve in self._by_block[block])
        if _EVERY.search(plain):
            return self._every
        if near := self._known.candidates(cell):
            return near
        return () if any(sign.isdigit() for sign in cell) else self._every
