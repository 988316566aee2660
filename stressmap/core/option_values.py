"""What stands behind the options of a command, read; what cannot be read is said in a sentence."""

from __future__ import annotations

import datetime as dt
from typing import Literal


def day_of(text: str) -> dt.date:
    """Read a day.

    Parameters
    ----------
    text : str
        As ``2026-07-14``.

    Returns
    -------
    date

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> day_of("2026-07-14")
    datetime.date(2026, 7, 14)
    """
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        msg = f"{text!r} is not a date; write it as 2026-07-14"
        raise ValueError(msg) from None


def clock_of(text: str) -> dt.time:
    """Read an hour of the day.

    Parameters
    ----------
    text : str
        As ``13:00``.

    Returns
    -------
    time

    Raises
    ------
    ValueError
        If it is none.

    Examples
    --------
    >>> clock_of("9:30")
    datetime.time(9, 30)
    """
    try:
        return dt.time.fromisoformat(text.rjust(5, "0"))
    except ValueError:
        msg = f"{text!r} is no hour; write it as 13:00"
        raise ValueError(msg) from None


def volume_of(text: str) -> float:
    """Read a volume of water.

    Parameters
    ----------
    text : str
        Number and unit.

    Returns
    -------
    float
        [m3].

    Raises
    ------
    ValueError
        If it is none, or not over zero.

    Examples
    --------
    >>> volume_of("2 ML")
    2000.0
    """
    from stressmap.core.units import M3_PER, read_quantity

    volume = read_quantity(text, M3_PER)
    if volume <= 0:
        msg = f"{text!r} is no water; write a volume over zero"
        raise ValueError(msg)
    return volume


def language_of(text: str) -> Literal["en", "es"]:
    """Read a language of the papers.

    Parameters
    ----------
    text : str
        ``"en"`` or ``"es"``.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If it is another one.

    Examples
    --------
    >>> language_of("es")
    'es'
    """
    if text == "en":
        return "en"
    if text == "es":
        return "es"
    msg = f"{text!r} is no language of the papers; write en or es"
    raise ValueError(msg)
