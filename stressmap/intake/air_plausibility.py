"""Temperature and humidity as people and stations write them -> figures that air can have.

What is plainly mendable (a Fahrenheit column under a Celsius heading, humidity as a fraction) is mended; what
no air can have is left out. Either is said, with its rows.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from stressmap.core.arrays import Floats
from stressmap.core.notes import Note, Noted, NoteList

COLDEST_C, HOTTEST_C = -40.0, 57.0
"""Air temperatures [°C] that are believed; the highest on record is 56.7."""
HOTTEST_F = 135.0
"""The same record in Fahrenheit; a value beyond it is that of a broken sensor."""
HOT_AFTERNOON_C = 48.0
"""No visit and no record has half its values over this [°C]."""
DRIEST_PCT = 1.0
"""Below this a sensor is dead; no orchard's air is so dry."""
SATURATED_PCT = 105.0
"""Up to here a sensor in saturated air may read; it is taken as 100 %."""


_DEGREES = re.compile(r"^(.*?)\s*(?:[°º˚]|deg(?:rees)?\.?|grados)?\s*([CFcf])?\.?$")


@dataclass(frozen=True)
class Origin:
    """Where some air comes from, for what must be said of it.

    Parameters
    ----------
    where : str
        File.
    rows : array of int, shape (n,)
        Rows as a spreadsheet shows them.
    temperature, humidity : str
        The columns as the file spells them.
    """

    where: str
    rows: NDArray[np.int64]
    temperature: str = "temp_c"
    humidity: str = "rh_pct"

    def cells(self, column: str, which: NDArray[np.bool_]) -> dict[str, Any]:
        """Name some rows of a column, for a note.

        Parameters
        ----------
        column : str
            As the file spells it.
        which : array of bool, shape (n,)
            The rows.

        Returns
        -------
        dict
            ``file``, ``column``, ``count`` and ``rows``.
        """
        rows = self.rows[which].tolist()
        return {"file": self.where, "column": column, "count": len(rows), "rows": rows}


def split_degrees(cells: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Part the number from the unit that a cell states itself.

    Parameters
    ----------
    cells : Series of str, shape (n,)
        Such as "34", "34 °C" or "93F".

    Returns
    -------
    number : Series of str, shape (n,)
        What stands before the unit.
    unit : Series, shape (n,)
        ``"C"``, ``"F"`` or None.

    Examples
    --------
    >>> number, unit = split_degrees(pd.Series(["34 °C", "93F", "31,5"]))
    >>> number.tolist(), unit.tolist()
    (['34', '93', '31,5'], ['C', 'F', None])
    """
    found = [_DEGREES.match(cell) for cell in cells]
    number = [m[1] if m else cell for m, cell in zip(found, cells, strict=True)]
    unit = [m[2].upper() if m and m[2] else None for m in found]
    return pd.Series(number, index=cells.index, dtype=object), pd.Series(
        unit, index=cells.index, dtype=object
    )


def celsius(value: pd.Series, unit: pd.Series, heading: str | None) -> Floats:
    """Turn degrees into Celsius: the unit in a cell goes before that of the heading.

    Parameters
    ----------
    value : Series of float, shape (n,)
        As written.
    unit : Series, shape (n,)
        From :func:`split_degrees`.
    heading : str or None
        ``"C"``, ``"F"``, or None where the heading states none.

    Returns
    -------
    array of float, shape (n,)
        [°C], as far as units are stated.

    Examples
    --------
    >>> celsius(pd.Series([95.0, 35.0]), pd.Series([None, "C"]), "F").round(1).tolist()
    [35.0, 35.0]
    """
    stated = unit.where(unit.notna(), heading)
    american = (stated == "F").to_numpy(bool)
    degrees = value.to_numpy(np.float64)
    return np.where(american, (degrees - 32.0) / 1.8, degrees)


def mend_temperature(temp_c: ArrayLike, origin: Origin, *, each: bool = False) -> Noted[Floats]:
    """Make temperatures plausible: a Fahrenheit column converted, the impossible left out.

    A record is Fahrenheit as a whole where one value in ten, or the middle one, is hotter than air gets in
    Celsius. Readings of a visit are all of the afternoon, so that each value tells for itself (``each``).

    Parameters
    ----------
    temp_c : array of float, shape (n,)
        As written under a Celsius heading; NaN where none.
    origin : Origin
        File, rows and column.
    each : bool
        Whether every value is looked at by itself, for a column that several people wrote.

    Returns
    -------
    Noted of array of float, shape (n,)
        [°C], -40 to 57, or NaN; what was mended or left out is said.

    Examples
    --------
    >>> origin = Origin("weather.csv", np.array([2, 3]))
    >>> mend_temperature([95.0, 104.0], origin).value.tolist()
    [35.0, 40.0]
    >>> mend_temperature([95.0, 34.0], origin, each=True).value.tolist()
    [35.0, 34.0]
    """
    temp = np.array(temp_c, dtype=np.float64)
    known = temp[np.isfinite(temp) & (temp > -100.0) & (temp < HOTTEST_F)]
    mixed = each and len(known) > 0 and known.min() <= HOT_AFTERNOON_C and known.max() > HOTTEST_C
    notes = NoteList()
    if mixed:
        american = (temp > HOT_AFTERNOON_C) & (temp < HOTTEST_F)
        notes.say("air_fahrenheit_cells", "caution", **origin.cells(origin.temperature, american))
        believed = notes.keep(_believed(temp, ~american, origin))
        return notes.beside(np.where(american, (temp - 32.0) / 1.8, believed))
    if len(known) and ((known > HOTTEST_C).mean() >= 0.1 or np.median(known) > HOT_AFTERNOON_C):
        column = {"file": origin.where, "column": origin.temperature}
        notes.say("air_fahrenheit_column", "caution", middle=np.median(known), **column)
        temp = (temp - 32.0) / 1.8
    return notes.beside(notes.keep(_believed(temp, np.ones(len(temp), dtype=bool), origin)))


def _believed(temp: Floats, which: NDArray[np.bool_], origin: Origin) -> Noted[Floats]:
    wrong = which & ((temp < COLDEST_C) | (temp > HOTTEST_C))
    if not wrong.any():
        return Noted(temp)
    note = Note.of("air_no_temperature", "caution", **origin.cells(origin.temperature, wrong))
    return Noted(np.where(wrong, np.nan, temp), (note,))


def mend_humidity(rh_pct: ArrayLike, origin: Origin) -> Noted[Floats]:
    """Make humidities plausible: fractions to per cent, a little over 100 to 100, the impossible left out.

    Parameters
    ----------
    rh_pct : array of float, shape (n,)
        As written; NaN where none.
    origin : Origin
        File, rows and column.

    Returns
    -------
    Noted of array of float, shape (n,)
        [%], 1 to 100, or NaN; what was mended or left out is said.

    Examples
    --------
    >>> origin = Origin("weather.csv", np.array([2, 3, 4]))
    >>> mend_humidity([0.25, 0.4, -9.99], origin).value.tolist()
    [25.0, 40.0, nan]
    >>> mend_humidity([25.0, 101.0, -5.0], origin).value.tolist()
    [25.0, 100.0, nan]
    """
    humidity = np.array(rh_pct, dtype=np.float64)
    known = humidity[np.isfinite(humidity) & (humidity >= 0.0)]
    notes = NoteList()
    if len(known) and 0.0 < known.max() <= SATURATED_PCT / 100.0:
        column = {"file": origin.where, "column": origin.humidity}
        notes.say("air_humidity_fractions", "caution", highest=known.max(), **column)
        humidity = humidity * 100.0
    wrong = (humidity < DRIEST_PCT) | (humidity > SATURATED_PCT)
    if wrong.any():
        notes.say("air_no_humidity", "caution", **origin.cells(origin.humidity, wrong))
    return notes.beside(np.where(wrong, np.nan, np.minimum(humidity, 100.0)))
