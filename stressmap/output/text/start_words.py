"""What ``start`` says, and writes beside the settings of a new ranch, from ``start_en.toml`` and its like."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from stressmap.core.units import System
from stressmap.output.text.words import Language, filled


@cache
def start_texts(language: Language) -> dict[str, dict[str, str]]:
    """Read the texts of one language.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.

    Returns
    -------
    dict
        ``said``: on the terminal; ``comment``: beside the settings; ``water``: meanings of the keys of
        ``[water]``, where they are not those of the schema.
    """
    text = files("stressmap.output.text").joinpath(f"start_{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@dataclass(frozen=True)
class StartWords:
    """One language, and the units that people see.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.
    units : str
        ``"us"`` or ``"metric"``.

    Examples
    --------
    >>> StartWords("es")("comment.valves", valves=1)
    '1 zona de válvula'
    >>> StartWords("en").meaning("days", "Days of the plan.")
    'Days of the plan.'
    """

    language: Language
    units: System = "us"

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text, ``"section.name"``, and fill it in; text of files is put in as it is."""
        section, _, name = key.partition(".")
        return filled(start_texts(self.language)[section][name], values)

    def meaning(self, key: str, otherwise: str) -> str:
        """Say what a key of ``[water]`` means; ``otherwise`` is how the schema says it, in English."""
        return start_texts(self.language).get("water", {}).get(key, otherwise)
