"""Which of our columns a heading is: spelled out, cut as shapefiles do, or with its words shortened."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from stressmap.intake.unit_headings import UNITS, apart, normal, split_unit

CUT_LETTERS = (9, 10)
"""So many letters a shapefile keeps of a heading."""
FEWEST_LETTERS = 3
"""A word of a heading that is cut keeps so many letters at least."""


@dataclass(frozen=True)
class Field:
    """How one of our columns may be called.

    Parameters
    ----------
    names : tuple of str
        Spellings, normalised (see :func:`stressmap.intake.unit_headings.normal`), without the unit.
    units : tuple of str
        Units that a heading may end with, as this package writes them; empty for none.
    weak : tuple of str
        Spellings too general to trust (``id``, ``name``): taken only if nothing else is that column.
    stated : tuple of str
        Spellings that mean it only with one of the units behind: ``precip_mmh`` of a valve.
    shown : str
        What users call it, where that is not our short name: ``pressure_bar``.
    """

    names: tuple[str, ...]
    units: tuple[str, ...] = ()
    weak: tuple[str, ...] = ()
    stated: tuple[str, ...] = ()
    shown: str = ""


Fields = Mapping[str, Field]


def names(words: str) -> tuple[str, ...]:
    """Split a string of spellings, for short dictionaries.

    Parameters
    ----------
    words : str
        Spellings between blanks.

    Returns
    -------
    tuple of str
    """
    return tuple(words.split())


def ended(words: str, endings: str) -> tuple[str, ...]:
    """Put each ending behind each spelling.

    Parameters
    ----------
    words, endings : str
        Spellings and endings between blanks.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> ended("crop cultivo", "nm cd")
    ('crop_nm', 'crop_cd', 'cultivo_nm', 'cultivo_cd')
    """
    return tuple(f"{word}_{ending}" for word in words.split() for ending in endings.split())


class Seen(NamedTuple):
    """What a heading was recognised as: our name, the unit it states, and whether on weak grounds."""

    ours: str
    unit: str | None = None
    weak: bool = False


def recognise(heading: str, fields: Fields) -> Seen | None:
    """Tell which of our columns a heading is.

    Parameters
    ----------
    heading : str
        As written.
    fields : mapping of str to Field
        Our columns.

    Returns
    -------
    Seen or None
        None if it is not recognised.

    Examples
    --------
    >>> fields = {"pressure": Field(("pressure", "presion", "psi"), ("bar", "MPa", "psi"))}
    >>> recognise("Presión (MPa)", fields)
    Seen(ours='pressure', unit='MPa', weak=False)
    >>> recognise("PSI", fields), recognise("__class__", fields)
    (Seen(ours='pressure', unit='psi', weak=False), None)
    """
    spaced = apart(heading)
    return (
        _recognise(heading, fields)
        or (_recognise(spaced, fields) if spaced != heading else None)
        or _recognise_cut(heading, fields)
        or _recognise_shortened(spaced, fields)
    )


def _recognise_cut(heading: str, fields: Fields) -> Seen | None:
    """Recognise a heading of which a shapefile kept ten letters or fewer: the start of one of our names."""
    name = normal(heading)
    if len(heading.strip()) not in CUT_LETTERS or len(name) < min(CUT_LETTERS):
        return None
    found = {
        Seen(ours, unit, weak=True)
        for ours, spec in fields.items()
        for own in (ours, *spec.names)
        for ending, unit in (("", None), *((f"_{normal(unit)}", unit) for unit in spec.units))
        if len(own) + len(ending) > len(name) and f"{own}{ending}".startswith(name)
        if unit is None or len(own) < len(name)
    }
    return found.pop() if len(found) == 1 else None


def _recognise_shortened(heading: str, fields: Fields) -> Seen | None:
    """Recognise a heading of several words, each cut or without vowels: ``IRRIG_SYST``, ``ROW_SPACNG``."""
    whole, (name, unit) = normal(heading), split_unit(heading)
    if "_" not in whole or whole[0].isdigit():  # one word or a time, as nearly all cells of a table are
        return None
    found = set()
    for ours, spec in fields.items():
        for text, stated in ((whole, None), (name, unit if unit in spec.units else None)):
            if (stated or text == whole) and any(_shortens(text, own) for own in (ours, *spec.names)):
                found.add(Seen(ours, stated, weak=True))
    return found.pop() if len({seen.ours for seen in found}) == 1 == len(found) else None


def _shortens(text: str, spelling: str) -> bool:
    if text[:1] != spelling[:1]:
        return False
    short, long = _words(text), _words(spelling)
    if not len(short) == len(long) > 1:
        return False
    return all(_short_word(word, whole) for word, whole in zip(short, long, strict=True))


@lru_cache(maxsize=4096)
def _words(text: str) -> tuple[str, ...]:
    return tuple(text.split("_"))


def _short_word(word: str, whole: str) -> bool:
    """Tell whether a word is another's beginning, or that without some or all of its vowels."""
    if word == whole:
        return True
    bare = re.sub(r"(?<=.)[aeiou]", "", whole)
    cut = len(word) >= FEWEST_LETTERS and (whole.startswith(word) or bare.startswith(word))
    return cut or (
        whole[:1] == word[:1] != "" and re.sub(r"(?<=.)[aeiou]", "", word) == bare and len(bare) > 1
    )


def _recognise(heading: str, fields: Fields) -> Seen | None:
    full = normal(heading)
    name, unit = split_unit(heading)
    if not full:
        return None
    for ours, spec in fields.items():
        if unit in spec.units and name and (name == ours or name in spec.names or name in spec.stated):
            return Seen(ours, unit)
    for ours, spec in fields.items():
        if full == ours or full in spec.names:
            alone = UNITS.get(full)
            return Seen(ours, alone if alone in spec.units else None)
    for ours, spec in fields.items():
        if full in spec.weak or (name in spec.weak and unit in spec.units):
            return Seen(ours, unit if unit in spec.units else None, weak=True)
    return None
