"""Short codes of planned sets and of trees, by which what was really done finds its way back from paper.

The last character is a check: every single character mistyped, and every two neighbours swapped, are found. A
sum of values with distinct weights, taken modulo a prime over the alphabet's length, does that: a wrong
character changes it by weight times difference, a swap by the difference of the weights times that of the
values, and neither is a multiple of the prime.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Sequence
from itertools import count

import pandas as pd

ALPHABET = "23456789BCDFGHJKMNPQRSTVWXYZ"
"""Without 0 O, 1 I L and U, which hands write like others; without vowels, so that no code is a word, and
none is taken by a spreadsheet for a month or a power of ten."""
MODULUS = 29
"""The prime after the alphabet's length; codes whose check would be the 29th character are passed over."""
LENGTH = 5
"""Characters of a code, the check among them."""
TRIES = 8
"""So many codes are looked at for one set."""
_VALUE = {char: value for value, char in enumerate(ALPHABET)}
_APART = re.compile(r"[\s.\-_]+")


def check_character(body: str) -> str | None:
    """Give the character that a code ends with.

    Parameters
    ----------
    body : str
        The characters before it, of :data:`ALPHABET`.

    Returns
    -------
    str or None
        One that makes the sum of all values, each times its place counted from the end, a multiple of 29;
        None where no character does.

    Examples
    --------
    >>> check_character("3333"), check_character("3334")
    ('K', 'H')
    """
    total = sum(weight * _VALUE[char] for weight, char in enumerate(reversed(body), start=2))
    value = -total % MODULUS
    return ALPHABET[value] if value < len(ALPHABET) else None


def plain_code(text: str) -> str:
    """Write a code as it stands in the tables, whatever case and gaps it was written with.

    Parameters
    ----------
    text : str
        As a person wrote it.

    Returns
    -------
    str

    Examples
    --------
    >>> plain_code(" 333-3k ")
    '3333K'
    """
    return _APART.sub("", unicodedata.normalize("NFKC", text)).upper()


def is_code(text: str) -> bool:
    """Tell whether a text is a code without a slip of the pen.

    Parameters
    ----------
    text : str
        As :func:`plain_code` gives it.

    Returns
    -------
    bool

    Examples
    --------
    >>> [is_code(code) for code in ("3334H", "3334J", "3343H", "3334")]
    [True, False, False, False]
    """
    known = len(text) == LENGTH and all(char in _VALUE for char in text)
    return known and check_character(text[:-1]) == text[-1]


def set_codes(sets: Sequence[tuple[str, pd.Timestamp]]) -> list[str]:
    """Give every set of a timetable its code.

    The code is made of valve and opening alone, so that the same set has the same code in a renewed plan,
    unless an earlier set of either plan has taken it already (of 10,000 sets about one in a hundred, of 400
    one in a thousand).

    Parameters
    ----------
    sets : sequence of (str, Timestamp)
        Valve and planned opening, aware of its zone; each pair once.

    Returns
    -------
    list of str
        In their order; no two are alike.

    Examples
    --------
    >>> opening = pd.Timestamp("2026-07-16 20:00", tz="America/Los_Angeles")
    >>> codes = set_codes([("V1", opening), ("V2", opening)])
    >>> codes == set_codes([("v1 ", opening.tz_convert("UTC")), ("V2", opening)])
    True
    >>> all(is_code(code) for code in codes)
    True
    """
    return _distinct([_key(*one) for one in sets])


def codes_of_trees(trees: Sequence[tuple[str, str]]) -> list[str]:
    """Give every tree of a round its code, which it keeps from round to round as a set's does.

    Parameters
    ----------
    trees : sequence of (str, str)
        Block and name; each pair once.

    Returns
    -------
    list of str
        In their order; no two are alike.

    Examples
    --------
    >>> codes_of_trees([("North", "T12")]) == codes_of_trees([("north ", "t12")])
    True
    """
    return _distinct([_tree_key(*one) for one in trees])


def is_code_of_tree(code: str, block: str, tree: str) -> bool:
    """Tell whether a code may be that of a tree, as it is not where rows of a sheet were mixed up.

    Parameters
    ----------
    code : str
        As :func:`plain_code` gives it.
    block, tree : str
        Where it stands, and its name.

    Returns
    -------
    bool
        Also for the next few codes, which a tree has whose first was taken.
    """
    key = _tree_key(block, tree)
    return any(_code(key, tries) == code for tries in range(TRIES))


def _distinct(keys: Sequence[tuple[str, str]]) -> list[str]:
    found: dict[int, str] = {}
    taken: set[str] = set()
    for at in sorted(range(len(keys)), key=lambda one: keys[one]):
        codes = (_code(keys[at], tries) for tries in count())
        found[at] = next(code for code in codes if code is not None and code not in taken)
        taken.add(found[at])
    return [found[at] for at in range(len(keys))]


def is_code_of(code: str, valve: str, opening: pd.Timestamp) -> bool:
    """Tell whether a code may be that of a set, as it is not where rows of a sheet were mixed up.

    Parameters
    ----------
    code : str
        As :func:`plain_code` gives it.
    valve : str
        Name of the valve.
    opening : Timestamp
        Planned opening, aware of its zone.

    Returns
    -------
    bool
        Also for the next few codes, which a set has whose first was taken.
    """
    key = _key(valve, opening)
    return any(_code(key, tries) == code for tries in range(TRIES))


def _key(valve: str, opening: pd.Timestamp) -> tuple[str, str]:
    """Give what a code is made of; sorts by the clock."""
    return opening.tz_convert("UTC").strftime("%Y-%m-%dT%H:%M"), _folded(valve)


def _tree_key(block: str, tree: str) -> tuple[str, str]:
    return f"tree {_folded(block)}", _folded(tree)


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", str(name)).casefold().strip()


def _code(key: tuple[str, str], tries: int) -> str | None:
    digest = hashlib.sha256("\n".join((*key, str(tries))).encode()).digest()
    number = int.from_bytes(digest[:8])
    body = ""
    for _ in range(LENGTH - 1):
        number, value = divmod(number, len(ALPHABET))
        body += ALPHABET[value]
    check = check_character(body)
    return None if check is None else body + check
