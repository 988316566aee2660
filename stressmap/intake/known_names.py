"""Which valve or block is meant: forgiving of case, gaps and zeros, and of several names in a cell."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable
from dataclasses import dataclass

from stressmap.core.text import without_accents
from stressmap.intake.heading_recognition import names

VALVE_WORDS = frozenset(names("valve valves valvula valvulas valv llave llaves"))
BLOCK_WORDS = frozenset(names("block blocks bloque bloques lote cuadro"))
MOST_PARTS = 60
"""A cell with more names than this is no list of valves."""

_PARTS = re.compile(r"[^\W\d_]+|\d+")
_ENDS = re.compile(r"(.*?)(\d+)$")
_LIST = re.compile(r"\s*[,;&+/\n|]\s*|\s+(?:and|y|e)\s+", re.IGNORECASE)
_RANGE = re.compile(r"\s*(?:[-\u2010-\u2015]|\.\.+|\b(?:to|thru|through|a|al|hasta)\b)\s*", re.IGNORECASE)

_WHOLE = re.compile(r"(\d+)\.0+")
"""A number as spreadsheets write it."""
_SIDE_BY_SIDE = re.compile(r"(?<=\d)\s+(?=[^\W\d_])")
"""The gap between two names that stand side by side, as in V05 V06."""


@dataclass(frozen=True)
class Meant:
    """What a cell names.

    Parameters
    ----------
    names : tuple of str
        Known names, each once.
    unknown : tuple of str
        Parts of the cell that are none, or that could be several.
    """

    names: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()


class KnownNames:
    """The valves or blocks of a ranch, asked which of them a text means.

    Parameters
    ----------
    known : iterable of str
        Their names.
    words : frozenset of str
        What people write before such a name: ``valve``, ``válvula``.

    Examples
    --------
    >>> known = KnownNames(["V03", "V04", "V10", "V11", "V12"])
    >>> known.one("v3"), known.one("Válvula 12"), known.one("V99")
    ('V03', 'V12', None)
    >>> known.several("V3 y V4").names, known.several("V10-V12, V99")
    (('V03', 'V04'), Meant(names=('V10', 'V11', 'V12'), unknown=('V99',)))
    """

    def __init__(self, known: Iterable[str], words: frozenset[str] = VALVE_WORDS) -> None:
        self._words = words
        self._exact = list(dict.fromkeys(str(name) for name in known))
        self._by_fold: dict[str, list[str]] = {}
        self._by_number: dict[str, list[str]] = {}
        for name in self._exact:
            fold = self._fold(name)
            self._by_fold.setdefault(fold, []).append(name)
            if ends := _ENDS.match(fold):
                self._by_number.setdefault(ends[2], []).append(name)
        self._fronts = {ends[1] for fold in self._by_fold if (ends := _ENDS.match(fold))}
        self._one_front = len(self._fronts) == 1
        self._asked: dict[str, Meant] = {}

    def one(self, text: str) -> str | None:
        """Tell which single name is meant.

        Parameters
        ----------
        text : str
            As written.

        Returns
        -------
        str or None
            None where it is none of them, or could be several.
        """
        if text in self._exact:
            return text
        found = self._fitting(text)
        return found[0] if len(found) == 1 else None

    def several(self, text: str) -> Meant:
        """Tell which names a cell holds: one, a list, or ranges whose ends both exist.

        Parameters
        ----------
        text : str
            As written.

        Returns
        -------
        Meant
        """
        if text not in self._asked:
            self._asked[text] = self._read(text)
        return self._asked[text]

    def near(self, text: str, *, least: float = 0.6) -> str | None:
        """Find the name that may be meant by a text that is none.

        Parameters
        ----------
        text : str
            As written.
        least : float
            How alike the two must be at least, 0 to 1.

        Returns
        -------
        str or None
            None where nothing is near.
        """
        folds = difflib.get_close_matches(self._fold(text), self._by_fold, n=1, cutoff=least)
        return self._by_fold[folds[0]][0] if folds else None

    def ambiguous(self, text: str) -> tuple[str, ...]:
        """Give the names that a text fits equally well, as ``v8`` does ``V8`` and ``V08``.

        Parameters
        ----------
        text : str
            As written.

        Returns
        -------
        tuple of str
            Empty where it fits one at most.
        """
        found = [] if text in self._exact else self._fitting(text)
        return tuple(found) if len(found) > 1 else ()

    def candidates(self, text: str) -> tuple[str, ...]:
        """Give every name that may be meant by a text that is none.

        Parameters
        ----------
        text : str
            As written: one name, a list or a range.

        Returns
        -------
        tuple of str
            Those that it fits equally well, and those nearest to it or to a part of it; empty without any.
        """
        found: dict[str, None] = {}
        for part in [one for one in _LIST.split(text) if one][:MOST_PARTS]:
            if both := self.reversed_range(part):
                found |= dict.fromkeys(both)
            elif fits := self.ambiguous(part) or self._single_or_range(part):
                found |= dict.fromkeys(fits)
            else:
                folds = difflib.get_close_matches(self._fold(part), self._by_fold, n=MOST_PARTS, cutoff=0.6)
                found |= dict.fromkeys(name for fold in folds for name in self._by_fold[fold])
        return tuple(found)

    def reversed_range(self, text: str) -> tuple[str, ...]:
        """Give the names of a range whose ends are the wrong way round, as in ``V3-V1``.

        Parameters
        ----------
        text : str
            As written.

        Returns
        -------
        tuple of str
            In their order; empty where it is no such range.
        """
        for gap in list(_RANGE.finditer(text))[:MOST_PARTS]:
            last, first = text[: gap.start()].strip(), text[gap.end() :].strip()
            if last and first and (within := self._between(first, last)):
                return within
        return ()

    def _read(self, text: str) -> Meant:
        whole = self._single_or_range(text)
        if whole:
            return Meant(whole)
        parts = [part for part in _LIST.split(text) if part]
        if len(parts) > MOST_PARTS:
            return Meant((), (text,))
        found: dict[str, None] = {}
        unknown = []
        for part in parts:
            here = self._single_or_range(part) or self._side_by_side(part)
            found |= dict.fromkeys(here)
            if not here:
                unknown.append(part)
        return Meant(tuple(found), tuple(unknown))

    def _side_by_side(self, part: str) -> tuple[str, ...]:
        each = [self.one(name) for name in _SIDE_BY_SIDE.split(part)]
        found = [name for name in each if name is not None]
        return tuple(dict.fromkeys(found)) if len(found) == len(each) > 1 else ()

    def _single_or_range(self, part: str) -> tuple[str, ...]:
        single = self.one(part)
        if single is not None:
            return (single,)
        readings = []
        for gap in list(_RANGE.finditer(part))[:MOST_PARTS]:
            ends = part[: gap.start()], part[gap.end() :]
            if all(ends) and (within := self._between(*ends)):
                readings.append(within)
        return readings[0] if len(readings) == 1 else ()

    def _fitting(self, text: str) -> list[str]:
        """Give the names that a text fits when case, gaps and zeros do not count."""
        fold = self._fold(text)
        if found := self._by_fold.get(fold):
            return found
        if whole := _WHOLE.fullmatch(text.strip()):
            fold = self._fold(whole[1])
        ends = _ENDS.match(fold)
        if ends is None or not self._one_front:
            return []
        short = ends[1] and ends[1].isalpha() and any(word.startswith(ends[1]) for word in self._words)
        # V2 for a valve called 2; 2 for a valve called V02
        if not ends[1] or (short and "" in self._fronts):
            return self._by_number.get(ends[2], [])
        return []

    def _between(self, first: str, last: str) -> tuple[str, ...]:
        """Give every name from one to another, none where that is not plain."""
        low = self.one(first)
        start = _ENDS.match(self._fold(low)) if low else None
        if start is None:
            return ()
        front = start[1]
        high = self.one(last) or (self.one(front + last.strip()) if last.strip().isdigit() else None)
        end = _ENDS.match(self._fold(high)) if high else None
        if end is None or end[1] != front or not 0 < int(end[2]) - int(start[2]) <= MOST_PARTS:
            return ()
        inside = []
        for number in range(int(start[2]), int(end[2]) + 1):
            here = self._by_fold.get(f"{front}{number}", [])
            # V10A beside V10, or a number that no valve has: it is open what the range holds
            longer = re.compile(rf"{re.escape(front)}{number}\D.*")
            if len(here) != 1 or any(longer.fullmatch(fold) for fold in self._by_fold):
                return ()
            inside.append(here[0])
        return tuple(inside)

    def _fold(self, text: str) -> str:
        plain = without_accents(text.strip().casefold())
        parts = _PARTS.findall(plain)
        kept = [part for part in parts if part not in self._words] or parts
        folded = ""
        for part in (part.lstrip("0") or "0" if part.isdigit() else part for part in kept):
            folded += ("_" if folded[-1:].isdigit() and part[0].isdigit() else "") + part
        return folded or plain
