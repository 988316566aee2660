"""What a log may hold besides the sets that could be read: valves that rows may mean, and days."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

_KEY = "unsure_sets"


@dataclass(frozen=True)
class UnsureSets:
    """Valves that may have run by rows of a log which could not be used.

    Parameters
    ----------
    days : mapping of str to frozenset of (date or None)
        The days of such rows by valve; None where the row's day cannot be read.

    Examples
    --------
    >>> unsure = UnsureSets.of([("V1", dt.date(2026, 7, 10)), ("V2", None)])
    >>> [unsure.may_have_run(valve, dt.date(2026, 7, 11)) for valve in ("V1", "V2", "V3")]
    [False, True, False]
    """

    days: Mapping[str, frozenset[dt.date | None]] = field(default_factory=dict)

    def __deepcopy__(self, _: dict[int, Any]) -> UnsureSets:
        """Give itself: it never changes, and a table copies what it carries each time it is cut."""
        return self

    @classmethod
    def of(cls, found: Iterable[tuple[str, dt.date | None]]) -> UnsureSets:
        """Collect valves and days.

        Parameters
        ----------
        found : iterable of (str, date or None)
            A valve that a row may mean, and its day.

        Returns
        -------
        UnsureSets
        """
        days: dict[str, set[dt.date | None]] = {}
        for valve, day in found:
            days.setdefault(valve, set()).add(day)
        return cls({valve: frozenset(there) for valve, there in days.items()})

    def may_have_run(self, valve: str, first: dt.date, last: dt.date = dt.date.max) -> bool:
        """Tell whether a valve may have run by a row that could not be used.

        Parameters
        ----------
        valve : str
            Its name.
        first, last : date
            The days asked for, both included.

        Returns
        -------
        bool
            Also where the day of such a row is not known.
        """
        return any(day is None or first <= day <= last for day in self.days.get(valve, ()))


def with_unsure(log: pd.DataFrame, unsure: UnsureSets) -> pd.DataFrame:
    """Let a log carry what of it could not be used.

    Parameters
    ----------
    log : DataFrame
        As :data:`stressmap.core.schemas.IRRIGATION`; changed.
    unsure : UnsureSets
        What to carry.

    Returns
    -------
    DataFrame
        The same.
    """
    log.attrs[_KEY] = unsure
    return log


def unsure_of(log: pd.DataFrame | None) -> UnsureSets:
    """Give what of a log could not be used.

    Parameters
    ----------
    log : DataFrame or None
        As :data:`stressmap.core.schemas.IRRIGATION`.

    Returns
    -------
    UnsureSets
        Empty where the log carries none.
    """
    found = None if log is None else log.attrs.get(_KEY)
    return found if isinstance(found, UnsureSets) else UnsureSets()
