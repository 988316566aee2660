"""The stops of earlier rounds, by their trees' codes: what a typed row leaves out is filled in from them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType

import pandas as pd

from stressmap.core.errors import DataError
from stressmap.core.set_codes import codes_of_trees
from stressmap.intake.planned_work import read_round


@dataclass(frozen=True)
class PlannedStop:
    """A stop of a round.

    Parameters
    ----------
    day : date
        Of the round.
    tree_id, block, valve, stop, crew : str
        As the round has them; ``""`` where it says nothing.
    lon, lat : float
        Where the tree stands; NaN where not known.
    bag_clock, read_clock : str
        ``HH:MM``, or ``""``.
    expected_low, expected_high : float
        Range in which its tension was expected [bar, positive]; NaN where the round says none.
    """

    day: dt.date
    tree_id: str
    block: str
    valve: str
    stop: str
    crew: str
    lon: float
    lat: float
    bag_clock: str
    read_clock: str
    expected_low: float
    expected_high: float


Stops = Mapping[str, tuple[PlannedStop, ...]]
NO_STOPS: Stops = MappingProxyType({})
FIGURES = ("lon", "lat", "expected_low", "expected_high")


def planned_stops(rounds: Iterable[tuple[dt.date, Path]]) -> dict[str, tuple[PlannedStop, ...]]:
    """Read the stops of rounds.

    Parameters
    ----------
    rounds : iterable of (date, Path)
        Day and ``round.csv`` of one round after the other. What is no round is passed over: nothing depends
        on it.

    Returns
    -------
    dict of str to tuple of PlannedStop
        By code, the latest round's last.
    """
    found: dict[str, tuple[PlannedStop, ...]] = {}
    for day, path in rounds:
        try:
            stops = read_round(path)
        except DataError:
            continue
        texts = ("tree_id", "block", "valve", "stop", "crew", "bag_clock", "read_clock")
        stops = stops.assign(**{name: stops[name].map(_text) for name in texts})
        codes = codes_of_trees(list(zip(stops["block"], stops["tree_id"], strict=True)))
        for code, row in zip(codes, stops.to_dict("records"), strict=True):
            says = {str(name): row[name] for name in (*texts, *FIGURES)}
            found[code] = (*found.get(code, ()), PlannedStop(day, **says))
    return found


def stop_on(stops: Stops, code: str, day: dt.date | None) -> PlannedStop | None:
    """Find a tree's stop of a day, else its latest.

    Parameters
    ----------
    stops : mapping of str to tuple of PlannedStop
        From :func:`planned_stops`.
    code : str
        Of the tree.
    day : date or None
        That is asked for.

    Returns
    -------
    PlannedStop or None
    """
    known = stops.get(code, ())
    return next((one for one in reversed(known) if one.day == day), known[-1] if known else None)


def _text(value: object) -> str:
    return "" if value is None or pd.isna(value) else str(value)  # type: ignore[call-overload]
