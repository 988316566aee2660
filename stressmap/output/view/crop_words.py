"""What the crops of a ranch are called, and what a user of each must know."""

from __future__ import annotations

from collections.abc import Mapping

from stressmap.agronomy.crops import CropProfile
from stressmap.core.text import one_line
from stressmap.output.text.words import Words

Profiles = Mapping[str, CropProfile]


def crop_title(crop: str, profiles: Profiles, words: Words) -> str:
    """Say what a crop is called: as the ranch itself wrote it, else the common word, else the profile's.

    Parameters
    ----------
    crop : str
        A key of the profiles.
    profiles : mapping of str to CropProfile
        Of the crops on the ranch.
    words : Words
        The language.

    Returns
    -------
    str

    Examples
    --------
    >>> from stressmap.agronomy.crops import load_profiles
    >>> own = {"fig": {"title": {"en": "Black fig", "es": "Higo negro"}}}
    >>> profiles = load_profiles(own, "ranch.toml")
    >>> crop_title("fig", profiles, Words("es")), crop_title("prune", profiles, Words("es"))
    ('Higo negro', 'ciruelo')
    """
    profile = profiles.get(crop)
    common = profile is None or crop.replace(" ", "_") in words.table()["crop"]
    if profile is None or (common and not profile.is_own("title")):
        return words.known("crop", crop)
    return one_line(profile.title.said(words.language))


def crop_cautions(profiles: Profiles, words: Words) -> list[str]:
    """Say what a user of the crops on a ranch must know, each sentence once.

    Parameters
    ----------
    profiles : mapping of str to CropProfile
        Of the crops on the ranch.
    words : Words
        The language.

    Returns
    -------
    list of str
        Sentences that begin with the crop they are about.
    """
    return [
        f"{begun(crop_title(crop, profiles, words))}: {one_line(caution.said(words.language))}"
        for crop, profile in profiles.items()
        for caution in profile.cautions
    ]


def begun(text: str) -> str:
    """Begin a sentence with a capital letter.

    Examples
    --------
    >>> begun("almendro: ojo")
    'Almendro: ojo'
    """
    return text[:1].upper() + text[1:]
