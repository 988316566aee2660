"""Which column is which: the usual spellings in English and Spanish, for any kind of table.

A table is described once, as a dictionary of :class:`Field`; :func:`match` turns a
:class:`~stressmap.intake.tabular.Sheet` into a :class:`Table` with our names.

Use, for a new kind of table::

    FIELDS = {"time": Field(("time", "fecha")), "wind": Field(("wind", "viento"), units=("m/s", "mph"))}
    known = recogniser(FIELDS, settings.columns)
    table = match(read_sheet(source, known).value, FIELDS, settings.columns, required=("time",))
    wind = table.numbers("wind")          # float Series by spreadsheet row, NaN where the file had none
    unit = table.unit("wind")             # "m/s", "mph" or None
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import pandas as pd

from stressmap.core.errors import DataError, Problem
from stressmap.intake.heading_guesses import meant_by
from stressmap.intake.heading_recognition import Fields, Seen, recognise
from stressmap.intake.numbers import parse_numbers, writes_comma
from stressmap.intake.tabular import Sheet
from stressmap.intake.unit_headings import normal, split_unit, unit_in

MOST_PROBLEMS = 10
"""So many faulty cells of a column are listed, then their count."""


def recogniser(fields: Fields, chosen: Mapping[str, str]) -> Callable[[str], bool]:
    """Make the test that finds the header of a file.

    Parameters
    ----------
    fields : mapping of str to Field
        Our columns.
    chosen : mapping of str to str
        ``[columns]`` of the settings.

    Returns
    -------
    callable
        Of a heading, whether it is recognised.
    """
    picked = _picked(fields, chosen)
    return lambda heading: normal(heading) in picked or recognise(heading, fields) is not None


def fitting(
    fields: Fields, chosen: Mapping[str, str], *needed: tuple[str, ...]
) -> Callable[[Sequence[str]], bool]:
    """Make the test whether a row of cells has the headings of a kind of table.

    Parameters
    ----------
    fields : mapping of str to Field
        Our columns.
    chosen : mapping of str to str
        ``[columns]`` of the settings.
    *needed : tuple of str
        Our names, of which one of each tuple must be there.

    Returns
    -------
    callable
        Of a row of cells.
    """
    picked = _picked(fields, chosen)

    def fits(cells: Sequence[str]) -> bool:
        seen = (recognise(picked.get(normal(cell), cell), fields) for cell in cells if cell)
        there = {one.ours for one in seen if one}
        return all(there & set(names) for names in needed)

    return fits


@dataclass(frozen=True)
class Table:
    """A sheet under our names.

    Parameters
    ----------
    where : str
        File, for messages.
    index : Index of int
        Rows as a spreadsheet shows them.
    columns : dict of str to Series of str
        Cells by our name, ``""`` where empty; only what the file has.
    headings : dict of str to str
        How the file spells each of them.
    units : dict of str to str
        Unit that the heading or a row of units states.
    comma : bool
        Whether the file writes a decimal comma.
    places : dict of str to int
        Which of the file's columns each is, counted from 0.
    """

    where: str
    index: pd.Index
    columns: dict[str, pd.Series]
    headings: dict[str, str]
    units: dict[str, str] = field(default_factory=dict)
    comma: bool = False
    places: dict[str, int] = field(default_factory=dict)

    def has(self, name: str) -> bool:
        """Tell whether the file has a column."""
        return name in self.columns

    def unit(self, name: str) -> str | None:
        """Tell the unit that a column's heading states, None if none."""
        return self.units.get(name)

    def text(self, name: str) -> pd.Series:
        """Give a column as text, None where empty or where the file lacks the column."""
        if name not in self.columns:
            return pd.Series([None] * len(self.index), index=self.index, dtype=object)
        cells = self.columns[name].astype(object)
        return cells.where(cells != "", None)

    def numbers(self, name: str, *, wanted: str = "a number") -> pd.Series:
        """Give a column as floats, NaN where empty or where the file lacks the column.

        Parameters
        ----------
        name : str
            Our name.
        wanted : str
            What belongs there, for the message: ``"bar as a number"``.

        Returns
        -------
        Series of float

        Raises
        ------
        DataError
            Where there is text instead, with row and column.
        """
        if name not in self.columns:
            return pd.Series(float("nan"), index=self.index)
        value, bad = parse_numbers(self.columns[name], comma=self.comma)
        self.refuse(name, bad, "is not a number", f"Write {wanted}, or leave the cell empty")
        return value

    def refuse(self, name: str, bad: pd.Series, what: str, remedy: str) -> None:
        """Raise for the cells marked ``bad``; do nothing if there is none.

        Parameters
        ----------
        name : str
            Our name.
        bad : Series of bool
            Which cells are wrong.
        what : str
            What is wrong, after the cell's value in quotation marks.
        remedy : str
            What to do about it.

        Raises
        ------
        DataError
            One problem per cell, up to ``MOST_PROBLEMS``.
        """
        cells = self.columns.get(name, self.text(name))[bad]
        if cells.empty:
            return
        heading = self.headings.get(name, name)
        if len(cells) > 1 and bool((bad | self.text(name).isna()).all()):
            what += ", nor is any other cell of the column" if " not " in what else " (like all others)"
            cells = cells.head(1)
        problems = [
            Problem(self.where, f"{str(cell)[:60]!r} {what}", remedy, row=row, column=heading)
            for row, cell in list(zip(cells.index.tolist(), cells.tolist(), strict=True))[:MOST_PROBLEMS]
        ]
        more = len(cells) - len(problems)
        if more > 0:
            problems.append(Problem(self.where, f"{more} more such cells", remedy, column=heading))
        raise DataError(problems)


def match(sheet: Sheet, fields: Fields, chosen: Mapping[str, str], required: tuple[str, ...] = ()) -> Table:
    """Give a sheet's columns our names.

    Parameters
    ----------
    sheet : Sheet
        What a file holds.
    fields : mapping of str to Field
        Our columns and their spellings.
    chosen : mapping of str to str
        ``[columns]`` of the settings: the file's heading -> our name (with a unit if wanted,
        ``pressure_mpa``). What it names wins over what is recognised, and ``""`` leaves a column out; an
        entry for a column that this kind of table does not have is meant for another file.
    required : tuple of str
        Columns without which the table is of no use.

    Returns
    -------
    Table

    Raises
    ------
    DataError
        If two columns could be one of ours, or a required one is not there.
    """
    problems: list[Problem] = []
    columns, headings, units, places = {}, {}, {}, {}
    found = _candidates(sheet, fields, chosen)
    for ours, candidates in found.items():
        left = _settled(sheet, candidates)
        if len(left) > 1:
            problems.append(
                _ambiguous(sheet, fields[ours].shown or ours, [sheet.headings[c.at] for c in left])
            )
            continue
        at = left[0].at
        columns[ours] = sheet.frame[at]
        headings[ours], places[ours] = sheet.headings[at], at
        stated = _stated_unit(left[0], sheet)
        if stated in fields[ours].units:
            units[ours] = stated
    problems += [_missing(sheet, ours, fields) for ours in required if ours not in found]
    if problems:
        raise DataError(problems)
    comma = any(writes_comma(cells) for cells in columns.values())
    return Table(sheet.where, sheet.frame.index, columns, headings, units, comma, places)


def doubtful(sheet: Sheet, fields: Fields, chosen: Mapping[str, str]) -> list[tuple[str, str]]:
    """List the headings that could be a column of ours as well as one before them.

    Parameters
    ----------
    sheet : Sheet
        What a file holds.
    fields : mapping of str to Field
        Our columns and their spellings.
    chosen : mapping of str to str
        ``[columns]`` of the settings.

    Returns
    -------
    list of (str, str)
        Heading and our name; the first that could be it is not among them, nor what is spelled like that.
    """
    found = []
    for ours, candidates in _candidates(sheet, fields, chosen).items():
        first, *others = [sheet.headings[c.at] for c in _settled(sheet, candidates)]
        found += [(heading, ours) for heading in others if normal(heading) != normal(first)]
    return found


class _Candidate(NamedTuple):
    at: int
    seen: Seen
    by_hand: bool


def _picked(fields: Fields, chosen: Mapping[str, str]) -> dict[str, str]:
    """Keep of ``[columns]`` what names a column of this kind of table, or none."""
    return {
        normal(theirs): ours for theirs, ours in chosen.items() if not ours.strip() or recognise(ours, fields)
    }


def _candidates(sheet: Sheet, fields: Fields, chosen: Mapping[str, str]) -> dict[str, list[_Candidate]]:
    """List for each of our columns the file's columns that could be it."""
    picked = _picked(fields, chosen)
    found: dict[str, list[_Candidate]] = {}
    for at, heading in enumerate(sheet.headings):
        by_hand = normal(heading) in picked
        seen = recognise(picked.get(normal(heading), heading), fields)
        if seen:
            found.setdefault(seen.ours, []).append(_Candidate(at, seen, by_hand))
    return found


def _stated_unit(candidate: _Candidate, sheet: Sheet) -> str | None:
    """Tell a column's unit: its heading before a row of units before what ``[columns]`` calls it."""
    own = candidate.seen.unit
    if candidate.by_hand:
        heading = sheet.headings[candidate.at]
        own = split_unit(heading)[1] or unit_in(normal(heading).split("_")[0])  # "inches applied"
    # "pressure_bar" under [columns] is our name for the column, not a word about its unit
    called = candidate.seen.unit if candidate.seen.unit != "bar" else None
    return own or unit_in(sheet.units[candidate.at]) or called


def _settled(sheet: Sheet, candidates: list[_Candidate]) -> list[_Candidate]:
    """Keep what ``[columns]`` chose, else what is surely meant, else what holds anything."""
    chosen = [c for c in candidates if c.by_hand]
    if chosen:
        return chosen
    sure = [c for c in candidates if not c.seen.weak] or candidates
    filled = [c for c in sure if (sheet.frame[c.at] != "").any()]
    return filled or sure[:1]


def _ambiguous(sheet: Sheet, ours: str, theirs: list[str]) -> Problem:
    shown = " and ".join(repr(t) for t in theirs)
    if len(set(theirs)) < len(theirs):
        return Problem(sheet.where, f"two columns are both called {theirs[0]!r}", "Rename one of them")
    what = f"the columns {shown} could each be {ours}"
    return Problem(sheet.where, what, f'Say which under [columns], "{theirs[0]}" = "{ours}"')


def _missing(sheet: Sheet, ours: str, fields: Fields) -> Problem:
    shown = fields[ours].shown or ours
    usual = ", ".join(list(dict.fromkeys((shown, *fields[ours].names)))[:4])
    spelled = _likely(sheet, ours, fields)
    example = spelled[0] if spelled else "your heading"
    there = ", ".join(h for h in sheet.headings if h)[:160]
    what = f"no column is recognised as {shown} (usual headings: {usual}); the file has {there}"
    return Problem(sheet.where, what, f'Add it, or name it under [columns], "{example}" = "{shown}"')


def _likely(sheet: Sheet, ours: str, fields: Fields) -> list[str]:
    """List the headings, none of them recognised, that may be a column, the likeliest first."""
    near = difflib.get_close_matches(ours, [normal(h) for h in sheet.headings if h], n=1, cutoff=0.7)
    open_headings = [h for h in sheet.headings if h and recognise(h, fields) is None]
    meant = [h for h in open_headings if meant_by(h, fields) == ours]
    return [h for h in sheet.headings if near and normal(h) == near[0]] or meant
