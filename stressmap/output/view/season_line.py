"""The season beside a valve zone: days without water, when the next is due, how many are overdue."""

from __future__ import annotations

import dataclasses
import datetime as dt
from collections.abc import Mapping
from typing import Any

import pandas as pd

from stressmap.output.text.season_words import SeasonWords
from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.due_words import since_words, when_due
from stressmap.output.view.rows import rows
from stressmap.season.due_table import SOON_DAYS

DATES = ("due", "due_early", "due_late")


def with_due(content: Content, due: pd.DataFrame, today: dt.date) -> Content:
    """Add to the valve zones when their next water is due.

    Parameters
    ----------
    content : Content
        A run.
    due : DataFrame
        Of a season: ``valve``, ``days_since_water`` and the dates.
    today : date
        From which it counts.

    Returns
    -------
    Content
        Its ``valves`` have ``days_since_water``, ``due``, ``due_early`` and ``due_late``, dates as text, None
        where they are over three weeks away or not known.
    """
    own = due.set_index("valve").reindex(content.valves["valve"])
    valves = content.valves.copy()
    place = list(valves.columns).index("geometry")
    since = own["days_since_water"].astype(float).round(1).to_numpy()
    valves.insert(place, "days_since_water", since)
    for step, name in enumerate(DATES, start=1):
        shown = pd.Series([_text(day) for day in own[name]], dtype=object, index=valves.index)
        valves.insert(place + step, name, shown)
    return dataclasses.replace(content, valves=valves, season_day=today)


def _text(day: Any) -> str | None:
    return day.isoformat() if isinstance(day, dt.date) and not pd.isna(day) else None


def due_dates(row: Mapping[str, Any]) -> tuple[dt.date | None, dt.date | None, dt.date | None]:
    """Give the day a valve zone is due, the earliest and the latest; None for what is not told."""
    found = (_day(row.get(name)) for name in DATES)
    due, early, late = found
    return due, early, late


def _day(value: object) -> dt.date | None:
    if isinstance(value, str):
        return dt.date.fromisoformat(value[:10])
    return value if isinstance(value, dt.date) else None


def due_text(row: Mapping[str, Any], today: dt.date, words: Words) -> str:
    """Say when a valve zone is due, with its range.

    Parameters
    ----------
    row : mapping
        Of the valve zones, with the columns of :func:`with_due`.
    today : date
        From which it counts.
    words : Words
        The language.

    Returns
    -------
    str

    Examples
    --------
    >>> row = {"stress_bar": 2.0, "due": "2026-07-26", "due_early": "2026-07-22", "due_late": None}
    >>> due_text(row, dt.date(2026, 7, 15), Words("en"))
    'due from Jul 22 on, likeliest Jul 26'

    Of a range too wide to plan by no likeliest day is named:

    >>> due_text(row | {"due_early": "2026-07-16"}, dt.date(2026, 7, 15), Words("en"))
    'due from Jul 16 on'
    """
    due, early, late = due_dates(row)
    left, latest = (None if day is None else float((day - today).days) for day in (due, late))
    facts = {"stress_bar": row.get("stress_bar"), "due": due, "due_early": early, "due_late": late}
    return when_due(facts | {"days_left": left, "days_left_high": latest}, today, SeasonWords(words))


def season_line(row: Mapping[str, Any], today: dt.date, words: Words) -> str:
    """Say how long a valve zone has been without water, and when it is due.

    Examples
    --------
    >>> row = {"stress_bar": 2.0, "due": "2026-07-15", "due_late": "2026-07-15", "days_since_water": 9.2}
    >>> season_line(row, dt.date(2026, 7, 15), Words("es"))
    'atrasada · agua hace 9 días'
    """
    since = {"days_since_water": row.get("days_since_water")}
    return f"{due_text(row, today, words)} · {since_words(since, SeasonWords(words))}"


def due_counts(content: Content) -> tuple[int, int, int]:
    """Count the valve zones that are overdue, those due now though not surely, and within three days more."""
    today = content.season_day
    if today is None:
        return 0, 0, 0
    dates = [due_dates(row) for row in rows(content.valves)]
    past = [late for due, _, late in dates if due is not None and due <= today]
    overdue = sum(late is not None and late <= today for late in past)
    soon = sum(due is not None and 0 < (due - today).days <= SOON_DAYS for due, _, _ in dates)
    return overdue, len(past) - overdue, soon


def due_counted(content: Content, words: Words) -> list[str]:
    """Say how many valve zones are overdue and due soon; nothing without a season."""
    if content.season_day is None:
        return []
    overdue, now, soon = due_counts(content)
    return [SeasonWords(words)("page.short_counts", overdue=overdue, now=now, soon=soon)]
