"""One moment per row, from a column of times, or from a day and a clock in columns of their own."""

from __future__ import annotations

import pandas as pd

from stressmap.intake.columns import Table

APART = ("year", "month", "day_of_year")
"""Our names of columns that are a day only together."""
CLOCK_ONLY = r"\d{1,4}|\d{1,2}[:h.]\d{2}(?:[:.]\d{2})?(?:\s*[ap]\.?\s*m\.?)?|\d{1,2}\s*[ap]\.?\s*m\.?"
"""A cell that is a time of day without a day (lower-case)."""


def stamp_text(table: Table, time: str, day: str, clock: str) -> tuple[pd.Series, str]:
    """Join day and clock of each row into one text.

    Parameters
    ----------
    table : Table
        A file under our names.
    time, day, clock : str
        Our names of the columns: a whole moment (or a clock beside a day), a day, a clock.

    Returns
    -------
    text : Series of str
        ``""`` where empty.
    heading : str
        Column for messages.

    Examples
    --------
    >>> index = pd.Index([2, 3])
    >>> days, clocks = pd.Series(["2026-07-14"] * 2, index), pd.Series(["9", "1430"], index)
    >>> columns = {"day": days, "time": clocks}
    >>> table = Table("weather.csv", index, columns, {"day": "Date", "time": "Hour"})
    >>> stamp_text(table, "time", "day", "clock")[0].tolist()
    ['2026-07-14 9:00', '2026-07-14 14:30']
    """
    here = [name for name in (time, clock) if table.has(name)]
    if not table.has(day):
        name = here[0] if here else time
        return table.text(name).fillna("").astype(str), table.headings.get(name, name)
    # a day of a workbook is a moment at midnight
    days = table.text(day).fillna("").astype(str).str.replace(r"[ T]0?0:00(:00)?$", "", regex=True)
    for name in here:
        cells = table.text(name).fillna("").astype(str)
        filled = cells[cells != ""]
        if len(filled) and filled.str.lower().str.fullmatch(CLOCK_ONLY).mean() > 0.5:
            return (days + " " + clock_text(cells)).where(cells != "", days).str.strip(), table.headings[name]
        if name == time and len(filled):
            return cells, table.headings[name]
    return days, table.headings[day]


def clock_text(cells: pd.Series) -> pd.Series:
    """Write clocks of digits only with a colon.

    Parameters
    ----------
    cells : Series of str
        ``"9"``, ``"1430"``, ``"14:30"``.

    Returns
    -------
    Series of str

    Examples
    --------
    >>> clock_text(pd.Series(["9", "1430", "14:30"])).tolist()
    ['9:00', '14:30', '14:30']
    """
    whole = cells.str.replace(r"^(\d{1,2})$", r"\1:00", regex=True)
    return whole.str.replace(r"^(\d{1,2})(\d{2})$", r"\1:\2", regex=True)


def one_day(table: Table) -> None:
    """Join year, month and day in columns of their own, or year and day of the year, into the column of days.

    Where the file needs no such columns, they are taken out of the table and so told as not read.

    Parameters
    ----------
    table : Table
        A file under our names: ``year``, ``month``, ``day``, ``day_of_year``; changed in place.

    Examples
    --------
    >>> index = pd.Index([2])
    >>> columns = {"year": pd.Series(["2026"], index), "day_of_year": pd.Series(["195"], index)}
    >>> table = Table("weather.csv", index, columns, {"year": "Year", "day_of_year": "Day"})
    >>> one_day(table)
    >>> table.columns["day"].tolist(), table.headings["day"]
    (['2026-07-14'], 'Day')
    """
    text = {name: table.text(name).fillna("").astype(str) for name in (*APART, "day")}
    whole = table.has("day") and not text["day"].str.fullmatch(r"\d{1,2}|").all()
    if whole or not table.has("year"):
        used = []
    elif table.has("month") and table.has("day"):
        used = ["year", "month", "day"]
    else:
        used = ["year", "day_of_year"] if table.has("day_of_year") else []
    if used:
        joined = text[used[0]]
        for name in used[1:]:
            joined = joined + " " + text[name]
        form = "%Y %m %d" if "month" in used else "%Y %j"
        days = pd.to_datetime(joined, format=form, errors="coerce")
        written = days.dt.strftime("%Y-%m-%d").where(days.notna(), joined.str.strip())
        table.columns["day"] = written.astype(object)
        table.headings["day"] = table.headings[used[-1]]
    for name in set(APART) - set(used):
        for held in (table.columns, table.headings, table.places):
            held.pop(name, None)
