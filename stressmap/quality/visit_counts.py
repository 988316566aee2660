"""The visits that readings were taken on, with what became of their readings; what stands in two files."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from stressmap.core.notes import Note
from stressmap.quality.checks import usable
from stressmap.quality.visit import visits_in


def visit_notes(assessed: pd.DataFrame, keep: tuple[str, ...]) -> Iterator[Note]:
    """Tell every visit with its readings, those that could be used and those with a flag.

    Parameters
    ----------
    assessed : DataFrame
        From :func:`stressmap.quality.checks.assess`, of all visits.
    keep : tuple of str
        ``[reading] keep``.

    Yields
    ------
    Note
        The span, then one a visit, then the readings without a time; nothing where all are of one visit.
    """
    visits, timeless = visits_in(assessed), int(assessed["time"].isna().sum())
    if len(visits) + bool(timeless) < 2:
        return
    mine = [tuple(code for code in codes if code != "outside_visit") for codes in assessed["flags"]]
    marked = np.array([bool(codes) for codes in mine], dtype=bool)
    here = assessed["flags"].map(lambda codes: "outside_visit" not in codes).to_numpy(bool)
    sound = np.where(here, assessed["used"].to_numpy(bool), usable(mine, assessed["block"], keep))
    day = assessed["time"].dt.date
    if visits:
        yield Note.of("visits_span", count=len(visits), first=visits[0][0], last=visits[-1][1])
    before: dt.date | None = None
    for first, last, count in visits:
        inside = ((day >= first) & (day <= last)).to_numpy(bool)
        days = f"{first}" if first == last else f"{first} \N{EN DASH} {last}"
        found: dict[str, Any] = {
            "days": days,
            "count": count,
            "used": sound[inside].sum(),
            "flagged": marked[inside].sum(),
        }
        if before is None:
            yield Note.of("visit_first", **found)
        else:
            yield Note.of("visit_later", after=(first - before).days, **found)
        before = last
    if timeless:
        yield Note.of("readings_of_no_visit", count=timeless)


def in_two_files(assessed: pd.DataFrame) -> NDArray[np.bool_]:
    """Find the duplicates whose first row stands in another file: nothing about them needs mending.

    Parameters
    ----------
    assessed : DataFrame, n rows
        From :func:`stressmap.quality.checks.assess`, whole.

    Returns
    -------
    array of bool, shape (n,)
    """
    marked = assessed["flags"].map(lambda codes: "duplicate" in codes).to_numpy(bool)
    if not marked.any():
        return marked
    minute = assessed["time"].dt.tz_convert("UTC").dt.floor("min")
    first = assessed.groupby([assessed["tree"], minute])["file"].transform("first")
    return marked & (first.notna() & (first != assessed["file"])).to_numpy(bool)


def two_files_elsewhere(assessed: pd.DataFrame) -> tuple[Note, ...]:
    """Say how many readings of other visits stand in two files.

    Parameters
    ----------
    assessed : DataFrame
        From :func:`stressmap.quality.checks.assess`, whole.

    Returns
    -------
    tuple of Note
        One or none.
    """
    other = assessed["flags"].map(lambda codes: "outside_visit" in codes).to_numpy(bool)
    twice = assessed[in_two_files(assessed) & other]
    if twice.empty:
        return ()
    files = list(dict.fromkeys(twice["file"]))
    return (Note.of("readings_of_others_in_two_files", count=len(twice), files=files),)


def two_files_note(assessed: pd.DataFrame) -> tuple[Note, ...]:
    """Say how many readings of the visit stand in two files.

    Parameters
    ----------
    assessed : DataFrame
        From :func:`stressmap.quality.checks.assess`, whole.

    Returns
    -------
    tuple of Note
        One or none.
    """
    here = assessed["flags"].map(lambda codes: "outside_visit" not in codes).to_numpy(bool)
    twice = assessed[in_two_files(assessed) & here]
    if twice.empty:
        return ()
    files = list(dict.fromkeys(twice["file"]))
    return (Note.of("readings_in_two_files", count=len(twice), files=files),)
