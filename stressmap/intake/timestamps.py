"""One moment per row, from a column of times, or from a day and a clock in columns of their own."""

from __future__ import annotations

import pandas as pd

from stressmap.intake.columns import Table

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
    days = table.text(day).fillna("").astype(str)
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
