"""What there is to say of a season, as notes."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from typing import Any

import pandas as pd

from stressmap.core.notes import NoteList
from stressmap.jobs.season_gathered import Gathered
from stressmap.quality.checks import CHECKS
from stressmap.season.due_table import counts_of
from stressmap.season.learnt import LEAST_SEEN
from stressmap.season.let_down import AHEAD, BEHIND
from stressmap.season.season import Season


def season_notes(season: Season, gathered: Gathered) -> NoteList:
    """Say what is due, what is not as planned, what was learnt and what is missing.

    Parameters
    ----------
    season : Season
        Without notes.
    gathered : Gathered
        What it was worked out from.

    Returns
    -------
    NoteList
        In the order in which it matters.
    """
    notes, due = NoteList(), season.due
    counts = counts_of(due, (season.next_visit - season.today).days)
    known = int(due["known"].sum())
    later = int((due["known"] & due["days_left"].isna()).sum())
    notes.say(
        "season_due", day=season.today, past=counts["overdue"], now=counts["now"], soon=counts["soon"],
        before=counts["before"], next_visit=season.next_visit, later=later, total=known,
    )  # fmt: skip
    notes.add(_of_alarms(season, gathered))
    notes.add(_of_let_down(season))
    notes.add(_of_phases(season))
    notes.add(_of_learning(season, gathered))
    if gathered.came is None:
        notes.say("season_without_log", "caution")
    elif not gathered.dryness.known:
        notes.say("season_log_or_weather_short", "caution")
    if len(season.visits) == 1:
        notes.say("season_one_visit", "caution")
    return notes


def _of_alarms(season: Season, gathered: Gathered) -> NoteList:
    notes = NoteList()
    names = gathered.facts["valve"].tolist()
    for one in season.alarms:
        told = {
            "valves": [names[zone] for zone in one.zones],
            "block": gathered.facts["block"].iloc[one.zones[0]],
            "since": one.since, "low": one.low_bar, "high": one.high_bar, "look": list(one.reasons),
        }  # fmt: skip
        if one.kind == "dries_on":
            notes.say("season_dries_on", "warning", **told, count=one.irrigations)
        else:
            notes.say("season_dry_after_water", "warning", **told)
    return notes


def _of_let_down(season: Season) -> NoteList:
    notes = NoteList()
    table = season.let_down[season.let_down["block"].notna()]
    by_standing = {code: table.loc[table["standing"] == code, "block"].tolist() for code in (AHEAD, BEHIND)}
    if by_standing[AHEAD]:
        notes.say("season_ahead", "caution", blocks=by_standing[AHEAD])
    if by_standing[BEHIND]:
        notes.say("season_behind", "caution", blocks=by_standing[BEHIND])
    notes.add(_of_limits(table))
    flood = season.cycles.loc[season.cycles["manner"] == "like_flood", "valve"].drop_duplicates().tolist()
    if flood:
        notes.say("season_like_flood", "caution", valves=flood)
    return notes


def _of_limits(table: pd.DataFrame) -> NoteList:
    """Say which blocks reach what their crop bears before harvest, the earliest first and with its range."""
    notes = NoteList()
    reached = [
        (row["limit_early"] or row["limit_day"], row["limit_late"] or dt.date.max, str(row["block"]))
        for row in table.to_dict("records")
        if row["limit_day"] and (row["harvest"] is None or row["limit_day"] < row["harvest"])
    ]
    if reached:
        early, late, first = min(reached)
        told = {"first": first, "early": early, "blocks": [block for *_, block in sorted(reached)]}
        if late == dt.date.max:
            notes.say("season_limit_open", "warning", **told)
        else:
            notes.say("season_limit", "warning", **told, late=late)
    return notes


def _of_phases(season: Season) -> NoteList:
    notes = NoteList()
    phases = season.phases
    if phases.empty:
        return notes
    soon, late = phases[phases["move_days"] > 0], phases[phases["move_days"] < 0]
    if len(soon):
        notes.say("season_phase_later", "caution", **_moved(soon))
    if len(late):
        notes.say("season_phase_earlier", "caution", **_moved(late))
    return notes


def _moved(phases: pd.DataFrame) -> dict[str, Any]:
    days, seen = int(phases["move_days"].abs().median()), round(float(phases["seen_days"].median()))
    return {"valves": phases["valve"].tolist(), "days": days, "seen": seen}


def _of_learning(season: Season, gathered: Gathered) -> NoteList:
    notes = NoteList()
    taught = season.blocks[season.blocks["cycles_seen"] >= LEAST_SEEN]
    if len(taught):
        cycles = int(taught["cycles_seen"].sum())
        notes.say("season_learnt", count=len(taught), cycles=cycles, blocks=taught["block"].tolist())
    used = season.blocks.loc[season.blocks["prior_used"], "block"].tolist()
    if used:
        notes.say("season_prior", blocks=used)
    strange = [name for name in gathered.last_season if name not in set(season.blocks["block"])]
    if strange:
        notes.say("season_prior_strange", "caution", blocks=strange)
    return notes


def readings_told(visits: Sequence[pd.DataFrame]) -> NoteList:
    """Say how many readings of a season were used, and how many were left out for what.

    Parameters
    ----------
    visits : sequence of DataFrame
        Readings of each visit with ``used`` and ``flags``; those of other days are passed over.

    Returns
    -------
    NoteList
    """
    notes, left, total = NoteList(), 0, 0
    reasons: Counter[str] = Counter()
    for readings in visits:
        for used, codes in zip(readings["used"], readings["flags"], strict=True):
            if "outside_visit" in codes:
                continue
            total += 1
            left += not used
            if not used:
                reasons.update([code for code in codes if CHECKS[code].action == "leave out"][:1])
    notes.say("season_readings", used=total - left, total=total, left=left, visits=len(visits))
    for flag, count in reasons.most_common():
        notes.say("season_left_out", flag=flag, count=count)
    return notes
