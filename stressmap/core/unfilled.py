"""What ``start`` leaves to be filled in, and what to write there."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from stressmap.core.errors import Problem, SettingsError

ASKED = "???"
"""What ``start`` writes where a word of the user's is wanted."""
MOST_UNFILLED = 20
"""So many are listed."""
_WANTED: dict[tuple[str, ...], str] = {
    ("ranch", "name"): "Write what the ranch is called",
    ("ranch", "timezone"): 'Write the IANA name of its time zone, such as "America/Los_Angeles"',
    ("ranch", "units"): 'Write "us" or "metric"',
    ("files", "blocks"): "Write the path of the blocks, as seen from this file",
    ("files", "readings"): "Write the path of the readings, as seen from this file",
}
_WANTED_IN = {
    "files": "Write the path of the file as seen from this one, or remove the line",
    "columns": 'Write which column it is, such as "block", or "" for none',
    "names": "Write the name of the block or valve zone whose outline is in that row of its file",
    "water": "Write it as the remark beside it shows, or remove the line",
}
_CROP = (
    "Remove the line; write the crop by block, in the column crop of [files] attributes or of the outlines"
)


def refuse_unfilled(table: dict[str, Any], path: Path) -> None:
    """Refuse settings that still ask for a word.

    Parameters
    ----------
    table : dict
        As the TOML file has it.
    path : Path
        The file.

    Raises
    ------
    SettingsError
        One problem for each ``"???"``, which says what to write there.
    """
    what = f"{ASKED!r} still stands there"
    problems = [
        Problem(str(path), what, _wanted(place), column=".".join(place)) for place in _unfilled(table, ())
    ]
    if problems:
        raise SettingsError(problems[:MOST_UNFILLED])


def _unfilled(node: Any, place: tuple[str, ...]) -> Iterator[tuple[str, ...]]:
    """Find where the mark stands, tables and lists included."""
    if node == ASKED:
        yield place
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    for key, value in inner:
        yield from _unfilled(value, place if isinstance(node, list) else (*place, str(key)))


def _wanted(place: tuple[str, ...]) -> str:
    if place[-1] == "crop":
        return _CROP
    return _WANTED.get(place) or _WANTED_IN.get(place[0], "Write it, or remove the line")
