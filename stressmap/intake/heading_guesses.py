"""What a heading that is not recognised was probably meant as, by the words in it."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from types import MappingProxyType

from stressmap.intake.heading_recognition import Field, names, recognise
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
            names(
                "bag bagged bagging bags bolsa bolsas embolsado embolsada foil sack tapado covered cubierto"
            )
        ),
        "hours": frozenset(names("hours hrs hour horas minutes mins minutos duration duracion runtime ran")),
        "irrigation": frozenset(names("irrig irrigation riego")),
        "rate": frozenset(names("precip precipitation mmh")),
        "flow": frozenset(names("flow gpm caudal gasto lps")),
        "pump": frozenset(names("pump bomba")),
        "soil": frozenset(names("soil suelo")),
        "harvest": frozenset(names("harv harvest cosecha")),
        "planted": frozenset(names("planted plntd plantado plantada plantacion planting")),
    }
)
"""Words by which columns that matter most are known, in headings that nothing else explains."""

_OTHER = frozenset(names("dir direction direccion max min gust gusts racha rafaga std sd total"))
"""Words of a figure other than ours: the direction or a gust of the wind, a day's extremes."""

_ALIKE = 0.8
"""Headings so alike may be the same, as difflib counts."""


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
