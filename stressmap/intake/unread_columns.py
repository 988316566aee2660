"""What was read of a file's columns, what was not, and what an unread one might have been meant as."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

import pandas as pd

from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import Columns
from stressmap.intake.columns import Table
from stressmap.intake.heading_guesses import meant_by
from stressmap.intake.heading_recognition import Fields, recognise
from stressmap.intake.numbers import parse_numbers
from stressmap.intake.tabular import Sheet
from stressmap.intake.times import read_clock
from stressmap.intake.unit_headings import normal

_FIGURES, _LETTERS = r"\D{0,3}\d.*", r".*[^\W\d_].*"
LIKELY: Mapping[str, str] = MappingProxyType(
    {
        "recheck": "(?s).*", "bag_minutes": "(?s).*", "bagged_at": "(?s).*", "hours": _FIGURES,
        "mm": _FIGURES, "end": _FIGURES, "irrigation": _LETTERS, "soil": _LETTERS, "pump":
        "(?s).*", "rate": _FIGURES,
        "flow": _FIGURES, "planted": r"(?:.*\D)?(?:19|20)\d\d(?:\D.*)?", "harvest": r"\d+\D+\d+.*",
    }
)  # fmt: skip
"""Columns on which readings or the water plan rest, which must not be unread without a word; and what most of
the cells of one look like."""
_BAGGED_FROM_HOURS = 4.0
"""Clocks under a bag's heading that are later than this are moments, not times in the bag."""

_LINKED, _MOST = 0.5, 0.5
_WITHIN, _SHARE = 0.1, 0.3
"""A column whose middle ratio to the pressures is this close to one, in so many rows, may be their second."""


def columns_of(sheet: Sheet, table: Table, fields: Fields, chosen: Mapping[str, str]) -> Noted[Columns]:
    """Tell which columns of a file were read, which were not, and what those might be.

    Parameters
    ----------
    sheet : Sheet
        The file.
    table : Table
        What :func:`stressmap.intake.columns.match` made of it.
    fields : mapping of str to Field
        Our columns.
    chosen : mapping of str to str
        ``[columns]`` of the settings; a heading whose column is ``""`` there is left out on purpose.

    Returns
    -------
    Noted of Columns
        With a warning for each unread column that may hold a second reading or the time in the bag.
    """
    notes = NoteList()
    left_out = {normal(theirs) for theirs, ours in chosen.items() if not ours.strip()}
    read = [(table.headings[ours], _called(ours, fields)) for ours in fields if ours in table.headings]
    unread = [at for at in _unread(sheet, table) if normal(sheet.headings[at]) not in left_out]
    guesses = {at: guess(sheet, at, table, fields) for at in unread}
    for at, ours in guesses.items():
        if ours and ours in LIKELY and _looks(sheet.frame[at], LIKELY[ours]):
            known = {"file": sheet.where, "column": _heading(sheet, at), "ours": _called(ours, fields)}
            notes.say("column_likely_unread", "warning", meant=f"unread_{ours}", **known)
    if _second_as_leaf(table, fields, chosen):
        heading, ours = table.headings["leaf"], _called("recheck", fields)
        notes.say("leaf_likely_second", "warning", file=sheet.where, column=heading, ours=ours)
    meant = [(_heading(sheet, at), _called(ours, fields) if ours else "") for at, ours in guesses.items()]
    return notes.beside(Columns(tuple(_as(heading, ours) for heading, ours in read), tuple(meant)))


def _unread(sheet: Sheet, table: Table) -> Iterable[int]:
    """List the columns that were not read and have a heading or an entry."""
    read = set(table.places.values())
    for at, heading in enumerate(sheet.headings):
        if at not in read and (heading or (sheet.frame[at] != "").any()):
            yield at


def _heading(sheet: Sheet, at: int) -> str:
    """Name a column, by its letter if it has no heading."""
    if sheet.headings[at]:
        return sheet.headings[at][:60]
    letters, rest = "", at + 1
    while rest:
        rest, digit = divmod(rest - 1, 26)
        letters = chr(ord("A") + digit) + letters
    return f"({letters})"


def _called(ours: str, fields: Fields) -> str:
    return fields[ours].shown or ours


def _as(heading: str, ours: str) -> tuple[str, str]:
    same = normal(heading) == ours or normal(heading).startswith(f"{ours}_")
    return heading[:60], "" if same else ours


def guess(sheet: Sheet, at: int, table: Table, fields: Fields) -> str | None:
    """Guess which of our columns an unread one was meant as.

    Parameters
    ----------
    sheet : Sheet
        The file.
    at : int
        Its column.
    table : Table
        What was read of it.
    fields : mapping of str to Field
        Our columns.

    Returns
    -------
    str or None
        Our name, of a column that the file does not have otherwise; None where nothing comes near.
    """
    open_fields = {ours: spec for ours, spec in fields.items() if not table.has(ours)}
    heading, cells = sheet.headings[at], sheet.frame[at]
    itself = recognise(heading, fields)
    if itself and table.has(itself.ours):  # another column was chosen in its place
        return None
    if "bag_minutes" in table.columns or "bagged_at" in table.columns:
        open_fields = {k: v for k, v in open_fields.items() if k not in {"bag_minutes", "bagged_at"}}
    if not (cells != "").any():
        return None
    meant = meant_by(heading, open_fields)
    if meant == "bag_minutes" and "bagged_at" in open_fields:
        clocks = read_clock(cells.where(cells.str.contains(":", regex=False), "")).dt.total_seconds()
        meant = "bagged_at" if clocks.median() > _BAGGED_FROM_HOURS * 3600.0 else meant
    return meant or ("recheck" if "recheck" in open_fields and _like_second(cells, table) else None)


def _looks(cells: pd.Series, pattern: str) -> bool:
    """Tell whether most of the filled cells are of a form."""
    filled = cells[cells != ""]
    return bool(filled.str.fullmatch(pattern).mean() > _MOST)


def _second_as_leaf(table: Table, fields: Fields, chosen: Mapping[str, str]) -> bool:
    """Tell whether what was read as the leaf, unasked, holds pressures where no second reading was found."""
    if not table.has("leaf") or "recheck" not in fields or table.has("recheck"):
        return False
    by_hand = normal(table.headings["leaf"]) in {normal(theirs) for theirs in chosen}
    return not by_hand and _like_second(table.columns["leaf"], table)


def _like_second(cells: pd.Series, table: Table) -> bool:
    """Tell whether a column's figures lie about the pressures of their rows, as a second reading's would."""
    if not table.has("pressure"):
        return False
    first = parse_numbers(table.columns["pressure"], comma=table.comma)[0].abs()
    second = parse_numbers(cells, comma=table.comma)[0].abs()
    both = first.notna() & second.notna() & (first > 0)
    if both.sum() < max(2.0, _SHARE * len(cells)) or second[both].nunique() < min(3, both.sum()):
        return False
    ratio = second[both] / first[both]
    linked = first[both].nunique() < 3 or float(first[both].corr(second[both])) > _LINKED
    return bool(abs(ratio.median() - 1.0) < _WITHIN and linked)
