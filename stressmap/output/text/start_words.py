"""What ``start`` says, and writes beside the settings of a new ranch, from ``start_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.core.units import System
from stressmap.output.text.words import Language, catalogue, text_of


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
    return catalogue(f"start_{language}")


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
        return text_of(f"start_{self.language}", key, values)

    def meaning(self, key: str, otherwise: str) -> str:
        """Say what a key of ``[water]`` means; ``otherwise`` is how the schema says it, in English."""
        return start_texts(self.language).get("water", {}).get(key, otherwise)
