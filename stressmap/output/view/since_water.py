"""How long a valve has been without water and when its next water is due, as far as that is known."""

from __future__ import annotations

import datetime as dt

from stressmap.output.text.words import Words
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import Turn


def since_water(turn: Turn, content: Content, words: Words) -> str:
    """Say the days since the last water and the day on which the next is due: ``"8 d / Jul 20"``.

    Parameters
    ----------
    turn : Turn
        The valve zone; of the season's figures ``days_since_water`` and ``due`` are taken where they stand.
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
    days, last, due = row.get("days_since_water"), row.get("last_irrigated"), _day(row.get("due"))
    if days is None and isinstance(last, dt.datetime):
        days = (content.visit[1] - last.date()).days
    if days is None and due is None:
        return ""
    since = "__" if days is None else words("sheet.days", days=round(days))
    return f"{since} / {'____' if due is None else words.day(due)}"


def _day(value: object) -> dt.date | None:
    if isinstance(value, str):
        return dt.date.fromisoformat(value[:10])
    return value if isinstance(value, dt.date) else None
