"""What the overview of a district says, from ``district_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.output.text.words import Language, OwnTexts, Words


@dataclass(frozen=True)
class DistrictWords(OwnTexts):
    """One language.

    Parameters
    ----------
    plain : Words
        Numbers, dates, units and common words of the language.

    Examples
    --------
    >>> DistrictWords(Words("es"))("outputs.valves")[:15]
    'todas las zonas'
    """

    about = "district"
    plain: Words

    @property
    def language(self) -> Language:
        """The language of the common words."""
        return self.plain.language
