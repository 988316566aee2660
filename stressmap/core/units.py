"""Conversions between what people write and what the program works in (SI and bar).

Factors are exact by definition where the unit is: inch 25.4 mm, mile 5,280 feet, US gallon 231 cubic inches,
acre 43,560 square feet, pound-force per square inch 6894.757 Pa (NIST Special Publication 811, appendix B;
from memory).
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Iterable
from functools import cache
from typing import Literal

BAR_PER: dict[str, float] = {"bar": 1.0, "MPa": 10.0, "kPa": 0.01, "psi": 0.06894757293168361}
"""Bars in one of each pressure unit that a readings file may use."""

M2_PER_HA = 10_000.0
HA_PER_ACRE = 0.40468564224
MM_PER_INCH = 25.4
M3_PER_GALLON = 0.003785411784
M_PER_FOOT = 0.3048
M_S_PER_MPH = 5280.0 * M_PER_FOOT / 3600.0
M3_PER: dict[str, float] = {
    "m3": 1.0,
    "ML": 1000.0,
    "acre-ft": 43_560.0 * M_PER_FOOT**3,
    "acre-in": 43_560.0 * M_PER_FOOT**3 / 12.0,
}
"""Cubic metres in one of each volume unit."""

M3_H_PER: dict[str, float] = {"m3/h": 1.0, "L/s": 3.6, "gpm": M3_PER_GALLON * 60.0}
"""Cubic metres an hour in one of each flow unit."""

MM_PER: dict[str, float] = {"mm": 1.0, "in": MM_PER_INCH}
"""Millimetres in one of each unit of depth."""

M3_PER_HA_MM = M2_PER_HA / 1000.0
"""Cubic metres in one millimetre over one hectare."""

NUMBER = re.compile(
    r"[-+]?[0-9](?:[0-9_]|[ \u00a0\u202f](?=[0-9]{3}(?![0-9])))*(?:[.,][0-9]*)*(?:[eE][-+]?[0-9]+)?"
)
"""A number as people write it: thousands may be parted by a space or an underscore."""

System = Literal["us", "metric"]


def usual_unit(units: Iterable[object]) -> str:
    """Tell the unit that most readings were written in, which is the one on the crew's gauge.

    Parameters
    ----------
    units : iterable of str or None
        Of each reading.

    Returns
    -------
    str
        ``"bar"`` where none is known.

    Examples
    --------
    >>> usual_unit(["psi", "psi", "bar"]), usual_unit([None])
    ('psi', 'bar')
    """
    counted = Counter(unit for unit in units if isinstance(unit, str))
    return counted.most_common(1)[0][0] if counted else "bar"


def read_quantity(text: str, units: dict[str, float]) -> float:
    """Read a number with its unit.

    Parameters
    ----------
    text : str
        ``"80000 m3"``; upper and lower case of a unit differ only where the units do.
    units : dict of str to float
        Units that may be written, and how much of the base unit is in one of each.

    Returns
    -------
    float
        In the base unit.

    Raises
    ------
    ValueError
        If it is no number, has no known unit, or has a point or comma that could be a decimal sign or part
        thousands.

    Examples
    --------
    >>> read_quantity("80 ML", M3_PER), read_quantity("80 000 m3", M3_PER)
    (80000.0, 80000.0)
    >>> read_quantity("12,5 ML", M3_PER)
    12500.0
    >>> round(read_quantity("800 gpm", M3_H_PER), 2)
    181.7
    """
    found = re.fullmatch(rf"\s*({NUMBER.pattern})\s*([A-Za-z].*?)\s*", text)
    if found is None:
        example = f"1200.5 {next(iter(units))}"
        msg = f"{text!r} is not a number with a unit; write it with {', '.join(units)}, as {example}"
        raise ValueError(msg)
    number, unit = re.sub(r"[\s_]", "", found[1]), found[2]
    if unit not in units:
        near = {u.lower(): u for u in units}.get(unit.lower(), ", ".join(units))
        msg = f"{text!r} has no known unit; write it with {near}"
        raise ValueError(msg)
    _refuse_two_readings(text, number, unit)
    return float(number.replace(",", ".")) * units[unit]


def _refuse_two_readings(text: str, number: str, unit: str) -> None:
    """Refuse a number of which nobody can tell whether a sign parts thousands or decimals."""
    marks = re.findall(r"[.,]", number)
    whole = re.sub(r"[.,]", "", number)
    if len(marks) > 1:
        msg = f"{text!r} has more than one point or comma; write thousands without a sign, as 80000 {unit}"
        raise ValueError(msg)
    # A group of thousands never follows a leading zero or more than three digits.
    if re.fullmatch(r"[-+]?[1-9][0-9]{0,2}[.,][0-9]{3}", number):
        decimal = number.replace(",", ".")
        small = f"{float(decimal):g}" if decimal.endswith(".000") else decimal + "0"
        msg = f"{text!r} could be {whole} or {float(decimal):g}; write {whole} {unit} or {small} {unit}"
        raise ValueError(msg)


def parse_month_day(text: str) -> tuple[int, int]:
    """Read a day of the year written ``MM-DD``.

    Parameters
    ----------
    text : str
        Month and day, ``"05-01"`` for 1 May.

    Returns
    -------
    tuple of int
        Month and day.

    Raises
    ------
    ValueError
        If it is no day of a leap year.

    Examples
    --------
    >>> parse_month_day("05-01")
    (5, 1)
    """
    try:
        return _month_day(text)
    except (ValueError, TypeError) as error:
        msg = f'{text!r} is not a day of the year; write month and day as "05-01"'
        raise ValueError(msg) from error


@cache
def _month_day(text: str) -> tuple[int, int]:
    """Read a day of the year; the few days of the crops' curves come again for every valve."""
    day = dt.datetime.strptime(f"2024-{text}", "%Y-%m-%d").replace(tzinfo=dt.UTC)
    return day.month, day.day


def fahrenheit_to_celsius(temp_f: float) -> float:
    """Convert a temperature.

    Parameters
    ----------
    temp_f : float or array of float
        Temperature [°F].

    Returns
    -------
    float or array of float
        Temperature [°C].

    Examples
    --------
    >>> fahrenheit_to_celsius(212.0)
    100.0
    """
    return (temp_f - 32.0) / 1.8
