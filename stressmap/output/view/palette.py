"""Our colours, which differ by lightness first, so that sun, print and any eye tell them apart.

``tests/unit/test_webmap_palette.py`` holds the distances in CIELAB under three kinds of colour blindness.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

PRIORITY: dict[int, str] = {1: "#4a1747", 2: "#b5531c", 3: "#e8bd55", 4: "#d3e8f3"}
"""Fill of each priority, darkest for the first."""

NOT_MEASURED = "#f4f4f2"
"""Fill where no reading was taken; always drawn hatched."""

PATTERN: dict[int, str] = {1: "cross", 2: "slant", 3: "dots", 4: "plain"}
"""What is drawn over the fill, so that no priority is told by colour alone."""

HATCH: dict[int | None, str] = {1: "xx", 2: "//", 3: "..", 4: "", None: "||"}
"""The same for matplotlib; None is not measured."""

DRY_RAMP: tuple[str, ...] = ("#d3e8f3", "#efdfae", "#e8bd55", "#cd8034", "#b5531c", "#812f3a", "#4a1747")
"""From wetter to drier, through the priorities' colours."""

UNSURE_RAMP: tuple[str, ...] = ("#f3f6f4", "#b9d0cd", "#76a3a5", "#3d7077", "#123d4a")
"""From sure to unsure."""

RANK_RAMP: tuple[str, ...] = ("#eef3e6", "#c3d5bb", "#8db19c", "#567f82", "#2f4f6b", "#1a2247")
"""From the last rank to the first, over all that is ranked."""

PAST_LIMIT: dict[str, str] = {"fill": PRIORITY[1], "band": "#ffffff", "pattern": "bands", "hatch": "--"}
"""Valve zones past what the crop bears: bright level bands over the fill, and a thick edge about it."""

CHANGE_RAMP: tuple[str, ...] = ("#5b9cc4", "#a9cde0", "#f2f1ec", "#e9bd8c", "#cf8140")
"""From wetter than at the last visit, over no change, to drier."""


def rgb(colour: str) -> tuple[int, int, int]:
    """Split a colour into its parts.

    Parameters
    ----------
    colour : str
        ``"#rrggbb"``.

    Returns
    -------
    tuple of int
        Red, green and blue, 0 to 255 each.

    Examples
    --------
    >>> rgb("#4a1747")
    (74, 23, 71)
    """
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def ramp(colours: tuple[str, ...], steps: int) -> NDArray[np.uint8]:
    """Interpolate a row of colours.

    Parameters
    ----------
    colours : tuple of str
        At least two, evenly spaced.
    steps : int
        Colours wanted.

    Returns
    -------
    array of uint8, shape (steps, 3)

    Examples
    --------
    >>> ramp(("#000000", "#ffffff"), 3).tolist()
    [[0, 0, 0], [128, 128, 128], [255, 255, 255]]
    """
    table = np.array([rgb(c) for c in colours], dtype=float)
    at = np.linspace(0, len(colours) - 1, steps)
    parts = [np.interp(at, np.arange(len(colours)), table[:, k]) for k in range(3)]
    steps_rgb: NDArray[np.uint8] = np.rint(np.column_stack(parts)).astype(np.uint8)
    return steps_rgb


def ink_on(colour: str) -> str:
    """Choose black or white writing for a background.

    Parameters
    ----------
    colour : str
        Background, ``"#rrggbb"``.

    Returns
    -------
    str
        Whichever of ``"#ffffff"`` and ``"#111111"`` contrasts more (WCAG 2.1, relative luminance).

    Examples
    --------
    >>> ink_on("#4a1747"), ink_on("#e8bd55")
    ('#ffffff', '#111111')
    """
    return max(("#ffffff", "#111111"), key=lambda ink: contrast(ink, colour))


def contrast(one: str, other: str) -> float:
    """Compute the contrast ratio of two colours.

    Parameters
    ----------
    one, other : str
        ``"#rrggbb"``.

    Returns
    -------
    float
        1 to 21; 4.5 is enough for text (Web Content Accessibility Guidelines 2.1, success criterion 1.4.3).

    Examples
    --------
    >>> round(contrast("#ffffff", "#000000"), 3)
    21.0
    """
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def _luminance(colour: str) -> float:
    linear = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in np.array(rgb(colour)) / 255
    ]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def gradient(colours: tuple[str, ...]) -> str:
    """Write a ramp as a CSS gradient, left to right.

    Parameters
    ----------
    colours : tuple of str
        At least two.

    Returns
    -------
    str

    Examples
    --------
    >>> gradient(("#000000", "#ffffff"))
    'linear-gradient(to right, #000000, #ffffff)'
    """
    if any(len(a) != len(b) for a, b in pairwise(colours)):
        msg = f"{colours} are not written alike; write each as #rrggbb"
        raise ValueError(msg)
    return f"linear-gradient(to right, {', '.join(colours)})"
