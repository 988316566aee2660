"""What is doubtful in a row of valve times, and between rows; only what cannot have happened is not kept."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import pandas as pd

from stressmap.core.row_counts import ToldRow
from stressmap.core.set_codes import is_code, is_code_of
from stressmap.intake.known_names import KnownNames

LONG_HOURS = 72.0
"""A longer set is asked about: common practice, no source."""
FAR_DAYS = 3.0
"""A set that ran further than this from its plan is asked about: a judgement."""
FAR_HOURS = 4.0
"""An hour without a date that lands further than this from its planned one is asked about: a judgement."""
LEAST_SHARE, MOST_SHARE = 0.5, 1.3
"""Hours without a date that make less or more of the planned time than this are asked about: a judgement."""
BETTER = 0.5
"""The other way round is suggested where it is off the plan by less than this share: a judgement."""


@dataclass(frozen=True)
class SetThatRan:
    """A row that was filled in.

    Parameters
    ----------
    row : int
        As a spreadsheet shows it.
    says : mapping of str to (str, Timestamp or None)
        ``code``, ``valve``, ``block``, ``planned_start``, ``planned_end``, ``start``, ``end``, ``trouble``,
        ``note``; None where empty or, of times, where it cannot be read.
    entry_id : str or None
        Made by a phone; unique.
    version : int or None
        Of that entry.
    withdrawn : bool
        Whether it takes the entry back.
    clocks : frozenset of str
        Which of ``start`` and ``end`` were written as an hour without a date.
    wrote : str or None
        The valve that the row named, where that of its code was taken in its place.
    """

    row: int
    says: Mapping[str, Any]
    entry_id: str | None = None
    version: int | None = None
    withdrawn: bool = False
    clocks: frozenset[str] = frozenset()
    wrote: str | None = None

    @property
    def usable(self) -> bool:
        """Whether it names a valve and something that can have happened there."""
        start, end = self.says["start"], self.says["end"]
        backwards = start is not None and end is not None and end <= start
        said = any(self.says[name] is not None for name in ("start", "end", "trouble"))
        return self.withdrawn or (said and not backwards and self.says["valve"] is not None)


_HOUR = pd.Timedelta(hours=1)


def doubts_of(one: SetThatRan, known: KnownNames | None) -> Iterator[ToldRow]:
    """Tell what is doubtful in a row by itself.

    Parameters
    ----------
    one : SetThatRan
        The row.
    known : KnownNames or None
        The valves there are.

    Yields
    ------
    ToldRow
    """
    yield from _odd_code(one)
    yield from _odd_valve(one, known)
    yield from _odd_times(one)
    yield from _odd_hours(one)


def doubts_between(rows: list[SetThatRan]) -> Iterator[ToldRow]:
    """Tell sets that stand twice, and hours that overlap on one valve.

    Parameters
    ----------
    rows : list of SetThatRan
        Of one sheet.

    Yields
    ------
    ToldRow
    """
    yield from _twice(rows)
    yield from _overlaps(rows)


def _odd_code(one: SetThatRan) -> Iterator[ToldRow]:
    code, valve, planned = (one.says[name] for name in ("code", "valve", "planned_start"))
    if code is None:
        return
    if not is_code(code):
        if valve is None:
            yield ToldRow.of(one.row, "times_code_wrong", code=code)
        else:
            yield ToldRow.of(one.row, "times_code_wrong_valve", code=code, valve=valve)
    elif one.wrote is not None:
        yield ToldRow.of(one.row, "times_valve_of_code", code=code, wrote=one.wrote, valve=valve)
    elif valve is not None and planned is not None and not is_code_of(code, valve, planned):
        yield ToldRow.of(one.row, "times_code_other", code=code, valve=valve)


def _odd_valve(one: SetThatRan, known: KnownNames | None) -> Iterator[ToldRow]:
    valve = one.says["valve"]
    if valve is None:
        code = one.says["code"]
        if code is not None and is_code(code):
            yield ToldRow.of(one.row, "times_code_unknown", code=code)
        else:
            yield ToldRow.of(one.row, "log_no_valve")
    elif known is not None and known.several(valve).unknown:
        near = known.near(valve)
        if near is None:
            yield ToldRow.of(one.row, "log_valve_unknown", valve=valve)
        else:
            yield ToldRow.of(one.row, "log_valve_unknown_near", valve=valve, near=near)


def _odd_hours(one: SetThatRan) -> Iterator[ToldRow]:
    """Tell hours without a date that are far from the plan, and whether the other way round fits better."""
    start, end, planned, until = (one.says[n] for n in ("start", "end", "planned_start", "planned_end"))
    if not one.clocks or None in {start, end, planned, until} or not _has_length(one.says):
        return
    off = [abs(at - wanted) / _HOUR for at, wanted in ((start, planned), (end, until))]
    share = (end - start) / (until - planned) if until > planned else 1.0
    far = any(by > FAR_HOURS for name, by in zip(("start", "end"), off, strict=True) if name in one.clocks)
    if not far and LEAST_SHARE <= share <= MOST_SHARE:
        return
    told = {
        "start": _shown(start), "end": _shown(end), "hours": round((end - start) / _HOUR, 1),
        "planned": _shown(planned), "until": _shown(until),
    }  # fmt: skip
    first, last = _nearest(end, planned), _nearest(start, until)
    swapped = abs(first - planned) / _HOUR + abs(last - until) / _HOUR
    if one.clocks == {"start", "end"} and first < last and swapped < BETTER * sum(off):
        yield ToldRow.of(one.row, "times_hours_swapped", **told, first=_shown(first), last=_shown(last))
    else:
        yield ToldRow.of(one.row, "times_hours_odd", **told)


def _nearest(clock: pd.Timestamp, to: pd.Timestamp) -> pd.Timestamp:
    """Give the moment with the hour of one that is nearest to another."""
    return clock + pd.DateOffset(days=round((to - clock) / pd.Timedelta(days=1)))


def _shown(moment: pd.Timestamp) -> str:
    return f"{moment:%Y-%m-%d %H:%M}"


def _odd_times(one: SetThatRan) -> Iterator[ToldRow]:
    start, end, planned = (one.says[name] for name in ("start", "end", "planned_start"))
    if start is not None and end is not None:
        hours = (end - start).total_seconds() / 3600.0
        if hours <= 0.0:
            yield ToldRow.of(one.row, "log_ends_before_start", cell=f"{end:%Y-%m-%d %H:%M}")
        elif hours > LONG_HOURS:
            yield ToldRow.of(one.row, "times_too_long", hours=round(hours))
    elif start is not None:
        yield ToldRow.of(one.row, "log_no_end")
    elif end is not None:
        yield ToldRow.of(one.row, "log_no_start")
    if start is not None and planned is not None:
        days = abs((start - planned).total_seconds()) / 86_400.0
        if days > FAR_DAYS:
            yield ToldRow.of(one.row, "times_far", days=round(days), planned=f"{planned:%Y-%m-%d %H:%M}")


def _twice(rows: list[SetThatRan]) -> Iterator[ToldRow]:
    """Tell planned sets that stand in two rows: the later one counts as the correction."""
    first: dict[Any, int] = {}
    for one in rows:
        key = one.says["valve"], one.says["planned_start"]
        if one.entry_id is None and None not in key:
            if key in first:
                yield ToldRow.of(one.row, "times_set_twice", other=first[key])
            first.setdefault(key, one.row)


def _overlaps(rows: list[SetThatRan]) -> Iterator[ToldRow]:
    """Tell rows whose hours overlap those of another row of the valve; versions of one entry do not."""
    latest = {one.entry_id or one.row: one for one in rows}
    whole = [one for one in latest.values() if not one.withdrawn and _has_length(one.says)]
    whole.sort(key=lambda one: (str(one.says["valve"]), one.says["start"]))
    for before, one in pairwise(whole):
        same = before.says["valve"] == one.says["valve"] is not None
        if same and one.says["start"] < before.says["end"]:
            yield ToldRow.of(one.row, "log_overlaps", other=before.row, valve=one.says["valve"])


def _has_length(says: Mapping[str, Any]) -> bool:
    start, end = says["start"], says["end"]
    return start is not None and end is not None and start < end
