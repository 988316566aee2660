"""Which crop profile is meant: the words that people use for a crop, in English and Spanish."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from stressmap.agronomy.crops import CropProfile
from stressmap.core.errors import DataError, Problem
from stressmap.core.notes import Noted, NoteList
from stressmap.intake.block_words import nearest
from stressmap.intake.unit_headings import normal


def settle_crops(
    blocks: pd.DataFrame,
    profiles: dict[str, CropProfile],
    where: str,
    shown: Callable[[str], str] = str,
) -> Noted[pd.DataFrame]:
    """Give every block the name of a crop profile, from what the file calls its crop.

    Parameters
    ----------
    blocks : DataFrame
        Columns ``block`` and ``crop``.
    profiles : dict of str to CropProfile
        By crop name.
    where : str
        The file of the blocks, for messages.
    shown : callable
        Of a crop, its word in the reader's language: who writes that needs not be told what it means.

    Returns
    -------
    Noted of DataFrame
        A copy; ``crop`` is a key of ``profiles``.

    Raises
    ------
    DataError
        If a crop has no profile; one problem per crop.
    """
    known, problems, taken, notes = dict[str, str](), [], [], NoteList()
    for crop in pd.unique(blocks["crop"]):
        name = profile_name(str(crop), profiles)
        if name is None:
            problems.append(_unknown(str(crop), blocks, profiles, where))
            continue
        known[crop] = name
        if normal(str(crop)) not in {normal(name), normal(shown(name))}:
            taken.append((crop, name))
    if problems:
        raise DataError(problems)
    if taken:
        notes.say("crops_taken_as", file=where, crops=taken)
    return notes.beside(blocks.assign(crop=[known[crop] for crop in blocks["crop"]]))


def profile_name(crop: str, profiles: dict[str, CropProfile]) -> str | None:
    """Tell which crop profile is meant.

    Parameters
    ----------
    crop : str
        As people write it: another word for the crop, Spanish or a plural.
    profiles : dict of str to CropProfile
        By crop name.

    Returns
    -------
    str or None
        A key of ``profiles``; None where there is none, as for fresh plums, which are not
        let down like prunes.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> profiles = load_profiles({}, "ranch.toml")
    >>> profile_name("Ciruela pasa", profiles), profile_name("plum", profiles)
    ('prune', None)
    """
    known = {normal(also): name for name, profile in profiles.items() for also in profile.also}
    known |= {normal(name): name for name in profiles}
    return known.get(normal(crop))


def nearest_crop(crop: str, profiles: dict[str, CropProfile]) -> str | None:
    """Find the crop that a person may have meant by a word that is none.

    Parameters
    ----------
    crop : str
        As written.
    profiles : dict of str to CropProfile
        By crop name.

    Returns
    -------
    str or None
        A key of ``profiles``; None where nothing is near.

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> profiles = load_profiles({}, "ranch.toml")
    >>> nearest_crop("prume", profiles), nearest_crop("almnedro", profiles), nearest_crop("???", profiles)
    ('prune', 'almond', None)
    """
    words = {word: name for name, profile in profiles.items() for word in (name, *profile.also)}
    near = nearest(crop, words)
    return None if near is None else words[near]


def _unknown(crop: str, blocks: pd.DataFrame, profiles: dict[str, CropProfile], where: str) -> Problem:
    first = blocks.loc[blocks["crop"] == crop, "block"].iloc[0]
    near = nearest_crop(crop, profiles)
    guess = f"Did you mean {near!r}? Otherwise write" if near else "Write"
    names = ", ".join(sorted(profiles))
    remedy = f"{guess} a profile [crops.{normal(crop)}] in the settings, or one of {names}"
    return Problem(where, f"block {first!r}: no profile for the crop {crop!r}", remedy, column="crop")
