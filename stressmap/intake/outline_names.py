"""Names that the settings give to outlines by row, where the file has none or one that stands twice."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from stressmap.core.errors import Problem, SettingsError
from stressmap.core.notes import Note, Noted, NoteList
from stressmap.core.sources import InputSource
from stressmap.intake.columns import match
from stressmap.intake.heading_recognition import Field
from stressmap.intake.polygon_files import Outlines, read_outlines

PROVISIONAL = "?"
"""A name that ends in it is not yet the right one."""


@dataclass(frozen=True)
class OutlineFile:
    """A file of outlines, and the names that ``[names]`` gives to its rows.

    Parameters
    ----------
    source : InputSource
        The file.
    names : mapping of str to str
        Row of the file, the first outline being row 2 -> name.
    settings_file : str
        Where they stand, for messages.
    """

    source: InputSource
    names: Mapping[str, str] = field(default_factory=dict)
    settings_file: str = "ranch.toml"

    @classmethod
    def of(cls, given: Path | InputSource | OutlineFile) -> OutlineFile:
        """Take a file without names; one with names stays what it is."""
        return given if isinstance(given, OutlineFile) else cls(InputSource.of(given))

    def read(self) -> Outlines:
        """Read it as it is; see :func:`stressmap.intake.polygon_files.read_outlines`."""
        return read_outlines(self.source)

    def named(
        self, outlines: Outlines, fields: Mapping[str, Field], columns: Mapping[str, str], name: str
    ) -> Noted[Outlines]:
        """Put the names in the place of those of the file.

        Parameters
        ----------
        outlines : Outlines
            As read, slivers joined.
        fields : mapping of str to Field
            The columns that may be there.
        columns : mapping of str to str
            ``[columns]`` of the settings.
        name : str
            ``"block"`` or ``"valve"``.

        Returns
        -------
        Noted of Outlines
            Says which names are provisional still.

        Raises
        ------
        SettingsError
            If there is no outline in one of the rows.
        """
        if not self.names:
            return Noted(outlines)
        sheet, rows = outlines.sheet, {int(row): text for row, text in self.names.items()}
        self._refuse_unknown(rows, outlines, name)
        table = match(sheet, fields, columns, required=())
        frame, headings, units = sheet.frame.copy(), sheet.headings, sheet.units
        at = table.places.get(name, len(headings))
        if not table.has(name):
            frame[at], headings, units = "", (*headings, name), (*units, "")
        before = [" ".join(cell.split()) for cell in frame.loc[list(rows), at]]
        frame.loc[list(rows), at] = list(rows.values())
        notes, told = NoteList(), {"file": sheet.where, "kind": f"{name}s"}
        notes.say("outlines_named", **told, count=len(rows), rows=list(rows), before=before)
        notes.add(provisional(rows, **told))
        made = dataclasses.replace(sheet, frame=frame, headings=headings, units=units)
        return notes.beside(dataclasses.replace(outlines, sheet=made))

    def _refuse_unknown(self, rows: Mapping[int, str], outlines: Outlines, name: str) -> None:
        known = set(outlines.sheet.frame.index)
        remedy = f"Write the row of an outline: the first is row 2, the last row {max(known)}"
        problems = [
            Problem(
                self.settings_file,
                f"{outlines.sheet.where} has no outline of its own in row {row}",
                remedy,
                column=f"names.{name}s.{row}",
            )
            for row in rows
            if row not in known
        ]
        if problems:
            raise SettingsError(problems)


def provisional(rows: Mapping[int, str], **told: str) -> tuple[Note, ...]:
    """Say which names are not the right ones yet.

    Parameters
    ----------
    rows : mapping of int to str
        Row -> name.
    **told : str
        ``file`` and ``kind``, for the note.

    Returns
    -------
    tuple of Note
        One or none.
    """
    open_ = {row: text for row, text in rows.items() if text.endswith(PROVISIONAL)}
    if not open_:
        return ()
    return (Note.of("names_provisional", "warning", rows=list(open_), names=list(open_.values()), **told),)


def replaced_names(notes: Iterable[Note]) -> frozenset[str]:
    """List the names of blocks in whose place ``[names.blocks]`` put others.

    Parameters
    ----------
    notes : iterable of Note
        Said when the blocks were read.

    Returns
    -------
    frozenset of str
    """
    named = [note for note in notes if note.code == "outlines_named" and note.value("kind") == "blocks"]
    return frozenset(str(name) for note in named for name in _listed(note) if name)


def _listed(note: Note) -> tuple[object, ...]:
    before = note.value("before")
    return before if isinstance(before, tuple) else ()


def names_to_give(labels: Mapping[int, str], letter: str) -> dict[int, str]:
    """Make provisional names where outlines have none, or one that stands twice.

    Parameters
    ----------
    labels : mapping of int to str
        Name of each row, ``""`` where none; capital letters do not tell names apart.
    letter : str
        What a name without any word of the file begins with.

    Returns
    -------
    dict of int to str
        Row -> name, for those rows alone.

    Examples
    --------
    >>> names_to_give({2: "North", 3: "", 4: "north", 5: "East"}, "B")
    {2: 'North 1?', 3: 'B2?', 4: 'north 2?'}
    """
    folds = {row: text.casefold() for row, text in labels.items()}
    held = list(folds.values())
    taken = set(held)
    made: dict[int, str] = {}
    for place, (row, text) in enumerate(labels.items(), start=1):
        if text and held.count(folds[row]) == 1:
            continue
        number = place if not text else 1
        while (name := f"{text} {number}?" if text else f"{letter}{number}?").casefold() in taken:
            number += 1
        taken.add(name.casefold())
        made[row] = name
    return made
