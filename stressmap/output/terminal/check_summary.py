"""What the check of a ranch's files prints, in the ranch's first language."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator

from rich.console import Console

from stressmap.core.notes import Note
from stressmap.intake.inputs import Inputs
from stressmap.output.text.note_words import by_severity, columns_told, rows_told, sentence, sentences
from stressmap.output.text.words import Words
from stressmap.output.view.quantities import quantity
from stressmap.quality.assessment_summary import Summary
from stressmap.quality.record_spans import span_notes

INDENTED = frozenset({"flagged", "visit_first", "visit_later", "readings_of_no_visit"})
"""Lines that stand under a heading."""


def print_check(
    inputs: Inputs,
    visit: tuple[dt.date, dt.date],
    found: Summary,
    notes: Iterable[Note],
    console: Console,
) -> None:
    """Print what a check found.

    Parameters
    ----------
    inputs : Inputs
        What was read.
    visit : tuple of date
        First and last day.
    found : Summary
        From :func:`stressmap.quality.assessment_summary.summarise`.
    notes : iterable of Note
        What was mended, assumed or is missing.
    console : Console
        The terminal.
    """
    ranch = inputs.settings.ranch
    words = Words(ranch.languages[0], ranch.units)
    warnings, others = by_severity(notes)
    top = (words("terminal.warning", note=text) for text in sentences(warnings, words))
    head = _head(inputs, visit, found, words)
    for line in (*top, *head, *_lines(inputs, found, others, words)):
        console.print(line, markup=False)


def _head(inputs: Inputs, visit: tuple[dt.date, dt.date], found: Summary, words: Words) -> tuple[str, str]:
    area = quantity(float(inputs.blocks.geometry.area.sum()) / 10_000, "area", words)
    first, last = visit
    days = str(first) if first == last else words("locale.span", first=first, last=last)
    counts = {"blocks": len(inputs.blocks), "valves": len(inputs.valves), "crs": inputs.crs.to_string()}
    return (
        words("check.head", ranch=inputs.settings.ranch.name, area=area, **counts),
        words("check.visit", visit=days, used=found.counts["used"], rows=found.counts["rows"]),
    )


def _rows(inputs: Inputs, words: Words) -> Iterator[str]:
    """Tell of every file what became of its rows and columns, and list the rows that were left out."""
    for counts in inputs.counts:
        head, *reasons = rows_told(counts, words)
        yield f"{head} {columns_told(counts, words)}"
        if counts.kind != "readings":  # those stand above, with their trees
            yield from (f"  {line}" for line in reasons)
    for note in span_notes(inputs.irrigation, inputs.weather, inputs.valves["valve"]):
        yield sentence(note, words)


def _lines(inputs: Inputs, found: Summary, notes: Iterable[Note], words: Words) -> Iterator[str]:
    for note in (*found.lines, *found.visits):
        yield ("  " if note.code in INDENTED else "") + sentence(note, words)
    yield from _rows(inputs, words)
    for text in sentences(notes, words):
        yield words("terminal.note", note=text)
    if found.first:
        yield words("check.first")
        yield from (f"  {sentence(note, words)}" for note in found.first)
