"""Whole numbers and names as short text, so that ten thousand blocks fit into one page.

Numbers are written as Base64 VLQ, as source maps write theirs (ECMA-426, "Source map format specification",
section "Base64 VLQ"): the sign is the lowest bit, five bits a letter, the sixth says that more follow. Small
numbers take one letter, so outlines go in as steps from corner to corner. Lists of names leave out what a
name has in common with the one before it, and count on where names do.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
Whole = NDArray[np.int64]
_NUMBER = re.compile(r"[0-9]{1,9}$")
PLACES = 5
"""Decimals of a degree: about a metre."""


def vlq(numbers: Iterable[int]) -> str:
    """Write whole numbers as Base64 VLQ.

    Parameters
    ----------
    numbers : iterable of int
        Each within 31 bits.

    Returns
    -------
    str

    Examples
    --------
    >>> vlq([0, 1, -1, 15, 16])
    'ACDegB'
    """
    out: list[str] = []
    for number in numbers:
        left = (-number << 1) | 1 if number < 0 else number << 1
        while left > 31:
            out.append(LETTERS[(left & 31) | 32])
            left >>= 5
        out.append(LETTERS[left])
    return "".join(out)


def fixed(numbers: Sequence[int]) -> str:
    """Write numbers from 0 on with as many Base64 letters each as the largest needs, the highest first.

    Parameters
    ----------
    numbers : sequence of int
        From 0 on.

    Returns
    -------
    str
        How many letters a number has, then the numbers.

    Examples
    --------
    >>> fixed([0, 1, 64]), fixed([])
    ('2AAABBA', '1')
    """
    width = 1
    while max(numbers, default=0) >= 64**width:
        width += 1
    digits = [LETTERS[n // 64**place % 64] for n in numbers for place in reversed(range(width))]
    return f"{width}{''.join(digits)}"


def short_names(names: Sequence[str]) -> str:
    r"""Write names, one a line, without what is clear from the name before.

    Parameters
    ----------
    names : sequence of str
        White space in them becomes single spaces.

    Returns
    -------
    str
        A line begins with how many letters are those of the name before, as a Base64 letter, and goes on with
        the rest; or it is ``*`` and a number: so many names more, of each the number at its end one higher.
        Letters outside the basic plane are never shared, so that every reader counts alike.

    Examples
    --------
    >>> short_names(["B08", "B09", "B10", "Bend"])
    'AB08\n*2\nBend'
    """
    lines: list[str] = []
    before, run = "", 0
    for name in (" ".join(one.split()) for one in names):
        if lines and name == successor(before):
            run += 1
        else:
            lines += [f"*{run}"] if run else []
            lines.append(_after(before, name))
            run = 0
        before = name
    return "\n".join([*lines, *([f"*{run}"] if run else [])])


def successor(name: str) -> str | None:
    """Raise the number at the end of a name by one, with at least as many digits.

    Examples
    --------
    >>> successor("V09"), successor("9"), successor("Bend")
    ('V10', '10', None)
    """
    found = _NUMBER.search(name)
    if found is None:
        return None
    digits = found[0]
    return name[: -len(digits)] + str(int(digits) + 1).zfill(len(digits))


def _after(before: str, name: str) -> str:
    same = 0
    for a, b in zip(before, name, strict=False):
        if a != b or ord(a) > 0xFFFF or same == len(LETTERS) - 1:
            break
        same += 1
    return LETTERS[same] + name[same:]


def outlines(shapes: Iterable[Any]) -> str:
    """Write polygons in degrees as Base64 VLQ.

    Parameters
    ----------
    shapes : iterable of Polygon, MultiPolygon or None
        Longitude and latitude.

    Returns
    -------
    str
        Of each shape the number of its rings, outer and inner alike (they fill by the even-odd rule); of each
        ring the number of its corners, then latitude and longitude of each in steps of :data:`PLACES`
        decimals, the first from the first of the ring before (at first from 0, 0), the others from corner to
        corner. The corner that closes a ring is left out, and so are rings that have no area at that size.
    """
    numbers: list[int] = []
    start = np.zeros(2, dtype=np.int64)
    for shape in shapes:
        rings = [ring for ring in map(whole_corners, _rings(shape)) if len(ring) > 2]
        numbers.append(len(rings))
        for ring in rings:
            steps = np.diff(ring, axis=0, prepend=start[np.newaxis])
            numbers += [len(ring), *steps.ravel().tolist()]
            start = ring[0]
    return vlq(numbers)


def whole_corners(ring: Any) -> Whole:
    """Round the corners of a ring to whole steps, none twice in a row.

    Parameters
    ----------
    ring : LinearRing
        In degrees, closed.

    Returns
    -------
    array of int, shape (k, 2)
        Latitude and longitude, open.
    """
    corners: Whole = np.rint(shapely.get_coordinates(ring)[:, ::-1] * 10**PLACES).astype(np.int64)
    moved: Whole = np.flatnonzero(np.any(np.diff(corners, axis=0) != 0, axis=1))
    return corners[moved]


def _rings(shape: Any) -> list[Any]:
    if shape is None:
        return []
    parts = [one for one in shapely.get_parts(shape) if one.geom_type == "Polygon"]
    return [ring for part in parts for ring in (part.exterior, *part.interiors)]
