"""What a run says on the terminal: first valves, what is uncertain, what to do next, where the files are."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Console
from rich.table import Table

from stressmap.output.terminal.narrow_table import narrow_table
from stressmap.output.text.note_words import by_severity, columns_told, sentences
from stressmap.output.text.words import Words
from stressmap.output.view.change_words import HEADS, change_cells
from stressmap.output.view.content import Content
from stressmap.output.view.crew_words import UNSURE, Turn, of_visit, priority_words, revisits, turns
from stressmap.output.view.first_look import first_look, thin_blocks
from stressmap.output.view.quantities import percent, quantity
from stressmap.output.view.rows import rows
from stressmap.output.view.season_line import due_counted
from stressmap.output.view.selections import counted, tied_ranks

SHOWN = 10


def print_summary(content: Content, folder: Path, console: Console, files: Sequence[str] = ()) -> None:
    """Print the summary of a run.

    Parameters
    ----------
    content : Content
        The finished run.
    folder : Path
        Where its files are.
    console : Console
        The terminal.
    files : sequence of str
        Names of the files to look at first.
    """
    words = Words(content.ranch.languages[0], content.ranch.units)

    def say(text: str) -> None:
        console.print(text, markup=False, soft_wrap=True)

    order = turns(content)
    warnings, others = by_severity(content.notes)
    for text in sentences(warnings, words):
        say(words("terminal.warning", note=text))
    say(_head(content, words))
    console.print(_table(content, order, words, console.width))
    if len(content.valves) > SHOWN:
        say(words("terminal.more", count=len(content.valves) - SHOWN))
    for line in (*due_counted(content, words), *content.water_said, *first_look(content, order, words)):
        say(line)
    meaning = words(f"measure.{content.rank_by}")
    say(words("terminal.meaning", meaning=meaning, method=words.known("method", content.method)))
    say(words("trees.explained"))
    _print_change(content, order, words, console)
    for line in (*uncertain(content, words), *next_steps(content, words)):
        say(line)
    for text in sentences(others, words):
        say(words("terminal.note", note=text))
    for counts in content.files:
        say(f"{counts.file}: {columns_told(counts, words)}")
    say(words("terminal.files", folder=folder, files=", ".join(files)))


def _head(content: Content, words: Words) -> str:
    table = of_visit(content)
    used = int(table["used"].astype(bool).sum())
    days = words.days(*content.visit)
    head = words("terminal.head", ranch=content.ranch.name, visit=days, used=used, left_out=len(table) - used)
    others = len(content.readings) - len(table)
    return head + (words("terminal.others", others=others) if others else "")


def _print_change(content: Content, order: list[Turn], words: Words, console: Console) -> None:
    """Print the change since the visit before, of the first valves."""
    if content.previous_visit is None or "gauge_change_bar" not in content.valves:
        return
    console.print(words("moved.since", date=words.date(content.previous_visit)), markup=False)
    told = [(str(turn.row["valve"]), change_cells(turn.row, words)) for turn in order[:SHOWN]]
    cells = [(valve, *change) for valve, change in told if change is not None]
    heads = [words("terminal.valve"), *(words(f"moved.{name}") for name in HEADS)]
    word = 1 + HEADS.index("word")
    right = set(range(1, len(heads))) - {word}
    console.print(narrow_table(heads, cells, console.width, right=right, breaks={0, word}))


def _table(content: Content, order: list[Turn], words: Words, width: int) -> Table:
    planned = content.water_plan is not None
    names = [
        "rank",
        "valve",
        "block",
        "priority",
        "stress",
        "interval",
        "trees",
        *(["hours"] if planned else []),
    ]
    heads = [words("trees.head" if name == "trees" else f"terminal.{name}") for name in names]
    rows_shown = [_cells(turn, words, planned=planned) for turn in order[:SHOWN]]
    left = {names.index(name) for name in ("valve", "block", "priority")}
    breaks = {names.index(name) for name in ("valve", "block", "priority")}
    return narrow_table(heads, rows_shown, width, right=set(range(len(names))) - left, breaks=breaks)


def _cells(turn: Turn, words: Words, *, planned: bool) -> list[str]:
    row = turn.row
    short = words("priority.short", number=turn.priority)
    return [
        turn.rank,
        str(row["valve"]),
        str(row["block"] or ""),
        words("past.short", short=short) if turn.past_limit else priority_words(turn.priority, words),
        words.number(row["stress_bar"]),
        words("terminal.span", low=words.number(row["low_bar"]), high=words.number(row["high_bar"])),
        str(turn.trees),
        *([quantity(turn.hours or 0.0, "hours", words)] if planned else []),
    ]


def uncertain(content: Content, words: Words) -> list[str]:
    """Say what cannot be told yet.

    Parameters
    ----------
    content : Content
        The finished run.
    words : Words
        The language.

    Returns
    -------
    list of str
        Sentences; none where all is clear.
    """
    said = []
    valves = content.valves
    ties = tied_ranks(rows(valves))
    first = [span for span in ties.values() if span[0] <= SHOWN]
    if first:
        spans = ", ".join(words("terminal.span", low=low, high=high) for low, high in first)
        said.append(words("terminal.tied", spans=spans))
    unsure = int((valves["confidence"] < UNSURE).sum())
    if unsure:
        said.append(words("terminal.unsure", count=unsure, total=len(valves), share=percent(UNSURE, words)))
    bare = int((content.blocks["readings"] == 0).sum())
    if bare:
        said.append(words("terminal.bare", count=bare))
    return said + thin_blocks(content, words)


def next_steps(content: Content, words: Words) -> list[str]:
    """Say what to do next.

    Parameters
    ----------
    content : Content
        The finished run.
    words : Words
        The language.

    Returns
    -------
    list of str
    """
    said = [words("terminal.next")]
    spots = revisits(content)
    again, out = [s for s in spots if not s.flags], [s for s in spots if s.flags]
    if again:
        where = ", ".join(counted(str(spot.valve or spot.tree) for spot in again))
        said.append(words("terminal.again", count=len(again), where=where))
    if out:
        trees = ", ".join(str(spot.tree) for spot in out[:SHOWN] if spot.tree)
        said.append(words("terminal.repeat", count=len(out), trees=trees))
    return said
