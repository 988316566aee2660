"""What papers, files and terminal say of a measuring round, from ``round_en.toml`` and its like."""

from __future__ import annotations

from dataclasses import dataclass

from stressmap.output.text.words import Language, OwnTexts


@dataclass(frozen=True)
class RoundWords(OwnTexts):
    """One language.

    Parameters
    ----------
    language : str
        ``"en"`` or ``"es"``.

    Examples
    --------
    >>> RoundWords("es")("paper.bag"), RoundWords("en").why(("standing_tree", "valve_due"))
    ('embolsar', 'same tree each time; valve due soon')
    """

    about = "round"
    language: Language

    def why(self, codes: tuple[str, ...]) -> str:
        """Say why a tree is read, in the order of the codes."""
        return "; ".join(dict.fromkeys(self(f"why.{code}") for code in codes))
