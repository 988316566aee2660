"""What ``form``, ``start`` and ``water`` print, in the ranch's first language."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from stressmap.core.notes import Note
from stressmap.core.settings import Ranch
from stressmap.output.text.form_words import form_word
from stressmap.output.text.note_words import sentences
from stressmap.output.text.start_words import StartWords
from stressmap.output.text.words import Words

if TYPE_CHECKING:
    from stressmap.water.value_of_water import WaterValueCurve
    from stressmap.water.water_plan import Advice


def form_lines(ranch: Ranch, out: Path, notes: Sequence[Note], **known: int) -> Iterator[str]:
    """Say what a form knows and what to do with it.

    Parameters
    ----------
    ranch : Ranch
        Languages and units.
    out : Path
        Its folder.
    notes : sequence of Note
        What there is to say of the files.
    **known : int
        ``trees``, ``stops``, ``sets``.

    Yields
    ------
    str
        A line.
    """
    first = ranch.languages[0]
    words = Words(first, ranch.units)
    yield from (words("terminal.note", note=text) for text in sentences(notes, words))
    yield form_word(first, "made.form", folder=out, **known)
    yield form_word(first, "made.host")


def start_lines(
    folder: Path, pages: Sequence[str], words: Words, known: tuple[int, bool], notes: Sequence[Note],
    to_mend: Sequence[object],
) -> Iterator[str]:  # fmt: skip
    """Say what a new ranch folder holds and what is still to be filled in.

    Parameters
    ----------
    folder : Path
        Of the ranch.
    pages : sequence of str
        Its files.
    words : Words
        Language and units.
    known : tuple of (int, bool)
        How many blocks there are, and whether a crop must still be filled in.
    notes : sequence of Note
        What there is to say of the polygons.
    to_mend : sequence
        Problems that a run would stop at.

    Yields
    ------
    str
        A line.
    """
    say = StartWords(words.language, words.units)
    blocks, asked = known
    yield say("said.made", folder=folder, pages=", ".join(pages), blocks=blocks)
    yield from (words("terminal.note", note=text) for text in sentences(notes, words))
    yield from (say("said.to_mend", problem=problem) for problem in to_mend)
    table = next((page for page in pages if page.endswith("s.csv") and "/" not in page), None)
    if table is not None:
        yield say("said.table" if asked else "said.table_filled", table=folder / table)
    sheets = next(folder / page for page in pages if "/" in page).parent
    yield say("said.readings", sheets=sheets, settings=folder / "ranch.toml")


def print_plan(
    ranch: Ranch,
    plan: tuple[Advice, WaterValueCurve | None],
    notes: Sequence[Note],
    console: Console,
    *,
    trees: Mapping[str, int],
    out: Path | None,
) -> None:
    """Print a water plan that was made alone.

    Parameters
    ----------
    ranch : Ranch
        Name, languages, units.
    plan : tuple of (Advice, WaterValueCurve or None)
        The plan, and relief against water.
    notes : sequence of Note
        What there is to say.
    console : Console
        The terminal.
    trees : mapping of str to int
        Read trees behind each valve.
    out : Path or None
        Where its files are.
    """
    from stressmap.output.terminal.plan_tables import print_advice, print_curve
    from stressmap.output.view.water_words import first_words

    advice, curve = plan
    words, labels = first_words(ranch), Words(ranch.languages[0], ranch.units)
    console.print(ranch.name, markup=False)
    print_advice(advice, words, console, trees)
    if curve is not None:
        console.print()
        print_curve(curve, words, console)
    console.print()
    for text in sentences(notes, labels):
        console.print(labels("terminal.note", note=text), markup=False)
    if out is not None:
        console.print(labels("terminal.folder", folder=out), markup=False)
