"""Text -> times in the ranch's zone: ISO, day-first, month-first, month names, 12-hour clocks, serial days.

The order of day and month is inferred from a whole column; a column that leaves it open is refused rather
than guessed.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Any, Literal
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.intake.numbers import is_nothing

Order = Literal["day-first", "month-first"]

_MONTH_NAMES = (
    "jan january ene enero",
    "feb february febrero",
    "mar march marzo",
    "apr april abr abril",
    "may mayo",
    "jun june junio",
    "jul july julio",
    "aug august ago agosto",
    "sep sept september septiembre setiembre set",
    "oct october octubre",
    "nov november noviembre",
    "dec december dic diciembre",
)
_MONTHS = {name: at for at, spelled in enumerate(_MONTH_NAMES, start=1) for name in spelled.split()}
_DATE = (
    r"(?:(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})"
    r"|(?P<cy>\d{4})(?P<cm>\d{2})(?P<cd>\d{2})"
    r"|(?P<a>\d{1,2})[-/.](?P<b>\d{1,2})[-/.](?P<ny>\d{4}|\d{2})(?!\d)"
    r"|(?P<wd>\d{1,2})(?:st|nd|rd|th)?[-\s./]*(?:de\s+)?(?P<wm>[a-z]{3,10})\.?[-\s./,]*(?:del?\s+)?(?P<wy>\d{4}|\d{2})"
    r"|(?P<vm>[a-z]{3,10})\.?\s+(?P<vd>\d{1,2})(?:st|nd|rd|th)?,?\s+(?P<vy>\d{4}))"
)
_CLOCK = (
    r"(?P<H>\d{1,2})(?:[:h](?P<M>\d{2})(?:[:m](?P<S>\d{2})(?:[.,](?P<f>\d{1,9}))?)?\s*s?)?"
    r"\s*(?:(?P<ap>[ap])\.?\s*m\.?|h(?:rs?|oras)?\.?)?"
)
_ABBREVIATIONS = {"z": 0, "utc": 0, "gmt": 0, "edt": -4, "est": -5, "cdt": -5, "cst": -6} | {
    "mdt": -6, "mst": -7, "pdt": -7, "pst": -8,
}  # fmt: skip
"""Hours from UTC of the letters that North American phones and loggers write."""
_OFFSET = rf"(?P<off>{'|'.join(_ABBREVIATIONS)}|[+-]\d{{2}}:?\d{{2}}|[+-]\d{{2}})"
_STAMP = re.compile(
    rf"(?:[a-z]+\.?,?\s+)?{_DATE}(?:(?:t|\s|,|-\s)+(?:{_CLOCK.replace('[:h]', '[:h.]')})\s*{_OFFSET}?)?"
)
TWO_NUMBERS = re.compile(r"^\s*(\d{1,2})[-/.](\d{1,2})[-/.](?:\d{4}|\d{2})(?!\d)")
"""A cell that begins with a date of numbers, of which day or month may come first."""
_COMPACT = re.compile(r"^(\d{8})[t ]?(\d{2})(\d{2})(\d{2})?(?=\D|$)")
_BLANKS, _ACCENTS = re.compile(r"[\u00a0\u202f\u2009]"), re.compile(r"[\u0300-\u036f]")
_SERIAL = re.compile(r"[3-6]\d{4}(?:\.\d+)?")
FURTHEST_MIN = 14 * 60
"""No clock on earth is further from UTC."""
YEARS = (1900, 2100)
"""A day outside these years is a slip of the pen and counts as unreadable."""
_SINCE_1970 = re.compile(r"1\d{9}(?:\.\d+)?|1\d{12}")
"""Seconds or milliseconds since 1970 began in UTC, as loggers and phones count, from 2001 to 2033."""
_SERIAL_EPOCH = np.datetime64("1899-12-30", "us")


@dataclass(frozen=True)
class Asked:
    """What the reader of a time column knows beside its cells.

    Parameters
    ----------
    where : str
        File, for messages.
    column : str
        Heading, for messages.
    zone : ZoneInfo
        The ranch's; times without an offset are local to it.
    order : str, optional
        ``[reading] date_order``: ``"day-first"`` or ``"month-first"``.
    record : bool
        Whether the rows are a regular record (weather), so that the second 01:00 of an autumn night is
        the later one.
    """

    where: str
    column: str
    zone: ZoneInfo
    order: Order | None = None
    record: bool = False


def read_times(text: pd.Series, asked: Asked) -> Noted[pd.Series]:
    """Read a column of dates with times.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells by spreadsheet row, ``""`` or None where empty.
    asked : Asked
        File, column, zone and order.

    Returns
    -------
    Noted of Series of datetime64[us, zone], shape (n,)
        NaT where there is no time or none that can be read; clock changes and unread cells are said.

    Raises
    ------
    DataError
        If the order of day and month is open or contradicts itself, or no cell can be read.

    Examples
    --------
    >>> asked = Asked("a.csv", "time", ZoneInfo("America/Los_Angeles"))
    >>> read = read_times(pd.Series(["7/14/2026 1:05 PM", "2026-07-14T20:10Z"]), asked)
    >>> read.value.astype(str).tolist()
    ['2026-07-14 13:05:00-07:00', '2026-07-14 13:10:00-07:00']
    """
    first_row, code = _distinct(text)
    notes = NoteList()
    wall, offset, cells = notes.keep(_walls(text.loc[first_row], asked))
    local = notes.keep(_localise(_spread(wall, code, text), _spread(offset, code, text), asked))
    notes.add(_unread(_spread(cells, code, text), local, asked))
    return notes.beside(local)


def _distinct(text: pd.Series) -> tuple[pd.Index, NDArray[np.int64]]:
    """Give the rows where each different cell stands first, and for every row which of them it repeats."""
    code, _ = pd.factorize(text, use_na_sentinel=False)
    return text.index[np.unique(code, return_index=True)[1]], code


def _spread(distinct: pd.Series, code: NDArray[np.int64], like: pd.Series) -> pd.Series:
    """Put what was read of the different cells back into every row."""
    return distinct.take(code).set_axis(like.index)


def _walls(text: pd.Series, asked: Asked) -> Noted[tuple[pd.Series, pd.Series, pd.Series]]:
    """Read cells as wall-clock times and offsets; give the tidied cells too."""
    cells, notes = _tidy(text), NoteList()
    parts = cells.str.extract(_STAMP_WHOLE)
    wall = _dates(parts, cells, asked) + _clock(parts)
    serial = cells.str.fullmatch(_SERIAL)
    if serial.any():
        days = pd.to_numeric(cells[serial]).to_numpy()
        stamp = _SERIAL_EPOCH + np.round(days * 86_400).astype("timedelta64[s]")
        wall = wall.mask(serial, pd.Series(stamp.astype("datetime64[us]"), index=cells[serial].index))
        notes.say("serial_days", file=asked.where, column=asked.column)
    offset, counted = parts["off"], cells.str.fullmatch(_SINCE_1970)
    if counted.any():
        count = pd.to_numeric(cells[counted])
        seconds = count.where(count < 1e12, count / 1000.0).round().astype("int64")
        wall = wall.mask(counted, pd.to_datetime(seconds, unit="s").astype("datetime64[us]"))
        offset = offset.mask(counted, "z")
        notes.say("seconds_since_1970", file=asked.where, column=asked.column)
    return notes.beside((wall, offset, cells))


_STAMP_WHOLE = re.compile(rf"^{_STAMP.pattern}$")


def read_dates(text: pd.Series, asked: Asked) -> pd.Series:
    """Read a column of days without a clock.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells; a clock behind the day is not looked at.
    asked : Asked
        File, column and order.

    Returns
    -------
    Series of datetime64[us], shape (n,)
        Midnight, without zone; NaT where none can be read.

    Raises
    ------
    DataError
        If the order of day and month is open or contradicts itself.
    """
    cells = _tidy(text)
    date = _dates(cells.str.extract(_STAMP_WHOLE), cells, asked)
    serial = cells.str.fullmatch(_SERIAL)
    if serial.any():
        days = pd.to_numeric(cells[serial]).to_numpy().astype("int64").astype("timedelta64[D]")
        stamp = (_SERIAL_EPOCH + days).astype("datetime64[us]")
        date = date.mask(serial, pd.Series(stamp, index=cells[serial].index))
    return date


def order_shown(text: pd.Series) -> Order | None:
    """Tell the order of day and month that a column of dates shows.

    Parameters
    ----------
    text : Series of str
        Cells that may begin with a date such as ``25/07/2026``.

    Returns
    -------
    str or None
        None where no date tells, or one tells another order than the next.

    Examples
    --------
    >>> order_shown(pd.Series(["03/07/2026", "25/07/2026 13:05"])), order_shown(pd.Series(["03/07/2026"]))
    ('day-first', None)
    """
    parts = text.fillna("").astype(str).str.extract(TWO_NUMBERS).astype(float)
    day_first, month_first = bool((parts[0] > 12).any()), bool((parts[1] > 12).any())
    if day_first == month_first:
        return None
    return "day-first" if day_first else "month-first"


def read_clock(text: pd.Series) -> pd.Series:
    """Read a column of clock times without a day.

    Parameters
    ----------
    text : Series of str, shape (n,)
        Cells such as ``13:05``, ``1:05 pm``, ``13h05``, ``1305``.

    Returns
    -------
    Series of timedelta64[us], shape (n,)
        Since midnight; NaT where none can be read.

    Examples
    --------
    >>> read_clock(pd.Series(["1:05 pm", "13h05", "1305", "noon"])).dt.total_seconds().div(60).tolist()
    [785.0, 785.0, 785.0, nan]
    """
    first_row, code = _distinct(text)
    return _spread(_clocks(text.loc[first_row]), code, text)


def _clocks(text: pd.Series) -> pd.Series:
    cells = _tidy(text).str.replace(r"^(\d{1,2})(\d{2})$", r"\1:\2", regex=True)
    cells = cells.str.replace(r"^(\d{1,2})\.(\d{2})(?=\D|$)", r"\1:\2", regex=True)
    parts = cells.str.extract(re.compile(rf"^{_CLOCK}$"))
    fraction = pd.to_numeric(cells.where(cells.str.fullmatch(r"0?\.\d+")), errors="coerce")
    stated = parts["H"].notna() & (parts["M"].notna() | parts["ap"].notna())
    clock = _clock(parts).where(stated)
    seconds = pd.to_timedelta((fraction * 86_400).round(), unit="s").astype("timedelta64[us]")
    return clock.fillna(seconds)


def _tidy(text: pd.Series) -> pd.Series:
    return text.fillna("").astype(str).map(_tidied)


def _tidied(cell: str) -> str:
    tidy = _BLANKS.sub(" ", cell.strip().lower()).replace("\u2212", "-")
    tidy = _COMPACT.sub(lambda m: f"{m[1]} {m[2]}:{m[3]}:{m[4] or '00'}", tidy)
    return tidy if tidy.isascii() else _ACCENTS.sub("", unicodedata.normalize("NFKD", tidy))


def _number(parts: pd.DataFrame, *names: str) -> pd.Series:
    """Take the first of some groups that is there, as a float."""
    taken = parts[names[0]]
    for name in names[1:]:
        taken = taken.fillna(parts[name])
    return pd.to_numeric(taken, errors="coerce").astype(float)


def _dates(parts: pd.DataFrame, cells: pd.Series, asked: Asked) -> pd.Series:
    year = _number(parts, "y", "cy", "ny", "wy", "vy")
    year = year.where(year >= 100, year + 2000)
    word = parts["wm"].fillna(parts["vm"]).map(_MONTHS).astype(float)
    month, day = _number(parts, "m", "cm").fillna(word), _number(parts, "d", "cd", "wd", "vd")
    first, second = _number(parts, "a"), _number(parts, "b")
    if first.notna().any():
        order = asked.order or _order(first, second, cells, asked)
        front, back = (day, month) if order == "day-first" else (month, day)
        front, back = front.fillna(first), back.fillna(second)
        day, month = (front, back) if order == "day-first" else (back, front)
    # beyond lies no visit, and not far beyond the range of the libraries
    year = year.where(year.between(*YEARS))
    return pd.to_datetime({"year": year, "month": month, "day": day}, errors="coerce").astype(
        "datetime64[us]"
    )


def _order(first: pd.Series, second: pd.Series, cells: pd.Series, asked: Asked) -> Order:
    """Infer the order of day and month from a whole column."""
    neither = (first > 12) & (second > 12)
    first, second = first.mask(neither), second.mask(neither)
    day_first, month_first = first > 12, second > 12
    remedy = 'Say [reading] date_order = "day-first" or "month-first"'
    if day_first.any() and month_first.any():
        one, two = _first_row(day_first), _first_row(month_first)
        what = (
            f"{cells[one]!r} in row {one} has the day first and {cells[two]!r} in row {two} the month first"
        )
        remedy = "Write the dates of the column in one form, best as 2026-07-14 13:05"
        raise DataError(Problem(asked.where, what, remedy, column=asked.column))
    if day_first.any() or month_first.any():
        return "day-first" if day_first.any() else "month-first"
    if (first.dropna() == second.dropna()).all():
        return "day-first"
    row = _first_row((first != second) & first.notna())
    what = f"{cells[row]!r} can be day first or month first, and no other date of the column tells"
    raise DataError(Problem(asked.where, what, remedy, row=row, column=asked.column))


def _clock(parts: pd.DataFrame) -> pd.Series:
    hour, half = _number(parts, "H"), parts["ap"]
    hour = hour.mask(half.notna() & ((hour > 12) | (hour < 1)))
    hour = hour.mask(half.eq("p") & (hour < 12), hour + 12).mask(half.eq("a") & (hour == 12), 0.0)
    minute, second = _number(parts, "M").fillna(0.0), _number(parts, "S").fillna(0.0)
    sound = (hour <= 24) & (minute < 60) & (second < 60) & ~((hour == 24) & (minute + second > 0))
    seconds = (hour * 3600 + minute * 60 + second).where(sound)
    return pd.to_timedelta(seconds, unit="s").astype("timedelta64[us]")


def _localise(wall: pd.Series, offset: pd.Series, asked: Asked) -> Noted[pd.Series]:
    fixed = offset.notna() & wall.notna()
    free = wall.mask(fixed)
    zoned = _to_zone(free, asked)
    local = zoned.value
    if fixed.any():
        minutes = offset[fixed].map(_offset_minutes).astype(float)
        minutes = minutes.where(minutes.abs() <= FURTHEST_MIN)
        utc = (wall[fixed] - pd.to_timedelta(minutes, unit="min")).dt.tz_localize("UTC")
        local = local.where(~fixed, utc.dt.tz_convert(asked.zone).astype(local.dtype).reindex(wall.index))
    return Noted(local, zoned.notes)


def _offset_minutes(text: str) -> float:
    if text in _ABBREVIATIONS:
        return 60.0 * _ABBREVIATIONS[text]
    digits = text[1:].replace(":", "").ljust(4, "0")
    return (int(digits[:2]) * 60 + int(digits[2:])) * (-1.0 if text[0] == "-" else 1.0)


def _to_zone(wall: pd.Series, asked: Asked) -> Noted[pd.Series]:
    """Give wall-clock times their zone, and say what a clock change made of them."""
    notes = NoteList()
    early = np.ones(len(wall), dtype=bool)
    forward = wall.dt.tz_localize(asked.zone, ambiguous=early, nonexistent="shift_forward")
    gap = wall.notna() & (forward.dt.tz_localize(None) != wall)
    if gap.any():
        forward = _moved_by_the_gap(wall, forward, gap, asked)
        notes.say("times_skipped", "caution", **_where(gap, asked))
    later = wall.dt.tz_localize(asked.zone, ambiguous=~early, nonexistent="shift_forward")
    twice = wall.notna() & (forward != later) & ~gap
    if twice.any():
        second = _second_pass(wall, twice, record=asked.record)
        forward = forward.where(~second, later)
        notes.say("times_twice", "caution", **_where(twice, asked))
    return notes.beside(forward)


def _moved_by_the_gap(wall: pd.Series, forward: pd.Series, gap: pd.Series, asked: Asked) -> pd.Series:
    before = (wall - pd.Timedelta(hours=3)).dt.tz_localize(asked.zone, ambiguous="NaT", nonexistent="NaT")
    moved = before + pd.Timedelta(hours=3)
    mended: pd.Series = forward.where(~gap | moved.isna(), moved)
    return mended


def _second_pass(wall: pd.Series, twice: pd.Series, *, record: bool) -> pd.Series:
    """Mark which of the doubtful times come after the clock had gone back over them."""
    second = pd.Series(data=False, index=wall.index)
    doubtful = wall[twice]
    for _, night in doubtful.groupby(doubtful.dt.normalize()):
        step = night.diff()
        back = (step <= pd.Timedelta(0)) if record else (step < pd.Timedelta(0))
        second.loc[night.index] = back.cumsum() > 0
    return second


def _first_row(which: pd.Series) -> int:
    """Give the spreadsheet row of the first cell that is marked."""
    return int(which.index.to_numpy()[int(np.argmax(which.to_numpy()))])


def _where(which: pd.Series, asked: Asked) -> dict[str, Any]:
    """Name the file, the column and the rows that are marked."""
    rows = which[which].index.tolist()
    return {"file": asked.where, "column": asked.column, "count": len(rows), "rows": rows}


def _unread(cells: pd.Series, local: pd.Series, asked: Asked) -> tuple[Note, ...]:
    unread = local.isna() & ~is_nothing(cells)
    if not unread.any():
        return ()
    if local.notna().sum() == 0:
        row = _first_row(unread)
        what = f"{cells[row]!r} is not a date with a time, nor is any other of the column"
        remedy = "Write it as 2026-07-14 13:05"
        raise DataError(Problem(asked.where, what, remedy, row=row, column=asked.column))
    return (Note.of("times_unread", "caution", **_where(unread, asked)),)
