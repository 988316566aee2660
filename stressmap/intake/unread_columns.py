"""What was read of a file's columns, what was not, and what an unread one might have been meant as."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from types import MappingProxyType

import pandas as pd

from stressmap.core.notes import Noted, NoteList
from stressmap.core.row_counts import Columns
from stressmap.intake.columns import Field, Fields, Table, names, recognise
from stressmap.intake.numbers import parse_numbers
from stressmap.intake.tabular import Sheet
from stressmap.intake.unit_headings import apart, normal, split_unit

_SHORT: Mapping[str, str] = MappingProxyType(
    {
        "yr": "year", "plt": "plant", "pltd": "planted", "plntd": "planted", "irr": "irrigation",
        "irrig": "irrigation", "sys": "system", "var": "variety", "pres": "pressure", "press": "pressure",
        "prs": "pressure", "temp": "temperature", "tmp": "temperature", "hum": "humidity", "dt": "date",
        "dtm": "datetime", "tm": "time", "val": "valve", "vlv": "valve", "blk": "block", "hrs": "hours",
        "min": "minutes", "mins": "minutes", "rd": "reading", "rdg": "reading", "no": "", "num": "",
        "number": "", "id": "", "of": "", "de": "", "del": "", "la": "", "el": "", "the": "",
        "arb": "arbol", "pre": "presion", "lect": "lectura", "fec": "fecha", "hr": "hora", "precip":
        "precipitation", "rad": "radiation", "vel": "", "spd": "speed", "harv": "harvest",
    }
)  # fmt: skip
"""What people shorten in headings, and words that carry nothing."""

_SECOND = (
    "2 2nd 2a 2da 2do second secnd segunda segundo sec recheck rechk chk check again repeat repeated "
    "repetida repeticion otra vez dup duplicate double duplicado twice comprobada comprob re verif verify "
    "verified control reread remeasured confirm confirmed"
)
_CLUES: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "recheck": frozenset(names(_SECOND)),
        "bag_minutes": frozenset(
            ["bag", "bagged", "bagging", "bags", "bolsa", "bolsas", "embolsado", "embolsada", "foil", "sack"]
        ),
    }
)
"""Words by which a second reading or a time in the bag is known, in headings that nothing else explains."""

_OTHER = frozenset(names("dir direction direccion max min gust gusts racha rafaga std sd total"))
"""Words of a figure other than ours: the direction or a gust of the wind, a day's extremes."""

LIKELY = frozenset({"recheck", "bag_minutes", "bagged_at"})
"""Columns by which readings are judged: one that is there and not read lets a doubtful reading pass."""

_ALIKE, _LINKED = 0.8, 0.5
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
        if ours in LIKELY:
            known = {"file": sheet.where, "column": _heading(sheet, at), "ours": _called(ours, fields)}
            notes.say("column_likely_unread", "warning", meant=ours, **known)
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
    return meant_by(heading, open_fields) or (
        "recheck" if "recheck" in open_fields and _like_second(cells, table) else None
    )


def meant_by(heading: str, fields: Mapping[str, Field]) -> str | None:
    """Guess which of our columns a heading means that was not recognised.

    Parameters
    ----------
    heading : str
        As written.
    fields : mapping of str to Field
        Our columns that are still open.

    Returns
    -------
    str or None

    Examples
    --------
    >>> fields = {"planted": Field(("year_planted", "plant_year")), "recheck": Field(("second_reading",))}
    >>> meant_by("PLANT_YR", fields), meant_by("psi again", fields), meant_by("OBJECTID", fields)
    ('planted', 'recheck', None)
    """
    name, unit = split_unit(apart(heading))
    name = name or normal(heading)
    words = [word for word in name.split("_") if word]
    if "recheck" in fields and unit in fields["recheck"].units and _CLUES["recheck"] & set(words):
        return "recheck"
    whole = "_".join(filter(None, (_SHORT.get(word, word) for word in words)))
    seen = recognise(whole, fields) if whole else None
    if seen:
        return seen.ours
    for ours, clues in _CLUES.items():
        if ours in fields and clues & set(words):
            return ours
    if _OTHER & set(words):
        return None
    return _nearest(name, whole, fields)


def _nearest(name: str, whole: str, fields: Mapping[str, Field]) -> str | None:
    spelled = {own: ours for ours, spec in fields.items() for own in (ours, *spec.names) if len(own) > 3}
    for text in (name, whole):
        near = difflib.get_close_matches(text, list(spelled), n=1, cutoff=_ALIKE)
        if near:
            return spelled[near[0]]
    held = [spelled[word] for word in whole.split("_") if word in spelled]
    return held[0] if len(set(held)) == 1 else None


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
