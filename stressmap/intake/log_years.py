"""Sets of a log whose day lies so far from the readings and from all other sets that the year is a slip.

Such a row would move the log's last or first day, by which it is judged whether the log was still kept.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from stressmap.core.row_counts import ToldRow
from stressmap.intake.log_sets import SetRow

LATE_DAYS = 60
"""A set so long after the last reading is in no plan and on no map: a judgement, no source."""
EARLY_DAYS = 2 * 365
"""A set so long before all others and the first reading has a slip of the year: a judgement, no source."""

ReadOn = tuple[dt.date, dt.date]


@dataclass(frozen=True)
class LogYears:
    """Days between which the sets of a log are believed.

    Parameters
    ----------
    read_on : tuple of date or None
        First and last day of all readings; None where that is not known: all days are believed.
    earliest : date
        First day that is believed.
    """

    read_on: ReadOn | None = None
    earliest: dt.date = dt.date.min

    @classmethod
    def of(cls, days: Iterable[dt.date], read_on: ReadOn | None) -> LogYears:
        """Find them from the days of all sets.

        Parameters
        ----------
        days : iterable of date
            On which the sets of all files begin.
        read_on : tuple of date or None
            First and last day of all readings.

        Returns
        -------
        LogYears

        Examples
        --------
        >>> days = [dt.date(2016, 7, 9), dt.date(2026, 7, 10), dt.date(2027, 7, 11)]
        >>> years = LogYears.of(days, (dt.date(2026, 7, 14), dt.date(2026, 7, 15)))
        >>> [years.are_believed(day) for day in days]
        [False, True, False]
        """
        if read_on is None:
            return cls()
        first, found = read_on[0], cls(read_on)
        there = sorted({day for day in days if day <= found.latest})
        after_gaps = [
            later for day, later in pairwise(there) if min(later, first) - day > dt.timedelta(days=EARLY_DAYS)
        ]
        return cls(read_on, max(after_gaps, default=dt.date.min))

    @property
    def latest(self) -> dt.date:
        """Last day that is believed."""
        return dt.date.max if self.read_on is None else self.read_on[1] + dt.timedelta(days=LATE_DAYS)

    def are_believed(self, day: dt.date) -> bool:
        """Tell whether a set may have begun on a day.

        Parameters
        ----------
        day : date
            As it is written.

        Returns
        -------
        bool
        """
        return self.earliest <= day <= self.latest

    def why_not(self, one: SetRow) -> ToldRow | None:
        """Say why a set is left out; None for one that is not.

        Parameters
        ----------
        one : SetRow
            The set.

        Returns
        -------
        ToldRow or None
        """
        day = one.start.date()
        if self.read_on is None or self.are_believed(day):
            return None
        if day > self.latest:
            said = {"start": day, "days": LATE_DAYS, "visit": self.read_on[1]}
            return ToldRow.of(one.row, "log_year_late", **said)
        return ToldRow.of(one.row, "log_year_early", start=day, other=self.earliest)

    def may_mean(self, day: dt.date) -> dt.date | None:
        """Give the day that a slip of the year may mean: the same one in the year of the last reading.

        Parameters
        ----------
        day : date
            As it is written.

        Returns
        -------
        date or None
            None where that year has no such day.
        """
        try:
            return day if self.read_on is None else day.replace(year=self.read_on[1].year)
        except ValueError:
            return None
