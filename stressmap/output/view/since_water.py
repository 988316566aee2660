"""How long a valve has been without water and when its next water is due, as far as that is known."""

from __future__ import annotations

import datetime as dt

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn
from stressmap.output.view.season_line import due_dates
from stressmap.season.calendar_days import days_ago

DASH = "\N{EN DASH}"


def since_water(turn: Turn, content: Content, words: Words) -> str:
    """Say the days since the last water and when the next is due: ``"8 d / Jul 18"`` or a range of days.

    Parameters
    ----------
    turn : Turn
        The valve zone; of the season's figures ``days_since_water`` and those of what is due are taken where
        they stand.
    content : Content
        The finished run, whose last day is counted to.
    words : Words
        The language.

    Returns
    -------
    str
        A line to write on in the place of what is not known; empty where neither is.
    """
    row = turn.row
    days, last = row.get("days_since_water"), row.get("last_irrigated")
    if days is None and isinstance(last, dt.datetime):
        days = (content.visit[1] - last.date()).days
    due = _due(turn, content, words)
    if days is None and not due:
        return ""
    since = "__" if days is None else words("sheet.days", days=days_ago(days))
    return f"{since} / {due or '____'}"


def _due(turn: Turn, content: Content, words: Words) -> str:
    """Say when it is due, as a range where that is known."""
    due, early, late = due_dates(turn.row)
    today = content.season_day
    if today is not None and turn.row.get("stress_bar") is not None and early is None:
        return words("sheet.not_due")
    if due is not None and today is not None and due <= today:
        return words("sheet.due_now")
    if early is None:
        return "" if due is None else words.day(due)
    if late is not None and (early.year, early.month) == (late.year, late.month):
        month = words("locale.months").split()[early.month - 1]
        return words("locale.day_month", day=f"{early.day}{DASH}{late.day}", month=month)
    return f"{words.day(early)}{DASH}{'' if late is None else words.day(late)}"
