"""Hours without a date, and days without a month, beside planned times: the day nearest to the plan."""

from __future__ import annotations

import re

import pandas as pd

from stressmap.core.text import without_accents
from stressmap.intake.times import read_clock
from stressmap.intake.timestamps import CLOCK_ONLY

_FRACTION = r"0?\.\d+"
_CLOCK = r"\d{1,2}[:h.]\d{2}(?:[:.]\d{2})?(?:\s*[ap]\.?\s*m\.?)?|\d{1,2}\s*[ap]\.?\s*m\.?"
_WEEKDAYS = {
    word: number
    for number, words in enumerate(
        (
            "mon monday lun lunes", "tue tues tuesday mar martes", "wed wednesday mie mier miercoles",
            "thu thur thurs thursday jue jueves", "fri friday vie viernes", "sat saturday sab sabado",
            "sun sunday dom domingo",
        )
    )
    for word in words.split()
}  # fmt: skip
_PART_OF_DATE = re.compile(rf"(?P<weekday>[a-z]+)\.?,?\s+(?:(?P<day>\d{{1,2}}),?\s+)?(?P<clock>{_CLOCK})")
_DAYS = 16
"""A day of a month is looked for so many days around the plan."""


def is_clock(cells: pd.Series) -> pd.Series:
    """Tell which cells are an hour without a date.

    Parameters
    ----------
    cells : Series of str
        As written.

    Returns
    -------
    Series of bool
    """
    return cells.str.lower().str.fullmatch(rf"{CLOCK_ONLY}|{_FRACTION}") & (cells != "")


def with_days(cells: pd.Series, planned: pd.Series) -> pd.Series:
    """Put the day before hours that stand alone or beside weekday and day of the month.

    Parameters
    ----------
    cells : Series of str
        As written.
    planned : Series of datetime64[us, zone]
        The moment that each is nearest to; NaT where none is known.

    Returns
    -------
    Series of str
        Day and hour, other cells as they are. A weekday that is not that of the day is not read.

    Examples
    --------
    >>> planned = pd.Series(pd.Timestamp("2026-07-16 20:00", tz="America/Los_Angeles"), index=range(4))
    >>> with_days(pd.Series(["01:00", "jue 16 9:30 pm", "Fri 6 am", "vie 16 21:30"]), planned).tolist()
    ['2026-07-17 01:00', '2026-07-16 21:30', '2026-07-17 06:00', 'vie 16 21:30']
    """
    text = cells.fillna("").astype(str).str.strip()
    alone = is_clock(text) & planned.notna()
    clock = read_clock(text.where(alone, ""))
    wall = planned.dt.tz_localize(None)
    that_day = wall.dt.normalize() + clock
    days = ((wall - that_day) / pd.Timedelta(days=1)).round()
    nearest = that_day + pd.to_timedelta(days, unit="D")
    found = text.where(nearest.isna(), nearest.dt.strftime("%Y-%m-%d %H:%M"))
    for row in text.index[~alone & planned.notna() & text.str.match(r"[^\W\d_]")]:
        found[row] = _of_part(text[row], wall[row]) or text[row]
    return found


def _of_part(cell: str, planned: pd.Timestamp) -> str | None:
    """Give the moment nearest to the plan that weekday, day of the month and clock fit."""
    parts = _PART_OF_DATE.fullmatch(without_accents(cell.lower()))
    weekday = _WEEKDAYS.get(parts["weekday"]) if parts else None
    if parts is None or weekday is None:
        return None
    clock = read_clock(pd.Series([parts["clock"]])).iloc[0]
    days = [planned.normalize() + pd.Timedelta(days=n) for n in range(-_DAYS, _DAYS + 1)]
    fitting = [
        day + clock
        for day in days
        if day.weekday() == weekday and (parts["day"] is None or day.day == int(parts["day"]))
    ]
    if pd.isna(clock) or not fitting:
        return None
    return f"{min(fitting, key=lambda moment: abs(moment - planned)):%Y-%m-%d %H:%M}"
