"""What ``start`` says, and writes beside the settings of a new ranch, from ``start_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.core.units import System
from stressmap.output.text.words import Language, OwnTexts


@dataclass(frozen=True)
class StartWords(OwnTexts):
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

    about = "start"
    language: Language
    units: System = "us"

    def meaning(self, key: str, otherwise: str) -> str:
        """Say what a key of ``[water]`` means; ``otherwise`` is how the schema says it, in English."""
        return self.table().get("water", {}).get(key, otherwise)
