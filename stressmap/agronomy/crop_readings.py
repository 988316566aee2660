"""The readings of one run with their crops and days: what the figures and the remarks on them look at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.agronomy.crops import CropProfile
from stressmap.agronomy.orchard import Profiles
from stressmap.agronomy.target import calendar_days
from stressmap.core.notes import Note, Noted
from stressmap.core.settings import Settings

Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class CropReadings:
    """Readings beside the blocks they were taken in.

    Parameters
    ----------
    table : DataFrame, n rows
        The readings; the figures are added to it.
    places : DataFrame, n rows
        ``block``, ``crop`` (a key of ``profiles``, or None), ``harvest``, ``planted`` of each reading.
    days : array of datetime64[D], shape (n,)
        Local day of each.
    counted : array of bool, shape (n,)
        Which are used for the map.
    profiles : dict of str to CropProfile
        By crop name.
    settings : Settings
        Of the run.
    """

    table: pd.DataFrame
    places: pd.DataFrame
    days: NDArray[np.datetime64]
    counted: Flags
    profiles: Profiles
    settings: Settings

    def crops(self) -> Iterator[tuple[str, CropProfile, Flags]]:
        """Give each crop that has a reading: name, profile, and which readings are of it."""
        names = self.places["crop"]
        for crop in sorted(names.dropna().unique()):
            yield crop, self.profiles[crop], (names == crop).to_numpy()

    def measured(self) -> list[str]:
        """Give the crops that have a reading that counts, in order."""
        return sorted(self.places.loc[self.counted, "crop"].dropna().unique())

    def blocks_of(self, which: Flags) -> list[str]:
        """Give the names of the blocks that some readings were taken in, in order."""
        return sorted(self.places.loc[which, "block"].dropna().astype(str).unique())


def places_of(names: pd.Series, blocks: pd.DataFrame) -> pd.DataFrame:
    """Look up crop, harvest and year of planting of blocks by name.

    Parameters
    ----------
    names : Series of str, n of them
        Block names; None or an unknown name finds nothing.
    blocks : DataFrame
        ``block``, ``crop`` and, optionally, ``harvest``, ``planted`` and ``variety``.

    Returns
    -------
    DataFrame, n rows
        ``block``, ``crop`` (None where nothing was found), ``harvest``, ``planted`` (NaN where unknown),
        ``variety``.
    """
    wanted = ["block", "crop", "harvest", "planted", "variety"]
    known = pd.DataFrame(blocks).reindex(columns=wanted).set_index("block")
    places = known.reindex(names.to_numpy(object)).reset_index(names="block")
    places["crop"] = places["crop"].astype(object).where(places["crop"].notna(), None)
    return places.assign(planted=places["planted"].astype(float))


def aware_times(table: pd.DataFrame, settings: Settings) -> pd.DatetimeIndex:
    """Give the times of a table on the ranch's clock; a column of nothing but NaT has no zone of its own.

    Parameters
    ----------
    table : DataFrame, n rows
        ``time``.
    settings : Settings
        For the time zone.

    Returns
    -------
    DatetimeIndex, n of them
    """
    times = pd.DatetimeIndex(table["time"])
    zone = settings.ranch.zone
    return times.tz_localize(zone) if times.tz is None else times.tz_convert(zone)


def local_days(table: pd.DataFrame, counted: Flags, settings: Settings) -> Noted[NDArray[np.datetime64]]:
    """Find the local day of each reading; one without a time gets the middle day of those that count.

    Parameters
    ----------
    table : DataFrame, n rows
        ``time``, timezone-aware, NaT where unknown.
    counted : array of bool, shape (n,)
        Which are used for the map.
    settings : Settings
        For the time zone.

    Returns
    -------
    Noted of array of datetime64[D], shape (n,)
        NaT only where no reading has a time.
    """
    days = calendar_days(aware_times(table, settings))
    lost = np.isnat(days)
    dated = np.sort(days[counted & ~lost])
    if lost.any() and len(dated):
        days[lost] = dated[len(dated) // 2]
        if (lost & counted).any():
            count = (lost & counted).sum()
            return Noted(
                days, (Note.of("days_taken_from_others", "caution", count=count, day=days[lost][0]),)
            )
    return Noted(days)
