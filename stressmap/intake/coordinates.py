"""Text -> WGS 84 degrees: decimal, degrees-minutes(-seconds), or projected metres or feet with a CRS."""

from __future__ import annotations

import re
import warnings

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError, ProjError

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.intake.columns import Table
from stressmap.intake.numbers import is_nothing, parse_numbers
from stressmap.intake.unit_headings import normal

MOST_CRS = 20
"""A crew has one or two phones; each CRS takes some time to look up."""
_SIDES = {"n": 1.0, "s": -1.0, "e": 1.0, "w": -1.0, "o": -1.0}
_NUMBER = r"\d+(?:[.,]\d+)?"
_ANGLE = re.compile(
    rf"(?P<before>[nsewo])?\s*(?P<sign>[+-])?\s*(?P<d>{_NUMBER})\s*(?:[°ºd:\s]\s*"
    rf"(?:(?P<m>{_NUMBER})\s*(?:['m:\s]\s*(?:(?P<s>{_NUMBER})\s*(?:\"|''|s(?![a-z])|\s)?)?)?)?)?\s*(?P<after>[nsewo])?"
)
_PRIMES = str.maketrans(
    {"\u2032": "'", "\u2019": "'", "\u00b4": "'", "\u2033": '"', "\u201d": '"', "\u2212": "-", "\u00a0": " "}
)
_WORDS = re.compile(r"\b(north|norte|south|sur|east|este|west|oeste)\b")
_LETTER = {"north": "n", "norte": "n", "south": "s", "sur": "s", "east": "e", "este": "e", "west": "w"}


def read_place(table: Table, crs: str | None) -> Noted[tuple[pd.Series, pd.Series]]:
    """Read where the rows of a table are.

    Parameters
    ----------
    table : Table
        With ``lon`` and ``lat``, or one ``position`` of both, or ``x`` and ``y``; ``crs`` optional.
    crs : str, optional
        Of ``x`` and ``y`` where the row says none.

    Returns
    -------
    Noted of lon, lat : Series of float
        WGS 84 degrees as written (they may be swapped), NaN where there is none; 0, 0 counts as none.

    Raises
    ------
    DataError
        If there are no such columns, a cell is no coordinate, or a CRS is missing or unknown.
    """
    notes = NoteList()
    if table.has("lon") and table.has("lat"):
        lon, lat = _angles(table, "lon"), _angles(table, "lat")
        _refuse_projected(table, lon, lat)
    elif table.has("position"):
        lon, lat = _pairs(table)
    elif table.has("x") and table.has("y"):
        lon, lat = notes.keep(_projected(table, crs))
    else:
        what = "no columns are recognised as coordinates (lon and lat, or x and y)"
        remedy = 'Add them, or name them under [columns], "your heading" = "lon"'
        raise DataError(Problem(table.where, what, remedy))
    nowhere = (lon.isna() | lat.isna()) | ((lon == 0) & (lat == 0))
    return notes.beside((lon.mask(nowhere), lat.mask(nowhere)))


def parse_angle(text: str) -> float:
    r"""Read one coordinate.

    Parameters
    ----------
    text : str
        Decimal degrees, degrees and minutes, or degrees, minutes and seconds; sign or letter of the side
        of the world (``O`` is west, oeste).

    Returns
    -------
    float
        Degrees, NaN if it is none.

    Examples
    --------
    >>> parse_angle("121° 30' 36\" W"), parse_angle("38 12.6"), parse_angle("121,51 O"), parse_angle("x")
    (-121.51, 38.21, -121.51, nan)
    """
    tidy = _WORDS.sub(lambda m: _LETTER.get(m[0], "o"), text.translate(_PRIMES).lower().strip())
    found = _ANGLE.fullmatch(tidy)
    if not found or (found["before"] and found["after"]):
        return float("nan")
    degrees, minutes, seconds = (float((found[g] or "0").replace(",", ".")) for g in "dms")
    if minutes >= 60 or seconds >= 60 or (found["m"] and degrees % 1) or (found["s"] and minutes % 1):
        return float("nan")
    side = _SIDES.get(found["before"] or found["after"] or "", 1.0) * (-1.0 if found["sign"] == "-" else 1.0)
    return round(side * (degrees + minutes / 60 + seconds / 3600), 9)


def _angles(table: Table, name: str) -> pd.Series:
    cells = table.columns[name]
    value, bad = parse_numbers(cells, comma=True)
    if bad.any():
        value = value.copy()
        value[bad] = cells[bad].map(parse_angle).astype(float)
        bad = value.isna() & ~is_nothing(cells)
    table.refuse(name, bad, "is not a coordinate", "Write degrees as -121.51, or leave the cell empty")
    # under "Longitude (W)" or "Latitud (S)" people leave the minus sign away
    negative = normal(table.headings[name]).endswith({"lon": ("_w", "_o"), "lat": ("_s",)}[name])
    return -value.abs() if negative else value


def _pairs(table: Table) -> tuple[pd.Series, pd.Series]:
    """Split one column of ``latitude, longitude``, as phone maps copy it."""
    cells = table.columns["position"].str.strip("()[] ")
    lat, lon = (
        cells.str.extract(r"^(.+?)\s*[,;]\s+(.+)$|^([^,;]+)[,;]([^,;]+)$")[[i, i + 2]] for i in (0, 1)
    )
    sides = [part.iloc[:, 0].fillna(part.iloc[:, 1]).fillna("") for part in (lat, lon)]
    values = [parse_numbers(side, comma=True)[0] for side in sides]
    lat_deg, lon_deg = (
        v.fillna(s.map(parse_angle)).astype(float) for v, s in zip(values, sides, strict=True)
    )
    bad = (lat_deg.isna() | lon_deg.isna()) & ~is_nothing(cells)
    table.refuse("position", bad, "is not a latitude and a longitude", "Write it as 38.21, -121.51")
    return lon_deg, lat_deg


def _refuse_projected(table: Table, lon: pd.Series, lat: pd.Series) -> None:
    """Refuse metres under a heading of degrees; degrees that are merely swapped pass."""
    far = (lon.abs() > 180) | (lat.abs() > 180)
    name = "lon" if (lon.abs() > 180).any() else "lat"
    remedy = 'If these are metres or feet, call the columns x and y and say [reading] crs = "EPSG:..."'
    table.refuse(name, far, "is not in degrees", remedy)


def _projected(table: Table, crs: str | None) -> Noted[tuple[pd.Series, pd.Series]]:
    notes = NoteList()
    x = table.numbers("x", wanted="the coordinate as a number")
    y = table.numbers("y", wanted="the coordinate as a number")
    written = table.text("crs")
    stated = written.where(written.notna(), crs or "").map(_code)
    placed = x.notna() & y.notna()
    if (stated[placed] == "").any():
        if not ((x.abs() <= 180) & (y.abs() <= 90))[placed].all():
            what = "x and y have no coordinate reference system (CRS)"
            remedy = 'Say [reading] crs = "EPSG:32610" (or what it is), or add a column crs'
            raise DataError(Problem(table.where, what, remedy, column=table.headings["x"]))
        notes.say("degrees_without_crs", file=table.where)
        stated = stated.replace("", "EPSG:4326")
    lon, lat = pd.Series(np.nan, index=x.index), pd.Series(np.nan, index=x.index)
    heading = table.headings.get("crs", "crs")
    if stated[placed].nunique() > MOST_CRS:
        what = f"it names more than {MOST_CRS} coordinate reference systems (CRS)"
        raise DataError(Problem(table.where, what, "Give the coordinates in one of them", column=heading))
    for code, rows in stated[placed].groupby(stated[placed]).groups.items():
        given = x.loc[rows].to_numpy(), y.loc[rows].to_numpy()
        lon.loc[rows], lat.loc[rows] = degrees(*given, str(code), table.where, heading)
    return notes.beside((lon, lat))


def _code(text: str) -> str:
    digits = text.removesuffix(".0")
    return f"EPSG:{digits}" if digits.isdigit() else text


def degrees(
    x: NDArray[np.float64], y: NDArray[np.float64], crs: str, where: str, column: str
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Bring coordinates of a named CRS into WGS 84.

    Parameters
    ----------
    x, y : array of float, shape (n,)
        Easting and northing, or longitude and latitude, in the CRS's own unit.
    crs : str
        As a person names it, ``EPSG:2226``.
    where, column : str
        File and column that name the CRS, for the message.

    Returns
    -------
    lon, lat : array of float, shape (n,)
        Degrees, NaN where the CRS does not reach.

    Raises
    ------
    DataError
        If the CRS is not known.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # an old way of writing a CRS is no news to a crew
            change = Transformer.from_crs(CRS.from_user_input(crs), "EPSG:4326", always_xy=True)
        lon, lat = change.transform(x, y)
    except (CRSError, ProjError):
        remedy = 'Write an EPSG code such as "EPSG:32610"'
        raise DataError(Problem(where, f"{crs!r} is not a CRS", remedy, column=column)) from None
    reached = np.isfinite(lon) & np.isfinite(lat)
    return np.where(reached, lon, np.nan), np.where(reached, lat, np.nan)
