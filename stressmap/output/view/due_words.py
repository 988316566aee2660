"""When a valve is due and why, in words: never a day without its range."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from typing import Any

from stressmap.output.text.season_words import SeasonWords
from stressmap.output.view.season_cells import missing, number
from stressmap.season.calendar_days import HORIZON_DAYS, days_ago

WIDE_DAYS = 14
"""A range wider than this is none to plan by, and no likeliest day is named: a judgement, no source."""


def stands_words(row: Mapping[str, Any], words: SeasonWords) -> str:
    """Say where the stress stands and what is allowed; nothing where it is not known."""
    if missing(row["stress_bar"]):
        return ""
    low, high = (number(row[f"stress_{end}_bar"], 1, words) for end in ("low", "high"))
    return words("urgent.stands", low=low, high=high, allowed=number(row["allowed_bar"], 1, words))


def when_due(row: Mapping[str, Any], today: dt.date, words: SeasonWords) -> str:
    """Say when a valve is due, never without its range.

    Parameters
    ----------
    row : mapping
        Of the table of what is due.
    today : date
        Counted from.
    words : SeasonWords
        The language.

    Returns
    -------
    str
    """
    early, late, due = (row[name] for name in ("due_early", "due_late", "due"))
    if missing(row["stress_bar"]):
        return words("urgent.unknown")
    if not missing(due) and due <= today:
        surely = not missing(late) and late <= today
        return words("urgent.overdue" if surely else "urgent.now")
    if missing(due):
        return (
            words("urgent.much_later")
            if missing(early)
            else words("urgent.later", early=words.plain.day(early))
        )
    begins = today if missing(early) or early <= today else early
    ends = today + dt.timedelta(days=HORIZON_DAYS) if missing(late) else late
    wide = (ends - begins).days > WIDE_DAYS
    told = {"early": words.plain.day(begins), "day": words.plain.day(due)}
    if missing(late):
        return words("urgent.from_wide" if wide else "urgent.from_day", **told)
    return words("urgent.due_wide" if wide else "urgent.due_on", **told, late=words.plain.day(late))


def since_words(row: Mapping[str, Any], words: SeasonWords) -> str:
    """Say how long ago the last water was."""
    days = row["days_since_water"]
    return words("urgent.no_water") if missing(days) else words("urgent.since", days=days_ago(days))


def drying_words(row: Mapping[str, Any], words: SeasonWords) -> str:
    """Say how fast stress rises a day, as a range; nothing where it is not known."""
    if missing(row["drying_low"]):
        return ""
    low, high = (number(row[f"drying_{end}"], 2, words) for end in ("low", "high"))
    return words("urgent.drying", low=low, high=high)


def hot_words(row: Mapping[str, Any], words: SeasonWords) -> str:
    """Say how a hot week changes the days left, where it does by a day or more."""
    hot, usual = row.get("days_left_hot"), row["days_left"]
    if hot is None or missing(hot) or missing(usual) or usual - hot < 1:
        return ""
    return words("urgent.hot", days=round(hot), usual=round(usual)) if round(hot) else words("urgent.hot_now")


def with_range(rows: list[Mapping[str, Any]], alarmed: Collection[str], words: SeasonWords) -> str:
    """Name valves due on one day, in brackets the days it may be and what to look at first.

    Parameters
    ----------
    rows : list of mapping
        Of the season's calendar.
    alarmed : collection of str
        Valves that were watered and not relieved.
    words : SeasonWords
        The language.

    Returns
    -------
    str
    """
    said = []
    for row in rows:
        look = words("next.look") if row["valve"] in alarmed else ""
        beside = ", ".join(part for part in (_days_of(row, words), look) if part)
        said.append(f"{row['valve']} ({beside})" if beside else str(row["valve"]))
    return ", ".join(said)


def _days_of(row: Mapping[str, Any], words: SeasonWords) -> str:
    """Give the days a valve may be due on; nothing where they are the one it is listed under."""
    early, late = (row["day"] if missing(row["due_early"]) else row["due_early"]), row["due_late"]
    if missing(late):
        return words("next.from_on", early=words.plain.day(early))
    if early == late == row["day"]:
        return ""
    return words("form.range", low=words.plain.day(early), high=words.plain.day(late))
