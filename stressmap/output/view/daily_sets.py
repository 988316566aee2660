"""Sets at the same hours day after day, told once: on paper and on the map alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import pandas as pd

from stressmap.output.text.words import Words

DAILY = 3
"""From so many days on, sets at the same hours are told once."""


@dataclass(frozen=True)
class Spell:
    """A set, or sets of the same hours on days that follow each other.

    Parameters
    ----------
    start, end : Timestamp
        Of the first set.
    last : Timestamp
        Start of the last set.
    count : int
        How many sets.
    """

    start: pd.Timestamp
    end: pd.Timestamp
    last: pd.Timestamp
    count: int


def spells(sets: list[dict[str, Any]]) -> list[Spell]:
    """Put sets together that are at the same hours day after day.

    Parameters
    ----------
    sets : list of dict
        ``start`` and ``end`` [local clock], in order.

    Returns
    -------
    list of Spell
        Two sets alike stay two: a date and a time for each are read faster than a rule.

    Examples
    --------
    >>> first = pd.Timestamp("2026-07-16 20:00")
    >>> nights = [first + pd.Timedelta(days=n) for n in range(4)]
    >>> found = spells([{"start": n, "end": n + pd.Timedelta(hours=10)} for n in nights])
    >>> [(str(one.start), str(one.last), one.count) for one in found]
    [('2026-07-16 20:00:00', '2026-07-19 20:00:00', 4)]
    """
    groups: list[list[dict[str, Any]]] = []
    for one in sets:
        if groups and _follows(groups[-1][-1], one):
            groups[-1].append(one)
        else:
            groups.append([one])
    parts = [
        part for group in groups for part in ([group] if len(group) >= DAILY else [[one] for one in group])
    ]
    return [Spell(part[0]["start"], part[0]["end"], part[-1]["start"], len(part)) for part in parts]


def set_lines(sets: list[dict[str, Any]], words: Words) -> list[str]:
    """Write a valve's sets with their weekdays: a line each, or two for those alike day after day.

    Parameters
    ----------
    sets : list of dict
        ``start`` and ``end`` [local clock], in order.
    words : Words
        The language.

    Returns
    -------
    list of str

    Examples
    --------
    >>> one = {"start": pd.Timestamp("2026-07-16 20:00"), "end": pd.Timestamp("2026-07-17 06:00")}
    >>> set_lines([one], Words("es"))
    ['jue 16 jul 20:00 - vie 17 jul 06:00']
    """
    lines: list[str] = []
    for one in spells(sets):
        if one.count == 1:
            ends = (f"{_day(moment, words)} {moment:%H:%M}" for moment in (one.start, one.end))
            lines.append(" - ".join(ends))
            continue
        days = words("sheet.daily", first=_day(one.start, words), last=_day(one.last, words), count=one.count)
        lines += [days, f"{one.start:%H:%M} - {one.end:%H:%M}"]
    return lines


def _day(moment: pd.Timestamp, words: Words) -> str:
    """Write weekday, day and month."""
    return f"{words('locale.weekdays').split()[moment.weekday()]} {words.day(moment)}"


def _follows(before: dict[str, Any], one: dict[str, Any]) -> bool:
    """Tell whether a set is that of the day before at the same clock times."""
    clocks = [(each["start"].time(), each["end"].time()) for each in (before, one)]
    days = [(each["start"].date() - each["end"].date(), each["start"].date()) for each in (before, one)]
    return clocks[0] == clocks[1] and days[0][0] == days[1][0] and (days[1][1] - days[0][1]).days == 1
