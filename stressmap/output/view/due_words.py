"""When a valve is due and why, in words: never a day without its range."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from stressmap.output.text.season_words import SeasonWords
from stressmap.output.view.season_cells import missing, number
from stressmap.season.calendar_days import HORIZON_DAYS

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
    if not missing(row["days_left"]) and row["days_left"] <= 0:
        surely = not missing(row["days_left_high"]) and row["days_left_high"] <= 0
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
    return words("urgent.no_water") if missing(days) else words("urgent.since", days=round(days))


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


def with_early(valves: list[tuple[str, Any]], day: dt.date, words: SeasonWords) -> str:
    """Name valves, with the earliest day in brackets where it is before the day."""
    return ", ".join(
        valve if missing(early) or early >= day else f"{valve} ({words.plain.day(early)})"
        for valve, early in valves
    )
