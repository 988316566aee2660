"""The season on the terminal: what is urgent, what the water did, what is next, and where the rest stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from rich.table import Table

from stressmap.core.notes import Note
from stressmap.core.settings import Ranch
from stressmap.output.terminal.narrow_table import narrow_table
from stressmap.output.terminal.plain_console import PlainConsole
from stressmap.output.text.note_words import by_severity, sentences
from stressmap.output.text.season_words import SeasonWords
from stressmap.output.text.words import Words, text_of
from stressmap.output.view.due_words import when_due
from stressmap.output.view.rows import rows
from stressmap.output.view.season_cells import range_of
from stressmap.output.view.season_order import counts_with_names, standing_of_valves
from stressmap.season.season import Season

SHOWN = 12
NAMED = 8
ALARMS = ("season_dries_on", "season_dry_after_water")
SHORT = (
    "season_without_log", "season_log_or_weather_short", "season_one_visit", "season_ahead", "season_behind",
    "season_like_flood", "season_phase_later", "season_phase_earlier", "season_learnt", "season_readings",
)  # fmt: skip
"""Notes that are printed, in this order; the others are counted."""


def print_season(season: Season, ranch: Ranch, folder: Path, notes: Sequence[Note]) -> None:
    """Print what is urgent, the valve zones that are due first, what water did, and how much more is said.

    Parameters
    ----------
    season : Season
        So far.
    ranch : Ranch
        Its name, language and units.
    folder : Path
        Where the files are.
    notes : sequence of Note
        Of the season and its files.
    """
    console = PlainConsole(soft_wrap=True)
    words = Words(ranch.languages[0], ranch.units)
    warnings, others = by_severity(notes)
    for text in _warnings(warnings, words, standing_of_valves(season)):
        console.print(words("terminal.warning", note=text), markup=False)
    for text in _head(season, ranch, words):
        console.print(text, markup=False)
    console.print(_due(season, words, console.width))
    if (total := len(season.due)) > SHOWN:
        console.print(_say("shown", words, shown=SHOWN, total=total), markup=False)
    shown = sorted((one for one in others if one.code in SHORT), key=lambda one: SHORT.index(one.code))
    for text in sentences(shown, words):
        console.print(words("terminal.note", note=text), markup=False)
    told = {"season_due", *SHORT}
    if left := len(sentences((one for one in others if one.code not in told), words)):
        console.print(_say("more_notes", words, count=left), markup=False)
    console.print(words("terminal.folder", folder=folder), markup=False)


def _say(key: str, words: Words, **values: object) -> str:
    return text_of(f"advice_{words.language}", f"summary.{key}", values)


def _warnings(warnings: Sequence[Note], words: Words, over: Mapping[Any, float]) -> Iterator[str]:
    """Put what may mislead into words, valves watered and not relieved in one line, the highest first."""
    alarms = sorted(
        (one for one in warnings if one.code in ALARMS),
        key=lambda one: -max((over.get(valve, -1e9) for valve in _texts(one.value("valves"))), default=-1e9),
    )
    rest = [one for one in warnings if one.code not in ALARMS]
    if len(alarms) < 2:
        rest = list(warnings)
    else:
        places = [f"{', '.join(_texts(one.value('valves')))} ({one.value('block')})" for one in alarms]
        left = len(places) - NAMED
        more = _say("more_alarms", words, count=left) if left > 0 else ""
        yield _say("alarms", words, names=", ".join(places[:NAMED]), more=more)
    yield from sentences(rest, words)


def _texts(value: object) -> tuple[str, ...]:
    return tuple(str(one) for one in value) if isinstance(value, tuple) else (str(value),)


def _head(season: Season, ranch: Ranch, words: Words) -> Iterator[str]:
    """Say what it is the season of, and how many valve zones are due how soon."""
    first, last = season.visits[0][0], season.visits[-1][1]
    told = {"first": words.date(first), "last": words.date(last), "visits": len(season.visits)}
    yield _say("head", words, ranch=ranch.name, **told)
    yield SeasonWords(words)("page.counts", **counts_with_names(season))


def _due(season: Season, words: Words, width: int) -> Table:
    """List the valve zones that are due first."""
    heads = [_say(name, words) for name in ("valve", "block", "stress", "when")]
    say = SeasonWords(words)
    cells = []
    for row in rows(season.due.head(SHOWN)):
        when = when_due(row, season.today, say)
        if row.get("zone") in season.alarmed:
            when = f"{when}; {say('urgent.look_first')}"
        stress = range_of(row["stress_low_bar"], row["stress_high_bar"], say)
        cells.append((str(row["valve"]), str(row["block"]), stress, when))
    return narrow_table(heads, cells, width, right={2}, breaks={0, 1, 3})
