"""Readings of other visits as ``map.html`` carries them: few bytes each, those nearest in time only."""

from __future__ import annotations

import datetime as dt
from itertools import groupby
from typing import Any

import geopandas as gpd
import pandas as pd

MOST = 5_000
"""So many readings of other visits go onto the map; all of them stand in ``readings.csv``."""
PER_DEGREE = 100_000
"""Places are whole hundred-thousandths of a degree, about a metre."""


def nearest_in_time(readings: gpd.GeoDataFrame, visit: tuple[dt.date, dt.date]) -> gpd.GeoDataFrame:
    """Keep the readings whose days are nearest to a visit.

    Parameters
    ----------
    readings : GeoDataFrame
        Of other visits; ``time`` in the ranch's zone, those without one are the farthest.
    visit : tuple of date
        First and last day of the visit that is mapped.

    Returns
    -------
    GeoDataFrame
        At most :data:`MOST` of them.
    """
    if len(readings) <= MOST:
        return readings
    day = readings["time"].dt.tz_localize(None).dt.normalize().reset_index(drop=True)
    first, last = (pd.Timestamp(end) for end in visit)
    days_off = pd.concat([first - day, day - last], axis=1).max(axis=1)
    return readings.iloc[days_off.sort_values(kind="stable").index[:MOST]]


def pack_others(readings: list[dict[str, Any]], total: int) -> dict[str, Any]:
    """Pack readings of other visits column by column, by tree and time.

    Parameters
    ----------
    readings : list of dict
        As the map has them: ``tree``, ``row``, ``time``, ``block``, ``valve``, ``flags``, ``pressure``,
        ``stress``, ``at``.
    total : int
        How many there are, those that the map does not hold counted too.

    Returns
    -------
    dict
        ``total``; ``tree``, ``day``, ``block``, ``valve``, ``flags``: ``words``, each
        once, and ``runs``, pairs of a place among them and how many readings in a row it holds for;
        ``clock`` [minutes since midnight], ``pressure``, ``stress``: a figure a reading; ``rows`` of those
        without a tree; ``steps``: two steps of latitude and longitude from the reading before
        [1e-5 degrees], or None where there is no place.

    Examples
    --------
    >>> reading = {"tree": "T1", "row": 2, "time": "2026-06-30T13:05", "block": "B", "valve": None}
    >>> reading |= {"flags": ["outside_visit"], "pressure": 9.1, "stress": 1.2, "at": [38.0, -121.5]}
    >>> packed = pack_others([reading], 1)
    >>> packed["tree"], packed["clock"], packed["steps"]
    ({'words': ['T1'], 'runs': [0, 1]}, [785], [3800000, -12150000])
    """
    kept = sorted(readings, key=_place_in_pack)
    times = [(one["time"] or "").partition("T") for one in kept]
    return {
        "total": total,
        "tree": _runs([one["tree"] for one in kept]),
        "day": _runs([day or None for day, _, _ in times]),
        "clock": [_minutes(clock) for _, _, clock in times],
        "block": _runs([one["block"] for one in kept]),
        "valve": _runs([one["valve"] for one in kept]),
        "flags": _runs([";".join(one["flags"]) for one in kept]),
        "pressure": [one["pressure"] for one in kept],
        "stress": [one["stress"] for one in kept],
        "rows": [one["row"] for one in kept if one["tree"] is None],
        "steps": _steps([one["at"] for one in kept]),
    }


def _place_in_pack(one: dict[str, Any]) -> tuple[bool, str, str, int]:
    return one["tree"] is None, one["tree"] or "", one["time"] or "", one["row"]


def _minutes(clock: str) -> int | None:
    return int(clock[:2]) * 60 + int(clock[3:5]) if clock else None


def _runs(words: list[str | None]) -> dict[str, Any]:
    places = {word: place for place, word in enumerate(dict.fromkeys(words))}
    runs = [number for word, run in groupby(words) for number in (places[word], len(list(run)))]
    return {"words": list(places), "runs": runs}


def _steps(spots: list[list[float] | None]) -> list[int | None]:
    steps: list[int | None] = []
    before = [0, 0]
    for spot in spots:
        if spot is None:
            steps.append(None)
            continue
        here = [round(degrees * PER_DEGREE) for degrees in spot]
        steps += [now - then for now, then in zip(here, before, strict=True)]
        before = here
    return steps
