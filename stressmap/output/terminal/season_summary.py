"""The season on the terminal: what is due first."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.table import Table

from stressmap.core.notes import Note
from stressmap.core.settings import Ranch
from stressmap.output.terminal.plain_console import PlainConsole
from stressmap.output.text.note_words import sentences
from stressmap.output.text.words import Words, text_of
from stressmap.output.view.advice import advice
from stressmap.season.season import Season

SHOWN = 12


def print_season(season: Season, ranch: Ranch, folder: Path, notes: Sequence[Note]) -> None:
    """Print the counts, the valve zones that are due first, and what there is to say.

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
    console = PlainConsole(soft_wrap=False)
    language = ranch.languages[0]
    words = Words(language, ranch.units)

    def say(key: str, **values: object) -> str:
        return text_of(f"advice_{language}", f"summary.{key}", values)

    first, last = season.visits[0][0], season.visits[-1][1]
    told = {"first": words.date(first), "last": words.date(last), "visits": len(season.visits)}
    console.print(say("head", ranch=ranch.name, **told), markup=False)
    table = Table(box=None, pad_edge=False)
    for name in ("valve", "block", "stress", "when"):
        table.add_column(say(name), justify="right" if name == "stress" else "left")
    for row in season.due.head(SHOWN).to_dict("records"):
        stress = words.number(row["stress_bar"])
        told_of = advice(row, language, alarmed=row.get("zone") in season.alarmed)
        table.add_row(str(row["valve"]), str(row["block"]), stress, told_of)
    console.print(table)
    if (total := len(season.due)) > SHOWN:
        console.print(say("shown", shown=SHOWN, total=total), markup=False)
    for text in sentences(notes, words):
        console.print(words("terminal.note", note=text), markup=False)
    console.print(words("terminal.folder", folder=folder), markup=False)
