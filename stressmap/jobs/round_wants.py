"""What the season wants of a measuring round: sets before and after it, valves due, what was left out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd

from stressmap.core.errors import DataError
from stressmap.core.notes import Note
from stressmap.core.settings import Settings
from stressmap.intake.inputs import Inputs
from stressmap.intake.planned_work import read_round, read_timetable
from stressmap.output.staging.output_folder import folders_of, rounds_of, season_folder
from stressmap.output.staging.result_files import record_in
from stressmap.rounds.round import SeasonWants

SOON_DAYS = 3
"""A set so many days after the round, or before it, is one whose other side is worth seeing: a judgement."""


@dataclass(frozen=True)
class RoundDay:
    """The day that is planned.

    Parameters
    ----------
    day : date
        Of the round.
    closes : Timestamp
        When its readings end, aware of its zone.
    interval_days : int
        Until the next visit.
    mapped : date
        First day of the visit that is mapped.
    """

    day: dt.date
    closes: pd.Timestamp
    interval_days: int
    mapped: dt.date


def wants_of(
    inputs: Inputs, read: gpd.GeoDataFrame, named: gpd.GeoDataFrame, when: RoundDay, chambers: int
) -> SeasonWants:
    """Gather what the season wants.

    Parameters
    ----------
    inputs : Inputs
        Of the ranch.
    read : GeoDataFrame
        The checked readings of the visit that is mapped.
    named : GeoDataFrame
        From :func:`stressmap.jobs.trees_read.named_readings`.
    when : RoundDay
        The day.
    chambers : int
        How many a crew carries.

    Returns
    -------
    SeasonWants
    """
    sets = _sets(inputs, when)
    midnight = when.closes.normalize()
    days = pd.Timedelta(days=SOON_DAYS)
    today = sets[(sets["start"] < when.closes) & (sets["end"] > midnight)]
    ahead = sets[(sets["start"] >= when.closes) & (sets["start"] < when.closes + days)]
    behind = sets[(sets["end"] <= midnight) & (sets["end"] > midnight - days)]
    seen = set(read.loc[read["used"], "valve"].dropna())
    ever = set(named["block"]) | set(read.loc[read["used"], "block"].dropna())
    return SeasonWants(
        due_days=_due(inputs.settings, when),
        before=frozenset(ahead["valve"]),
        after=frozenset(behind["valve"]) & seen,
        running=frozenset(today["valve"]),
        never_read=frozenset(set(inputs.blocks["block"]) - ever),
        left_out=frozenset(_left_out(read) | _not_read(inputs.settings, named, when.day)),
        read_today=frozenset(named.loc[named["time"].dt.date == when.day, "tree_id"]),
        chambers=chambers,
    )


def season_said(chosen: Settings, mapped: dt.date) -> tuple[Note, ...]:
    """Say so where no season's table tells when water is due, or only one from before the visit.

    Parameters
    ----------
    chosen : Settings
        Of the ranch.
    mapped : date
        First day of the visit that is mapped.

    Returns
    -------
    tuple of Note
        Empty where a table is there that counts.
    """
    found = _due_tables(chosen)
    folder = season_folder(chosen.ranch.name).as_posix()
    if not found:
        return (Note.of("round_no_season", folder=folder),)
    if all(until < mapped for _, until in found):
        until = max(until for _, until in found)
        return (Note.of("round_old_season", "caution", folder=folder, day=until, visit=mapped),)
    return ()


def latest_timetable(chosen: Settings) -> Path | None:
    """Find the timetable of the latest visit, where the ranch's results usually are.

    Parameters
    ----------
    chosen : Settings
        Of the ranch.

    Returns
    -------
    Path or None
        None where there is none.
    """
    places = [folder / "timetable.csv" for folder in folders_of(chosen.ranch.name, _places(chosen))]
    found = [path for path in places if path.is_file()]
    return found[-1] if found else None


def _places(chosen: Settings) -> tuple[Path, Path]:
    return Path(), Path(chosen.source).parent


def _sets(inputs: Inputs, when: RoundDay) -> pd.DataFrame:
    """Give the sets about the day: as logged, and as planned from the end of the log on."""
    columns = ["valve", "start", "end"]
    log = pd.DataFrame(columns=columns) if inputs.irrigation is None else inputs.irrigation[columns]
    log = log[log["end"].notna()]
    path = latest_timetable(inputs.settings)
    try:
        planned = None if path is None else read_timetable(path, inputs.settings.ranch.zone).value[columns]
    except DataError:
        planned = None
    parts = [part for part in (log, planned) if part is not None and not part.empty]
    if not parts:
        empty = pd.DatetimeIndex([], tz=when.closes.tz)
        return pd.DataFrame({"valve": pd.Series(dtype=object), "start": empty, "end": empty})
    return pd.concat(parts, ignore_index=True)


def _due(chosen: Settings, when: RoundDay) -> Mapping[str, float]:
    """Give the valves that a season page says are due before the next visit, and the days left then."""
    counting = [path for path, until in _due_tables(chosen) if until >= when.mapped]
    if not counting:
        return {}
    try:
        table = pd.read_csv(counting[0], usecols=["valve", "due"], dtype=str)
        days = (pd.to_datetime(table["due"]) - pd.Timestamp(when.day)) / pd.Timedelta(days=1)
    except (ValueError, OSError):
        return {}
    soon = days < when.interval_days
    return dict(zip(table["valve"][soon].astype(str), days[soon].clip(lower=0.0), strict=True))


def _due_tables(chosen: Settings) -> list[tuple[Path, dt.date]]:
    """Find the season's tables of what is due, each with the last day of the last visit that it knows.

    A table without the record of its season beside it counts.
    """
    folders = [place / season_folder(chosen.ranch.name) for place in reversed(_places(chosen))]
    return [(one / "due.csv", _known_until(one)) for one in folders if (one / "due.csv").is_file()]


def _known_until(folder: Path) -> dt.date:
    try:
        return dt.date.fromisoformat(record_in(folder)["visits"][-1][-1])
    except (LookupError, OSError, TypeError, ValueError):
        return dt.date.max


def _left_out(read: gpd.GeoDataFrame) -> set[str]:
    """Name the trees of the visit that is mapped of which no reading could be used."""
    mine = read[~read["flags"].map(lambda codes: "outside_visit" in codes)]
    used = set(mine.loc[mine["used"], "tree_id"].dropna())
    return set(mine["tree_id"].dropna()) - used


def _not_read(chosen: Settings, named: gpd.GeoDataFrame, day: dt.date) -> set[str]:
    """Name the trees of the round before this that nobody came to."""
    earlier = [(on, folder) for on, folder in rounds_of(chosen.ranch.name, _places(chosen)) if on < day]
    if not earlier:
        return set()
    on, folder = earlier[-1]
    try:
        stops = read_round(folder / "round.csv")
    except DataError:
        return set()
    read = set(named.loc[named["time"].dt.date >= on, "tree_id"])
    return set(stops["tree_id"]) - read if read else set()
