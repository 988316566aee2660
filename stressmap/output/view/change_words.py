"""Change since the visit before in three numbers: gauge = weather + trees, and how far the target went."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from stressmap.output.text.words import Words
from stressmap.output.view.quantities import quantity

SAID = {"relieved": "moved.relieved", "drier": "moved.drier"}
HEADS = ("gauge", "weather", "trees", "word", "target")


def signed(value: float | None, words: Words) -> str:
    """Write a change with its sign.

    Parameters
    ----------
    value : float or None
        Change [bar].
    words : Words
        The language.

    Returns
    -------
    str

    Examples
    --------
    >>> [signed(value, Words("en")) for value in (1.24, 0.04, None)]
    ['+1.2', '0.0', 'no data']
    """
    shown = words.number(value)
    return f"+{shown}" if value is not None and value > 0 and shown != words.number(0.0) else shown


def change_cells(row: Mapping[str, Any], words: Words) -> tuple[str, ...] | None:
    """Give the change of a valve zone for a table.

    Parameters
    ----------
    row : mapping
        Its row of the valve table; positive is drier.
    words : Words
        The language.

    Returns
    -------
    tuple of str, or None
        Of the gauge, the weather, the trees, in words, of the target (as :data:`HEADS`); None without one.
    """
    if row.get("gauge_change_bar") is None:
        return None
    gauge, weather, trees, target = (
        signed(row.get(f"{name}_change_bar"), words) for name in ("gauge", "weather", "trees", "target")
    )
    if not _known(row.get("weather_change_bar")):
        return gauge, words("moved.unknown"), trees, words("moved.word_no_weather"), target
    return gauge, weather, trees, words(SAID.get(str(row.get("change")), "moved.unclear")), target


def change_line(row: Mapping[str, Any], words: Words, gauge: str = "bar") -> str:
    """Say the change of a valve zone in a line: that of the gauge, and what it is made of.

    Parameters
    ----------
    row : mapping
        Its row of the valve table.
    words : Words
        The language.
    gauge : str
        Unit of the crew's gauge; in psi its change stands beside that in bar.

    Returns
    -------
    str
        Empty where there was no visit before.
    """
    cells = change_cells(row, words)
    if cells is None:
        return ""
    line = "moved.line" if _known(row.get("weather_change_bar")) else "moved.line_no_weather"
    said = dict(zip(HEADS, cells, strict=True))
    change = row["gauge_change_bar"]
    if gauge == "psi" and _known(change):
        sign = "+" if change > 0 else ""
        said["gauge"] += f" ({sign}{quantity(change, 'gauge', words)})"
    return words(line, **said)


def _known(value: float | None) -> bool:
    return value is not None and value == value  # noqa: PLR0124 - NaN is what differs from itself
