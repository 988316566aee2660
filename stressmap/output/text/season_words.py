"""What the page of the season says, from ``season_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.output.text.words import Words, catalogue, text_of


@dataclass(frozen=True)
class SeasonWords:
    """One language.

    Parameters
    ----------
    plain : Words
        Numbers, dates, units and common words of the language.

    Examples
    --------
    >>> SeasonWords(Words("es"))("head.block")
    'Bloque'
    """

    plain: Words

    def __call__(self, key: str, /, **values: object) -> str:
        """Look up a text, ``"section.name"``, and fill it in; text of files is put in as it is."""
        return text_of(f"season_{self.plain.language}", key, values)

    def kind(self, name: object) -> str:
        """Say what a soil or an irrigation system is called, as it is where there is no word for it."""
        known = catalogue(f"season_{self.plain.language}")["kind"]
        return known.get(str(name).replace(" ", "_"), str(name))
