"""May this reading be used? One small function per flag code, and one table of them.

Every check looks at every reading, whatever the others found; what a check does with what it finds (mend,
leave out, only mark) stands beside it in :data:`CHECKS`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import CRS

from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_names import row_names
from stressmap.core.settings import FLAG_CODES, Reading, Settings
from stressmap.quality.locate_readings import place
from stressmap.quality.repeated_rows import entered_twice
from stressmap.quality.tree_identity import tree_codes
from stressmap.quality.unit_suspect import unit_doubts

Mask = NDArray[np.bool_]
Action = Literal["mend", "leave out", "mark"]


@dataclass(frozen=True)
class PlacedReadings:
    """What a check looks at.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.
    placed : GeoDataFrame
        What :func:`stressmap.quality.locate_readings.place` found, indexed alike.
    crop : Series of str
        Crop of the block a reading is in, None where it is in none.
    tree : Series of int
        Tree codes.
    reading : settings.Reading
        Thresholds.
    visit : tuple of date
        First and last day of the visit.
    """

    readings: pd.DataFrame
    placed: gpd.GeoDataFrame
    crop: pd.Series
    tree: pd.Series
    reading: Reading
    visit: tuple[dt.date, dt.date]

    @property
    def tension_bar(self) -> NDArray[np.float64]:
        """Balance pressure, whatever sign it was written with [bar]."""
        return self.readings["pressure_bar"].abs().to_numpy(float)

    @property
    def minute(self) -> NDArray[np.float64]:
        """Local clock as a watch shows it [minutes since midnight], NaN without a time."""
        clock = self.readings["time"].dt
        return np.asarray(clock.hour * 60 + clock.minute, dtype=float)

    @cached_property
    def unit_doubts(self) -> tuple[Mask, Mask]:
        """Readings in another unit, and those that may well be that dry: each crop and day by itself."""
        tension = self.tension_bar
        xy = np.column_stack([self.placed.geometry.x, self.placed.geometry.y])
        usable = np.isfinite(tension) & (tension > 0)
        block = pd.factorize(self.placed["block"])[0]
        day = self.readings["time"].dt.date.astype(str)
        suspect, dry = np.zeros((2, len(tension)), dtype=bool)
        groups = (self.crop.fillna("").astype(str) + day)[usable]
        for _, rows in groups.groupby(groups.to_numpy()).indices.items():
            index = np.flatnonzero(usable)[rows]
            suspect[index], dry[index] = unit_doubts(tension[index], xy[index], block[index])
        return suspect, dry


def no_value(case: PlacedReadings) -> Mask:
    """Find readings without a pressure."""
    return ~np.isfinite(case.tension_bar)


def no_place(case: PlacedReadings) -> Mask:
    """Find readings without coordinates, or with coordinates of nowhere on earth."""
    return np.asarray(case.placed.geometry.isna())


def no_time(case: PlacedReadings) -> Mask:
    """Find readings without a date and clock time that can be read."""
    return np.asarray(case.readings["time"].isna())


def outside_blocks(case: PlacedReadings) -> Mask:
    """Find readings further from every block than ``gps_m``."""
    return np.asarray(case.placed["outside"], dtype=bool)


def near_boundary(case: PlacedReadings) -> Mask:
    """Find readings whose block or valve zone the GPS leaves open, or the crew contradicts."""
    return np.asarray(case.placed["near_boundary"], dtype=bool)


def outside_window(case: PlacedReadings) -> Mask:
    """Find readings before or after the hours in which the tables of the trade hold."""
    first, last = ((t.hour * 60 + t.minute + t.second / 60) for t in case.reading.window)
    with np.errstate(invalid="ignore"):
        return (case.minute < first) | (case.minute > last)


def short_bag(case: PlacedReadings) -> Mask:
    """Find leaves that were bagged for less than ``bag_minutes``, or after they were read."""
    return np.asarray(case.readings["bag_minutes"] < case.reading.bag_minutes)


def recheck_apart(case: PlacedReadings) -> Mask:
    """Find second end points further than ``recheck_bar`` from the first."""
    gap = np.abs(case.readings["recheck_bar"].abs().to_numpy(float) - case.tension_bar)
    return np.asarray(gap > case.reading.recheck_bar + 1e-9)


def duplicate(case: PlacedReadings) -> Mask:
    """Find rows entered twice: same tree, minute, pressure, leaf, chamber and crew as a row above.

    Another pressure, minute or leaf makes it a true repeat. A row that lacks leaf, chamber or crew counts
    as the same when all else agrees, and so does one in another unit whose pressure is the same but for
    rounding.
    """
    told = case.readings["tree_id"].notna() | case.readings["lon"].notna()
    key = pd.DataFrame(
        {
            "tree": case.tree,
            "minute": case.readings["time"].dt.tz_convert("UTC").dt.floor("min"),
            "pressure": case.readings["pressure_bar"].abs().round(3),
        }
    )
    return entered_twice(key[told], case.readings)


def impossible_value(case: PlacedReadings) -> Mask:
    """Find pressures below or above what a tree can show (``possible_bar``)."""
    least, most = case.reading.possible_bar
    with np.errstate(invalid="ignore"):
        return (case.tension_bar < least) | (case.tension_bar > most)


def unit_suspect(case: PlacedReadings) -> Mask:
    """Find readings that their neighbours of the same crop and day show to be in another unit."""
    return case.unit_doubts[0]


def lonlat_swapped(case: PlacedReadings) -> Mask:
    """Find coordinates that lie on the ranch only when longitude and latitude change places."""
    return np.asarray(case.placed["swapped"], dtype=bool)


def sign_read_as_potential(case: PlacedReadings) -> Mask:
    """Find negative figures; they are potentials, not balance pressures."""
    return np.asarray(case.readings["pressure_bar"] < 0)


def outside_visit(case: PlacedReadings) -> Mask:
    """Find readings of other days than the visit's."""
    day = case.readings["time"].dt.tz_localize(None)
    first, last = (pd.Timestamp(d) for d in case.visit)
    return np.asarray((day < first) | (day >= last + pd.Timedelta(days=1)))


@dataclass(frozen=True)
class Check:
    """One line of the table of checks.

    Parameters
    ----------
    find : callable, optional
        Of a :class:`PlacedReadings`, which readings; None where it needs the fitted surface: what all others
        contradict is left out then, what is far from them but borne out is marked (:func:`mark_unlike`).
    action : str
        ``"mend"`` (mended and used), ``"leave out"`` or ``"mark"`` (used as it is).
    """

    find: Callable[[PlacedReadings], Mask] | None
    action: Action


CHECKS: dict[str, Check] = {
    "no_value": Check(no_value, "leave out"),
    "no_place": Check(no_place, "leave out"),
    "no_time": Check(no_time, "leave out"),
    "outside_blocks": Check(outside_blocks, "leave out"),
    "near_boundary": Check(near_boundary, "mark"),
    "outside_window": Check(outside_window, "leave out"),
    "short_bag": Check(short_bag, "leave out"),
    "recheck_apart": Check(recheck_apart, "leave out"),
    "duplicate": Check(duplicate, "leave out"),
    "impossible_value": Check(impossible_value, "leave out"),
    "unit_suspect": Check(unit_suspect, "leave out"),
    "lonlat_swapped": Check(lonlat_swapped, "mend"),
    "sign_read_as_potential": Check(sign_read_as_potential, "mend"),
    "unlike_neighbours": Check(None, "leave out"),
    "outside_visit": Check(outside_visit, "leave out"),
}
"""Flag code -> what finds it and what follows, in the order of :data:`FLAG_CODES`."""

ESSENTIAL = frozenset({"no_value", "no_place", "outside_blocks"})
"""What ``[reading] keep`` cannot bring back: there is nothing, or nowhere, to map."""


def assess(
    readings: pd.DataFrame,
    blocks: gpd.GeoDataFrame,
    valves: gpd.GeoDataFrame,
    settings: Settings,
    visit: tuple[dt.date, dt.date],
    crs: CRS | str,
) -> Noted[gpd.GeoDataFrame]:
    """Check every reading, mend what is plainly mendable, and say which may be used.

    Parameters
    ----------
    readings : DataFrame
        As ``core.schemas.READINGS``.
    blocks, valves : GeoDataFrame
        As ``core.schemas`` states, in the working CRS; valves with their block resolved.
    settings : Settings
        ``[reading]`` is used.
    visit : tuple of date
        First and last day of the visit.
    crs : pyproj.CRS or str
        The working CRS.

    Returns
    -------
    Noted of GeoDataFrame
        Every row in its order: the columns of ``READINGS`` with ``block``, ``valve``, ``lon``, ``lat``
        resolved and mended, ``geometry`` (None where there is no place), ``crop`` (of the block), ``tree``
        (code), ``swp_bar`` (negative, NaN where there is no value), ``flags`` (tuple of codes in the
        order of :data:`FLAG_CODES`), ``used``.

    Raises
    ------
    DataError
        If blocks or valves are not in the working CRS.
    """
    _refuse_mismatch(blocks, valves, crs)
    located = place(readings, blocks, valves, settings.reading)
    placed = located.value
    crops = dict(zip(blocks["block"], blocks["crop"], strict=True))
    table = readings.assign(**{name: placed[name] for name in ("block", "valve", "lon", "lat")})
    case = PlacedReadings(
        readings=readings,
        placed=placed,
        crop=placed["block"].map(crops, na_action="ignore"),
        tree=tree_codes(table),
        reading=settings.reading,
        visit=visit,
    )
    masks = {code: check.find(case) for code, check in CHECKS.items() if check.find}
    table = table.assign(crop=case.crop, tree=case.tree, swp_bar=-case.tension_bar, used=True)
    table["flags"] = pd.Series(_flags(masks), index=table.index, dtype=object)
    table["used"] = _used(masks, placed, settings.reading.keep)
    notes = NoteList(located.notes)
    dry = table[table["used"] & case.unit_doubts[1]]
    if len(dry):
        notes.say("dry_trees_agree", "warning", count=len(dry), rows=row_names(table)[dry.index].tolist())
    return notes.beside(gpd.GeoDataFrame(table, geometry=placed.geometry, crs=blocks.crs))


def _refuse_mismatch(blocks: gpd.GeoDataFrame, valves: gpd.GeoDataFrame, crs: CRS | str) -> None:
    for table, name in ((blocks, "blocks"), (valves, "valves")):
        if table.crs is None or CRS(table.crs) != CRS(crs):
            what = "they are not in the working CRS"
            raise DataError(Problem(name, what, "Bring all tables into one projected CRS first"))


def _flags(masks: dict[str, Mask]) -> list[tuple[str, ...]]:
    """Collect codes per reading, in the order of :data:`FLAG_CODES`."""
    codes = [code for code in FLAG_CODES if code in masks]
    marked = np.column_stack([masks[code] for code in codes])
    flags: list[tuple[str, ...]] = [()] * len(marked)
    for at in np.flatnonzero(marked.any(axis=1)):
        flags[at] = tuple(code for code, on in zip(codes, marked[at], strict=True) if on)
    return flags


def _used(masks: dict[str, Mask], placed: gpd.GeoDataFrame, keep: tuple[str, ...]) -> Mask:
    used = np.asarray(placed["block"].notna())
    for code, mask in masks.items():
        if CHECKS[code].action == "leave out" and (code in ESSENTIAL or code not in keep):
            used = used & ~mask
    return used


def usable(flags: list[tuple[str, ...]], block: pd.Series, keep: tuple[str, ...]) -> Mask:
    """Tell which readings their flags let be used.

    Parameters
    ----------
    flags : list of tuple of str, length n
        Codes of each.
    block : Series, length n
        Where each belongs, None where nowhere.
    keep : tuple of str
        ``[reading] keep``.

    Returns
    -------
    array of bool, shape (n,)
    """
    out = {
        code
        for code, check in CHECKS.items()
        if check.action == "leave out" and (code in ESSENTIAL or code not in keep)
    }
    return np.array([not out.intersection(codes) for codes in flags], dtype=bool) & block.notna().to_numpy()


def mark_unlike(
    flags: list[tuple[str, ...]], z_scores: NDArray[np.float64], threshold: float
) -> list[tuple[str, ...]]:
    """Add ``unlike_neighbours`` to readings far from what the others predict.

    Parameters
    ----------
    flags : list of tuple of str, length n
        Codes so far.
    z_scores : array of float, shape (n,)
        Leave-one-out (reading - predicted) / its standard error; NaN where there is none.
    threshold : float
        ``[reading] unlike_z``.

    Returns
    -------
    list of tuple of str, length n

    Examples
    --------
    >>> mark_unlike([(), ("near_boundary",)], np.array([-4.2, np.nan]), 3.5)
    [('unlike_neighbours',), ('near_boundary',)]
    """
    return with_unlike(flags, np.abs(z_scores) > threshold)


def with_unlike(flags: list[tuple[str, ...]], unlike: Mask) -> list[tuple[str, ...]]:
    """Add ``unlike_neighbours`` to some readings.

    Parameters
    ----------
    flags : list of tuple of str, length n
        Codes so far.
    unlike : array of bool, shape (n,)
        Which.

    Returns
    -------
    list of tuple of str, length n
    """
    marked = []
    for codes, on in zip(flags, unlike, strict=True):
        held = {*codes, "unlike_neighbours"} if on else set(codes)
        marked.append(tuple(code for code in FLAG_CODES if code in held))
    return marked
