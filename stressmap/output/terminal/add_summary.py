"""What ``add`` prints: of every file what is new, corrected or there already, and what to look at."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

from rich.console import Console

from stressmap.core.row_counts import ToldRow
from stressmap.core.settings import Settings
from stressmap.intake.arrived_file import Arrived
from stressmap.output.text.note_words import by_severity, reasons_told, sentences
from stressmap.output.text.record_words import RecordWords
from stressmap.output.text.words import Words


def print_added(files: Iterable[Arrived], chosen: Settings, console: Console, *, dry: bool) -> None:
    """Print what was added, or would be.

    Parameters
    ----------
    files : iterable of Arrived
        What became of each file.
    chosen : Settings
        Of the ranch: language, time zone, and where the record is.
    console : Console
        The terminal.
    dry : bool
        Whether nothing was written.
    """
    ranch = chosen.ranch
    words, say = Words(ranch.languages[0], ranch.units), RecordWords(ranch.languages[0])
    for one in files:
        for line in _lines(one, chosen, words, say):
            console.print(line, markup=False)
    end = say("add.tried") if dry else say("add.record", file=chosen.record)
    console.print(end, markup=False)


def _lines(one: Arrived, chosen: Settings, words: Words, say: RecordWords) -> Iterator[str]:
    if one.earlier is not None:
        day = one.earlier.replace(tzinfo=dt.UTC).astimezone(chosen.ranch.zone)
        yield say("add.earlier", file=one.name, date=words.date(day))
        return
    added = one.added
    counts = {"new": added.count("new") - one.bare, "corrected": added.count("corrected", "clash")}
    present = added.count("present", "since_corrected")
    yield say(f"add.{one.kind}", file=one.name, **counts, present=present, empty=len(one.empty))
    if one.bare:
        yield "  " + say("add.bare", count=one.bare)
    if one.kind == "readings" and one.empty:
        yield "  " + say("add.stops_left", count=len(one.empty))
    told = {
        "unusable": one.unusable,
        "withdrawn": added.withdrawn,
        "since_corrected": added.rows.get("since_corrected", ()),
        "clash": added.rows.get("clash", ()),
    }
    for key, rows in told.items():
        if rows:
            yield "  " + say(f"add.{key}", rows=", ".join(map(str, rows[:10])), count=len(rows))
            if key == "unusable":
                yield from _reasons(one.name, one.refused, words)
    if one.doubts:
        yield "  " + say("add.doubts")
    yield from _reasons(one.name, one.doubts, words)
    warnings, _ = by_severity(one.notes)
    yield from (f"  {words('terminal.warning', note=text)}" for text in sentences(warnings, words))


def _reasons(file: str, told: tuple[tuple[str, tuple[ToldRow, ...]], ...], words: Words) -> Iterator[str]:
    for where, doubts in told:
        sheet = where.removeprefix(file).removeprefix(":")
        if sheet and len(told) > 1:
            yield f"  {sheet}:"
        yield from (f"    {line}" for line in reasons_told(doubts, words))
