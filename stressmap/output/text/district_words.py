"""What the overview of a district says, from ``district_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.output.text.words import Words, catalogue, text_of


@dataclass(frozen=True)
class DistrictWords:
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

    plain: Words

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text, ``"section.name"``, and fill it in; text of files is put in as it is."""
        return text_of(f"district_{self.plain.language}", key, values)

    def table(self) -> dict[str, dict[str, str]]:
        """Return all texts, section by section; not to be changed."""
        return catalogue(f"district_{self.plain.language}")
