"""What several outputs pick out of a finished run: clocks, flags, measured blocks, sets and ties."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable
from typing import Any

from stressmap.output.view.content import Content
from stressmap.output.view.rows import rows

MICRO = 1_000_000
"""Coordinates are whole millionths of a degree, a decimetre."""


def clock(value: Any) -> str | None:
    """Write a moment as local clock time without its offset.

    Parameters
    ----------
    value : datetime, date, str or None
        In the ranch's zone.

    Returns
    -------
    str or None
        ``"2026-07-14T13:20"``, or only the day where there is no hour.

    Examples
    --------
    >>> clock(dt.datetime(2026, 7, 14, 13, 20))
    '2026-07-14T13:20'
    """
    if isinstance(value, dt.datetime):
        return value.strftime("%Y-%m-%dT%H:%M")
    if isinstance(value, dt.date):
        return value.isoformat()
    return None if value is None else str(value)


def flag_codes(value: Any) -> list[str]:
    """Split the flags of a reading.

    Parameters
    ----------
    value : str, iterable of str or None
        Codes joined by ``;``, or a list of them.

    Returns
    -------
    list of str

    Examples
    --------
    >>> flag_codes("short_bag;no_time")
    ['short_bag', 'no_time']
    """
    parts = value.split(";") if isinstance(value, str) else list(value or ())
    return [part.strip() for part in parts if part.strip()]


def measured_blocks(content: Content) -> set[str]:
    """Name the blocks with at least one reading used.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    set of str
    """
    blocks = content.blocks
    return set(blocks.loc[blocks["readings"] > 0, "block"])


def sets_by_valve(content: Content) -> dict[str, list[dict[str, Any]]]:
    """Gather the sets of the timetable.

    Parameters
    ----------
    content : Content
        The finished run.

    Returns
    -------
    dict
        Valve to its sets in time order, each with ``start`` and ``end``; empty without a timetable.
    """
    found: dict[str, list[dict[str, Any]]] = {}
    if content.timetable is not None:
        for row in rows(content.timetable.sort_values("start", kind="stable")):
            found.setdefault(row["valve"], []).append(row)
    return found


def tied_ranks(table: list[dict[str, Any]]) -> dict[int, list[int]]:
    """Find the ranks that each group of tied valves spans.

    Parameters
    ----------
    table : list of dict
        Rows of the valve table in rank order, with ``tied_group`` (0 for none) if ties were looked for.

    Returns
    -------
    dict
        Group number to its first and last rank.

    Examples
    --------
    >>> tied_ranks([{"rank": 1, "tied_group": 1}, {"rank": 2, "tied_group": 1}, {"rank": 3, "tied_group": 0}])
    {1: [1, 2]}
    """
    found: dict[int, list[int]] = {}
    for row in table:
        group, rank = row.get("tied_group"), row["rank"]
        if group and rank is not None:
            found.setdefault(group, [rank, rank])[1] = rank
    return found


def counted(names: Iterable[str]) -> list[str]:
    """Give each name once, with how often it comes where that is more than once.

    Parameters
    ----------
    names : iterable of str
        In their order.

    Returns
    -------
    list of str

    Examples
    --------
    >>> counted(["V4", "V4", "V1", "V2", "V4"])
    ['V4 (3)', 'V1', 'V2']
    """
    return [f"{name} ({count})" if count > 1 else name for name, count in Counter(names).items()]
