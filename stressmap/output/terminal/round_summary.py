"""What ``round`` prints, in the ranch's first language: who goes where when, and what to look at."""

from __future__ import annotations

from collections.abc import Iterator

from rich.console import Console

from stressmap.output.text.note_words import by_severity, sentences
from stressmap.output.text.round_words import RoundWords
from stressmap.output.text.words import Words
from stressmap.output.view.quantities import percent
from stressmap.output.view.round_content import PlannedRound


def print_round(made: PlannedRound, console: Console) -> None:
    """Print a planned round.

    Parameters
    ----------
    made : PlannedRound
        The round and what it rests on.
    console : Console
        The terminal.
    """
    for line in _lines(made):
        console.print(line, markup=False)


def _lines(made: PlannedRound) -> Iterator[str]:
    content = made.content
    say = RoundWords(content.ranch.languages[0])
    words = Words(content.ranch.languages[0], content.ranch.units)
    planned, day = content.planned, words.date(content.on)
    yield content.ranch.name
    yield say("said.round", day=day, stops=len(planned.stops), crews=len(content.crews))
    if made.interval_days is not None:
        key = "said.day_after_usual" if made.usual else "said.day_after_week"
        yield say(key, day=day, days=made.interval_days)
    if made.visit is not None:
        yield say("said.rests", visit=words.days(*made.visit))
    if made.read_today:
        yield say("said.read_today", count=made.read_today)
    for crew in content.crews:
        actions = content.actions(crew)
        reads = [one for one in actions if one.kind == "read"]
        blocks = len({one.stop.block for one in reads})
        told = {"bag": actions[0].clock, "read": reads[-1].clock, "blocks": blocks}
        yield say("said.crew", crew=crew, stops=len(reads), **told)
    if planned.bound > 0:
        yield say("said.share", share=percent(min(1.0, planned.value / planned.bound), words))
    yield ""
    warnings, others = by_severity(made.notes)
    of_round = tuple(note for note in others if note.code.startswith("round_"))
    yield from (words("terminal.warning", note=text) for text in sentences(warnings, words))
    yield from (words("terminal.note", note=text) for text in sentences(of_round, words))
    yield say("said.folder", folder=made.folder)
    yield say("said.host")
