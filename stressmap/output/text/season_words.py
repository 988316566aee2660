"""What the page of the season says, from ``season_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.output.text.words import Language, OwnTexts, Words


@dataclass(frozen=True)
class SeasonWords(OwnTexts):
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

    about = "season"
    plain: Words

    @property
    def language(self) -> Language:
        """The language of the common words."""
        return self.plain.language

    def kind(self, name: object) -> str:
        """Say what a soil or an irrigation system is called, as it is where there is no word for it."""
        known = self.table()["kind"]
        return known.get(str(name).replace(" ", "_"), str(name))
