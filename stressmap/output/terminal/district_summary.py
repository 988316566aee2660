"""What ``district`` prints, in the district's first language: what was done, what failed, what is driest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from rich.console import Console

from stressmap.output.text.district_words import DistrictWords
from stressmap.output.text.note_words import sentences
from stressmap.output.text.problem_words import problem_text
from stressmap.output.text.words import Words
from stressmap.output.view.crew_words import priority_words
from stressmap.output.view.district_content import DistrictContent
from stressmap.output.view.shared_water import shared_water_text

MOST_FAILURES = 10
MOST_VALVES = 5
MANY_ALIKE = 3
"""So many ranches that get their water for one reason share a line."""
FIRST_FILES = ("district.html", "district.csv", "problems.csv", "district_water.csv")


def print_district(content: DistrictContent, folder: Path, console: Console) -> None:
    """Print what came of a district.

    Parameters
    ----------
    content : DistrictContent
        What the overview was made from.
    folder : Path
        Where it is.
    console : Console
        The terminal.
    """
    for line in _lines(content, folder):
        console.print(line, markup=False)


def _lines(content: DistrictContent, folder: Path) -> Iterator[str]:
    words = Words(content.languages[0], content.units)
    say = DistrictWords(words)
    states = Counter(one.state for one in content.results)
    told = {state: states[state] for state in ("mapped", "unchanged", "failed")}
    yield content.name
    yield say("said.ranches", count=len(content.results), **told)
    yield from _failures(content, say)
    ranked = content.valves[content.valves["rank"].notna()]
    if len(ranked):
        yield say("said.first")
        for row in ranked.head(MOST_VALVES).to_dict("records"):
            short = words("priority.short", number=row["priority"])
            past = row["past_limit"] and row["measured"]
            label = words("past.short", short=short) if past else priority_words(row["priority"], words)
            yield say("said.valve", rank=row["rank"], ranch=row["ranch"], valve=row["valve"], label=label)
    yield from _water(content, say)
    yield from (words("terminal.note", note=text) for text in sentences(content.notes, words))
    yield ""
    there = [name for name in FIRST_FILES if (folder / name).is_file()]
    yield f"{say('said.folder', folder=folder)} {', '.join(there)}"


def _water(content: DistrictContent, say: DistrictWords) -> Iterator[str]:
    """Tell what each ranch gets of the water that they share."""
    if content.shared is None:
        return
    told = shared_water_text(content.shared, content.title_of, say)
    yield f"{told.heading}: {told.lines[0]}"
    for why, rows in groupby(told.rows, key=itemgetter(4)):
        yield from (f"  {line}" for line in _shares(list(rows), why, say))
    yield from told.lines[1:]


def _shares(told: list[tuple[str, ...]], why: str, say: DistrictWords) -> Iterator[str]:
    """Tell what ranches get for one reason; many of them in one line, the reason said once."""
    named = [dict(zip(("ranch", "gets", "equal", "needs"), row, strict=False)) for row in told]
    if len(told) < MANY_ALIKE:
        yield from (say("water.line", **one, why=why) for one in named)
        return
    shares = "; ".join(say("water.part", **one) for one in named)
    yield say("water.group", count=len(told), why=why, shares=shares)


def _failures(content: DistrictContent, say: DistrictWords) -> Iterator[str]:
    failed = [
        (title, problem)
        for title, one in zip(content.titles, content.results, strict=True)
        for problem in one.problems
    ]
    for title, problem in failed[:MOST_FAILURES]:
        yield say("said.failed", ranch=title, problem=problem_text(problem, say))
    if len(failed) > MOST_FAILURES:
        yield say("said.more", count=len(failed) - MOST_FAILURES, file="problems.csv")
